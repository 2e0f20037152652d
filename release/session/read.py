"""Reads the throw sheet, the list of clips and a person's decisions. Nothing is dropped silently."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import tzinfo
from pathlib import Path

import numpy as np
import pandas as pd
import pandera.pandas as pa

from release.clip.read import read_clip
from release.errors import ClipError
from release.read_table import SetAside, Table, checked, read_text_table
from release.session.result import Fact
from release.times import clock_time, from_spreadsheet, to_utc

SHEET = (
    "throw",
    "time",
    "athlete",
    "throws",
    "pitch",
    "cue",
    "block",
    "grip_seams",
    "grip_offset",
    "grip_index",
    "grip_thumb",
    "intent_percent",
    "target",
    "location",
    "ball",
    "note",
)
PITCHES = (
    "four-seam",
    "sinker",
    "cutter",
    "slider",
    "sweeper",
    "slurve",
    "curveball",
    "changeup",
    "splitter",
    "other",
)
CLIPS = ("clip", "camera", "time", "throws", "athlete", "speed_mph")
DECISIONS = ("kind", "clip", "throw", "flight", "who", "at")
KINDS = ("link confirmed", "link rejected", "marked extra")


def _one_of(words: Iterable[str]) -> pa.Check:
    allowed = {"", *words}
    return pa.Check(
        lambda cells: cells.isin(allowed), error=f"is none of {', '.join(words)}", ignore_na=False
    )


def _filled() -> pa.Check:
    return pa.Check(lambda cells: cells != "", error="is empty", ignore_na=False)


def _time() -> pa.Check:
    return pa.Check(
        lambda cell: cell == "" or clock_time(cell) is not None,
        element_wise=True,
        error="is not a time like 2026-05-13T14:05:00 or 14:05",
    )


SHEET_RULES = {
    "throw": pa.Column(object, _filled()),
    "athlete": pa.Column(object),
    "pitch": pa.Column(object, _one_of(PITCHES)),
    "throws": pa.Column(object, _one_of("RL"), required=False),
    "time": pa.Column(object, _time(), required=False),
    "grip_index": pa.Column(object, _one_of(("flat", "spiked", "knuckled", "braced")), required=False),
    "grip_thumb": pa.Column(object, _one_of(("under", "angled", "side")), required=False),
}
CLIP_RULES = {
    "clip": pa.Column(object, _filled()),
    "time": pa.Column(object, _time(), required=False),
    "throws": pa.Column(object, _one_of("RL"), required=False),
}
DECISION_RULES = {"kind": pa.Column(object, [_filled(), _one_of(KINDS)])}


def read_sheet(path: Path, zone: tzinfo | None = None) -> Table:
    """Read a throw sheet, in the order thrown; `time_s` is added (UTC, seconds since 1970).

    Args:
        path: The CSV.
        zone: Where its times were written, if they carry no offset.

    Raises:
        TableUnreadable: It is no table.
        ColumnsMissing: `throw`, `athlete` or `pitch` is not there.
    """
    return _read(path, SHEET, SHEET_RULES, ("block", "intent_percent"), zone)


def read_clips(path: Path, zone: tzinfo | None = None) -> Table:
    """Read a list of clips; `time_s` is added.

    Raises:
        TableUnreadable: It is no table.
        ColumnsMissing: `clip` is not there.
    """
    return _read(path, CLIPS, CLIP_RULES, ("speed_mph",), zone)


def read_videos(paths: Iterable[Path]) -> Table:
    """List video files by name, with the time of recording that each one carries, as `read_clips` does.

    One that cannot be read is set aside.
    """
    rows: list[dict[str, object]] = []
    bad: list[SetAside] = []
    for number, path in enumerate(sorted(paths), start=1):
        try:
            created = read_clip(path).created
        except ClipError as error:
            bad.append(SetAside(row=number, key=path.name, why=str(error)))
            continue
        rows.append({"clip": path.name, "time_s": created.timestamp() if created else np.nan})
    return Table(rows=pd.DataFrame(rows, columns=["clip", "time_s"]), set_aside=tuple(bad), notes=())


def read_decisions(path: Path) -> tuple[Fact, ...]:
    """Read what people decided: `kind` and two or three of `clip`, `throw`, `flight`, with `who` and `at`.

    Raises:
        TableUnreadable: It is no table.
        ColumnsMissing: `kind` is not there.
    """
    rows = checked(read_text_table(path, DECISIONS), path, DECISION_RULES, ()).rows
    present = [name for name in DECISIONS if name in rows]
    return tuple(
        Fact(**{name: value for name, value in zip(present, cells, strict=True) if value is not None})
        for cells in rows[present].to_numpy(object)
    )


def _read(
    path: Path,
    known: Iterable[str],
    rules: Mapping[str, pa.Column],
    numbers: Iterable[str],
    zone: tzinfo | None,
) -> Table:
    table = read_text_table(path, known)
    capitals = {n: table.rows[n].str.upper().str[:1] for n in ("throws",) if n in table.rows}
    small = {n: table.rows[n].str.lower() for n in ("pitch", "grip_index", "grip_thumb") if n in table.rows}
    told, unclear = from_spreadsheet(table.rows["time"].tolist()) if "time" in table.rows else ([], False)
    clocks = {"time": told} if told else {}
    table = checked(
        replace(table, rows=table.rows.assign(**capitals, **small, **clocks)), path, rules, numbers
    )
    cells = table.rows["time"] if "time" in table.rows else pd.Series(None, table.rows.index, dtype=object)
    times = to_utc([clock_time(cell) if isinstance(cell, str) else None for cell in cells], zone)
    rows = table.rows.assign(time_s=times.utc_s, time_doubt=list(times.doubts))
    notes = table.notes
    if unclear:
        notes = (*notes, f"{path.name}: day and month cannot be told apart; only times of day are used")
    if np.isfinite(times.utc_s).any() and not times.zoned:
        notes = (*notes, f"{path.name}: times carry no zone; they are used as a clock of their own")
    key = next(iter(rules))
    again = rows[key].duplicated()
    rest = rows.drop(columns=key).astype(str)
    repeated = []
    for row in rows.index[again]:
        name = rows.loc[row, key]
        kept = rows.index[rows[key] == name][0]
        same = rest.loc[row].equals(rest.loc[kept])
        why = f"{key} {name} is in row {kept} already" + (
            ", with the same content" if same else ", with other content"
        )
        repeated.append(SetAside(row=int(str(row)), key=str(name), why=why))
    return replace(table, rows=rows[~again], set_aside=(*table.set_aside, *repeated), notes=notes)
