"""Reads a CSV as people's programs write it, into text cells; nothing is guessed about their meaning.

Understood: UTF-8 with or without a mark, UTF-16, Windows' western code page; commas, semicolons or tabs;
decimal commas; blank lines. A row that does not fit its heading is set aside with its row number, as the
spreadsheet counts it (the heading is row 1), and the rest goes on.
"""

import csv
import io
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pandera.pandas as pa

from release.errors import ColumnsMissing, TableUnreadable

LARGEST_BYTES = 200_000_000
NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?")
THOUSANDS = re.compile(r"[-+]?\d{1,3}(,\d{3})+")
csv.field_size_limit(1_000_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A row that could not be used, and why."""

    row: int  # as a spreadsheet counts: the heading is row 1
    key: str  # what its first column called it; "" where that is empty
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The rows of one file that could be used, and those that could not."""

    rows: pd.DataFrame  # index: row number in the file
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]  # what the reader should know, in words
    decimal_comma: bool = False  # a lone comma in a number is always the decimal mark


def read_text_table(path: Path, known: Iterable[str] = ()) -> Table:
    """Read a CSV into text cells, "" for empty; headings are trimmed.

    Args:
        path: The file.
        known: Our column names; a heading that differs from one only in capitals, spaces or dashes is it.

    Raises:
        TableUnreadable: No such file, nothing in it, or it is no table of text.
    """
    text, notes = _decoded(path)
    try:
        delimiter = _delimiter(text)
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=False))
    except csv.Error as error:
        raise TableUnreadable(path, f"it is no CSV: {error}") from None
    filled = [
        (i + 1, [cell.strip() for cell in line]) for i, line in enumerate(lines) if any(map(str.strip, line))
    ]
    if not filled:
        raise TableUnreadable(path, "it holds no heading and no rows")
    headings = _headings(path, filled[0][1], known)
    fit, wrong = [], []
    for row, cells in filled[1:]:
        if len(cells) < len(headings) or any(cells[len(headings) :]):
            why = f"{len(cells)} cells where the heading has {len(headings)}"
            wrong.append(SetAside(row=row, key=cells[0], why=why))
        else:
            fit.append((row, cells[: len(headings)]))
    frame = pd.DataFrame([c for _, c in fit], columns=headings, index=[r for r, _ in fit], dtype=object)
    return Table(
        rows=frame.drop(columns="", errors="ignore"),
        set_aside=tuple(wrong),
        notes=notes,
        decimal_comma=delimiter != ",",
    )


def checked(table: Table, path: Path, columns: Mapping[str, pa.Column], numbers: Iterable[str]) -> Table:
    """Set aside the rows that break a column's rule, turn numbers to floats, empty text to missing.

    Args:
        table: Text cells.
        path: For messages.
        columns: Rules on the text of the cells, ours by name; each check's `error` is the reason shown.
        numbers: Columns that hold numbers, decimal commas understood.

    Raises:
        ColumnsMissing: A required column is not there.
    """
    rows = table.rows
    missing = [name for name, column in columns.items() if column.required and name not in rows]
    if missing:
        raise ColumnsMissing(path, missing, list(rows.columns))
    numeric = [name for name in numbers if name in rows]
    values = {
        name: np.array([number(str(cell), table.decimal_comma) for cell in rows[name]]) for name in numeric
    }
    readable = pa.Check(
        lambda cells: (cells == "") | np.isfinite(values[str(cells.name)]),
        error="is not a number",
        ignore_na=False,
    )
    rules = {**columns, **{name: pa.Column(object, readable) for name in numeric}}
    schema = pa.DataFrameSchema({name: rule for name, rule in rules.items() if name in rows})
    wrong: list[SetAside] = []
    try:
        schema.validate(rows, lazy=True)
    except pa.errors.SchemaErrors as failed:
        for case in failed.failure_cases.dropna(subset="index").drop_duplicates("index").itertuples():
            why = f"{case.column} {case.failure_case!r} {case.check}"
            wrong.append(SetAside(row=int(case.index), key=str(rows.loc[case.index].iloc[0]), why=why))
    rows = rows.where(rows != "", None).assign(**values).drop(index=[w.row for w in wrong])
    return replace(table, rows=rows, set_aside=(*table.set_aside, *wrong))


def number(cell: str, decimal_comma: bool) -> float:
    """The number a cell shows; NaN for an empty one or for text.

    Of two different marks the last is the decimal one. A lone comma is the decimal mark in a file that
    separates its cells otherwise; in a comma-separated file `2,350` is two thousand and `91,2` is not.
    """
    text = "".join(cell.split()).replace("\u2212", "-")
    if "," in text and "." in text:
        thousands = "," if text.rindex(".") > text.rindex(",") else "."
        text = text.replace(thousands, "")
    elif not decimal_comma and THOUSANDS.fullmatch(text):
        text = text.replace(",", "")
    return float(text.replace(",", ".")) if NUMBER.fullmatch(text.replace(",", ".")) else np.nan


def _decoded(path: Path) -> tuple[str, tuple[str, ...]]:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise TableUnreadable(path, f"it is larger than {LARGEST_BYTES // 1_000_000} MB")
        raw = path.read_bytes()
    except FileNotFoundError:
        raise TableUnreadable(path, "there is no such file") from None
    except OSError as error:
        raise TableUnreadable(path, str(error.strerror)) from None
    if raw.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise TableUnreadable(path, "it is a spreadsheet workbook; save it as CSV first")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ("utf-16",)
    elif b"\x00" in raw[:400]:
        encodings = ("utf-16-le" if raw[1:2] == b"\x00" else "utf-16-be",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" in text:
            break
        note = f"{path.name} is not UTF-8; it was read in the western code page of Windows"
        return text, (note,) if encoding == "cp1252" else ()
    raise TableUnreadable(path, "it is not text; save it as CSV in UTF-8")


def _delimiter(text: str) -> str:
    heading = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;\t", key=heading.count)


def _headings(path: Path, cells: list[str], known: Iterable[str]) -> list[str]:
    ours = {_loose(name): name for name in known}
    headings = [ours.get(_loose(cell), cell) for cell in cells]
    named = [heading for heading in headings if heading]
    if twice := sorted({heading for heading in named if named.count(heading) > 1}):
        raise TableUnreadable(path, f"its heading names {', '.join(twice)} twice")
    return headings


def _loose(heading: str) -> str:
    return "_".join(heading.lower().replace("-", " ").replace("_", " ").split())
