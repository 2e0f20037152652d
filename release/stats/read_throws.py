"""Reads a tidy table of throws from CSV: the table that `compare`, `relate` and `live` work on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from release.errors import ColumnsMissing, ReleaseError, TableUnreadable
from release.read_table import number, read_text_table

NEEDED = ("athlete", "pitch", "cue")
# Columns that say which throw it was, or how it was thrown; they are covariates, never outcomes.
NOT_FIGURES = frozenset([
    "athlete", "pitch", "throw", "cue", "block", "session", "day", "date", "time", "clip", "flight", "throws",
    "grip_seams", "grip_offset", "grip_index", "grip_thumb", "grip_ball", "grip_pressure", "camera", "ball",
    "intent_percent", "target", "location", "location_x", "location_y", "note", "state", "probability", "why",
    "refused", "clip_sha256", "over_time", "link_state", "measurement", "seed", "frame_index",
    "release_frame", "release_frame_sd", "release_time_s", "break_window", "second_clip",
])  # fmt: skip


class FigureMissing(ReleaseError):
    """A figure that was asked for is no column of numbers in the table."""

    def __init__(self, missing: Sequence[str], figures: Sequence[str]) -> None:
        super().__init__(f"the table has no {', '.join(missing)}; it has {', '.join(figures) or 'none'}")


class NoThrows(ReleaseError):
    """A session that nothing was entered in yet."""

    def __init__(self) -> None:
        super().__init__(
            "this session has no throws yet. Name another with --session; see `release sessions`"
        )


class BreaksDiffer(ReleaseError):
    """Breaks over the whole flight and over its last 40 ft differ by nearly two; they are never pooled."""

    def __init__(self, windows: Sequence[str]) -> None:
        super().__init__(
            f"breaks are measured in {len(windows)} ways: {'; '.join(windows)}. Take one at a time"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrowTable:
    """A table of throws, checked."""

    rows: pd.DataFrame  # ids as text, figures as numbers (NaN where missing), `session` numbered from 0
    figures: tuple[str, ...]
    notes: Mapping[str, str]  # by figure: cells that are not numbers

    def needing(self, *figures: str) -> "ThrowTable":
        """Itself, where it holds these figures.

        Raises:
            FigureMissing: It does not.
            BreaksDiffer: One is a break, and not every throw's was measured over the same window.
        """
        if missing := [name for name in figures if name not in self.figures]:
            raise FigureMissing(missing, self.figures)
        for name in figures:
            if len(windows := break_windows(self.rows, name)) > 1:
                raise BreaksDiffer(windows)
        return self


def break_windows(rows: pd.DataFrame, figure: str) -> list[str]:
    """The ways in which these throws' break was measured; none where the figure is no break."""
    if "break_window" not in rows or not figure.endswith("_break_in"):
        return []
    return sorted(set(rows.loc[rows[figure].notna(), "break_window"]) - {""})


def read_throws(path: Path) -> ThrowTable:
    """Read a table of `athlete, pitch, throw, cue, block` and any figures, each with an optional `FIGURE_sd`.

    Semicolons with decimal commas and a byte-order mark are understood. A column with numbers in at least
    half of its filled cells is a figure; other text columns are kept and not compared. Where throw numbers
    start again within an athlete and pitch and there is no `session` column, a new session begins.

    Raises:
        TableUnreadable: No such file, no text, or no row.
        ColumnsMissing: `athlete`, `pitch` or `cue` is missing.
    """
    table = read_text_table(path, (*NEEDED, "throw", "block"))
    if missing := [name for name in NEEDED if name not in table.rows]:
        raise ColumnsMissing(path, missing, list(table.rows.columns))
    if table.rows.empty:
        raise TableUnreadable(path, "it has no row")
    read = throw_table(table.rows, decimal_comma=table.decimal_comma)
    aside = {f"row {row.row}": f"set aside, {row.why}" for row in table.set_aside}
    return replace(read, notes={**aside, **read.notes})


def throw_table(raw: pd.DataFrame, *, decimal_comma: bool = False) -> ThrowTable:
    """Check a table that is in memory already; as `read_throws`."""
    rows = (
        raw.astype(object)
        .fillna("")
        .astype(str)
        .apply(lambda column: column.str.strip())
        .replace({"nan": "", "None": "", "<NA>": ""})
    )
    for name in ("block", "throw"):
        if name not in rows:
            rows[name] = ""
    figures, notes = [], {}
    for name in rows.columns:
        if name in NOT_FIGURES or name.endswith(("_low", "_high", "_refused")):
            continue
        value = _numbers(rows[name], decimal_comma)
        is_filled = rows[name] != ""
        filled, bad = int(is_filled.sum()), int((is_filled & value.isna()).sum())
        if name.endswith("_sd"):
            rows[name] = value
        elif filled and bad * 2 <= filled:
            rows[name] = value
            figures.append(name)
            notes |= {name: f"{bad} cells are not numbers"} if bad else {}
    return ThrowTable(rows=_in_order(rows), figures=tuple(figures), notes=notes)


def _numbers(cells: pd.Series, decimal_comma: bool) -> pd.Series:
    """Numbers, NaN for text; the slow reading of other people's marks only where the plain one fails."""
    plain = np.array(pd.to_numeric(cells, errors="coerce"), float)
    hard = np.isnan(plain) & (cells != "").to_numpy()
    plain[hard] = np.array([number(cell, decimal_comma) for cell in cells[hard]], float)
    return pd.Series(np.where(np.isfinite(plain), plain, np.nan), index=cells.index)


def _in_order(rows: pd.DataFrame) -> pd.DataFrame:
    """Throw numbers as numbers, sessions numbered, rows of a group in the order thrown."""
    rows = rows.copy()
    rows["block"] = rows["block"].str.replace(r"\.0+$", "", regex=True)
    group = rows.groupby(["athlete", "pitch"], sort=False)
    numbered = pd.to_numeric(rows["throw"], errors="coerce")
    rows["throw"] = numbered.where(numbered.notna(), group.cumcount() + 1).astype(float)
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
