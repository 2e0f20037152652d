"""Reads a tidy table of throws from CSV: the table that `compare`, `relate` and `live` work on."""

import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from release.errors import ColumnsMissing, TableUnreadable

NEEDED = ("athlete", "pitch", "cue")
# Columns that say which throw it was, or how it was thrown; they are covariates, never outcomes.
NOT_FIGURES = frozenset([
    "athlete", "pitch", "throw", "cue", "block", "session", "date", "time", "clip", "flight", "throws",
    "grip_seams", "grip_offset", "grip_index", "grip_thumb", "grip_ball", "grip_pressure", "camera", "ball",
    "intent_percent", "target", "location", "location_x", "location_y", "note", "state", "probability", "why",
    "refused", "seed", "frame_index", "release_frame",
])  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrowTable:
    """A table of throws, checked."""

    rows: pd.DataFrame  # ids as text, figures as numbers (NaN where missing), `session` numbered from 0
    figures: tuple[str, ...]
    notes: Mapping[str, str]  # by figure: cells that are not numbers


def read_throws(path: Path) -> ThrowTable:
    """Read a table of `athlete, pitch, throw, cue, block` and any figures, each with an optional `FIGURE_sd`.

    Semicolons with decimal commas and a byte-order mark are understood. A column with numbers in at least
    half of its filled cells is a figure; other text columns are kept and not compared. Where throw numbers
    start again within an athlete and pitch and there is no `session` column, a new session begins.

    Raises:
        TableUnreadable: No such file, no text, or no row.
        ColumnsMissing: `athlete`, `pitch` or `cue` is missing.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise TableUnreadable(
            path, "it is not UTF-8 text" if isinstance(error, UnicodeDecodeError) else f"{error.strerror}"
        ) from None
    header = text.split("\n", 1)[0]
    semicolons = header.count(";") > header.count(",")
    try:
        raw = pd.read_csv(io.StringIO(text), sep=";" if semicolons else ",", dtype=str, keep_default_na=False)
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise TableUnreadable(path, str(error).strip()) from None
    raw.columns = [str(c).strip() for c in raw.columns]
    if missing := [name for name in NEEDED if name not in raw]:
        raise ColumnsMissing(path, missing, list(raw.columns))
    if raw.empty:
        raise TableUnreadable(path, "it has no row")
    return throw_table(raw, decimal_comma=semicolons)


def throw_table(raw: pd.DataFrame, *, decimal_comma: bool = False) -> ThrowTable:
    """Check a table that is in memory already; as `read_throws`."""
    rows = (
        raw.astype(str).apply(lambda column: column.str.strip()).replace({"nan": "", "None": "", "<NA>": ""})
    )
    for name in ("block", "throw"):
        if name not in rows:
            rows[name] = ""
    figures, notes = [], {}
    for name in rows.columns:
        if name in NOT_FIGURES or name.endswith(("_low", "_high", "_refused")):
            continue
        text = rows[name].str.replace(",", ".") if decimal_comma else rows[name]
        number = pd.to_numeric(text, errors="coerce").replace([np.inf, -np.inf], np.nan)
        filled, bad = int((text != "").sum()), int(((text != "") & number.isna()).sum())
        if name.endswith("_sd"):
            rows[name] = number.astype(float)
        elif filled and bad * 2 <= filled:
            rows[name] = number.astype(float)
            figures.append(name)
            notes |= {name: f"{bad} cells are not numbers"} if bad else {}
    return ThrowTable(rows=_in_order(rows), figures=tuple(figures), notes=notes)


def _in_order(rows: pd.DataFrame) -> pd.DataFrame:
    """Throw numbers as numbers, sessions numbered, rows of a group in the order thrown."""
    rows = rows.copy()
    rows["block"] = rows["block"].str.replace(r"\.0+$", "", regex=True)
    group = rows.groupby(["athlete", "pitch"], sort=False)
    number = pd.to_numeric(rows["throw"], errors="coerce")
    rows["throw"] = number.where(number.notna(), group.cumcount() + 1).astype(float)
    named = next((name for name in ("session", "date") if name in rows), None)
    if named:
        rows["session"] = pd.factorize(rows[named])[0]
    else:
        again = group["throw"].diff() < 0
        twice = (
            rows.duplicated(["athlete", "pitch", "throw"])
            .groupby([rows["athlete"], rows["pitch"]])
            .transform("any")
        )
        rows["session"] = (again & twice).astype(int).groupby([rows["athlete"], rows["pitch"]]).cumsum()
    return rows.sort_values(["session", "throw"], kind="stable").reset_index(drop=True)
