"""Writes comparisons as CSV: the columns of `formats.md`, then what explains them."""

from collections.abc import Sequence
from dataclasses import asdict, fields
from pathlib import Path

import pandas as pd

from release.spreadsheet import spreadsheet_safe
from release.stats.result import Comparison

COLUMNS = [field.name for field in fields(Comparison)]


def comparison_table(found: Sequence[Comparison]) -> pd.DataFrame:
    """A row a comparison."""
    table = pd.DataFrame([asdict(one) for one in found], columns=COLUMNS)
    return table.astype({"more_throws": "Int64"})


def write_comparisons(found: Sequence[Comparison], path: Path) -> None:
    """Write the comparisons; empty cells are unknown, or do not apply."""
    path.parent.mkdir(parents=True, exist_ok=True)
    spreadsheet_safe(comparison_table(found)).to_csv(
        path, index=False, float_format="%.6g", lineterminator="\n"
    )
