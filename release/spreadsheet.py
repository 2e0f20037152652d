"""Makes a table safe to open in a spreadsheet, which runs text that begins like a formula."""

import re

import pandas as pd

from release.read_table import NUMBER

# After OWASP ASVS 5.0, 1.2.10: = + - @, tab, carriage return and NUL, and the full-width forms some programs
# take for the same. Line feed and leading blanks are added to be safe.
FORMULA = re.compile(r"\s*[=+\-@\t\r\n\0＝＋－＠]")


def spreadsheet_safe(frame: pd.DataFrame) -> pd.DataFrame:
    """The table with an apostrophe before every text, heading or index label that a spreadsheet would run.

    Numbers stay as they are, also where they stand as text. Write the result with quoting as pandas and
    Python's csv do by default: the apostrophe guards a cell's start, quoting its end.
    """
    safe = frame.copy()
    for i, kind in enumerate(frame.dtypes):
        if not (pd.api.types.is_numeric_dtype(kind) or pd.api.types.is_datetime64_any_dtype(kind)):
            cells = [inert(cell) for cell in frame.iloc[:, i]]
            safe.isetitem(i, pd.Series(cells, dtype=object).to_numpy())
    safe.columns = [inert(name) for name in frame.columns]
    if not pd.api.types.is_numeric_dtype(frame.index.dtype):
        safe.index = pd.Index([inert(label) for label in frame.index], name=frame.index.name)
    return safe


def inert(cell: object) -> object:
    """One cell, heading or label, made inert if it is text that begins like a formula."""
    if isinstance(cell, str) and FORMULA.match(cell) and not NUMBER.fullmatch(cell):
        return f"'{cell}"
    return cell
