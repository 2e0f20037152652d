"""Reads one reading of a set of clips: `clip` and a column a figure, as `release look --csv` writes it."""

from pathlib import Path

import pandas as pd

from release.errors import ColumnsMissing
from release.read_table import number, read_text_table


def read_readings(path: Path) -> pd.DataFrame:
    """Figures by clip; text cells are missing readings, columns without a number are left out.

    Raises:
        TableUnreadable: No such file, or no table.
        ColumnsMissing: There is no `clip`.
    """
    table = read_text_table(path, ["clip"])
    if "clip" not in table.rows:
        raise ColumnsMissing(path, ["clip"], list(table.rows.columns))
    rows = table.rows.set_index("clip")
    kept = [c for c in rows.columns if not c.endswith(("_low", "_high", "_sd"))]
    values = rows[kept].map(lambda cell: number(str(cell), table.decimal_comma))
    return values.dropna(axis=1, how="all")
