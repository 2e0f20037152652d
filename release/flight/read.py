"""Reads flight files: our flight.csv, or any export through a mapping file. Nothing is dropped silently.

Added columns: `time_s` (UTC, seconds since 1970), `time_doubt`, `flagged` (values no baseball reaches),
`from_trajectory` (figures computed from the nine numbers), `break_definition`, and the side columns
toward first base where the export counts so and its throwing hand is not known.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pandera.pandas as pa

from release.errors import MappingUnreadable
from release.flight.columns import (
    CLOCK,
    COLUMNS,
    FIGURES,
    NINE,
    OUR_SIDE,
    POSITIVE,
    TOWARD_FIRST,
    impossible,
    with_hand,
)
from release.flight.filled import at_release_speed, field_from_plate, filled_from_trajectory
from release.flight.read_mapping import ExportMapping, MappedColumn
from release.flight.result import Setting
from release.read_table import SetAside, Table, checked, read_text_table
from release.times import clock_time, to_utc
from release.units import clock_to_deg, convert, unit_of

CONTENT = ("time_s", "athlete", *FIGURES, *NINE, *TOWARD_FIRST.values())


def read_flights(
    paths: Sequence[Path], mapping: ExportMapping | None = None, setting: Setting | None = None
) -> Table:
    """Read one or several flight files as one; rows that two of them share are taken once.

    Args:
        paths: The files, of one kind of export.
        mapping: How to read them; without one they must be flight.csv as we write it.
        setting: Distance, mound and ball, for heights and trajectories.

    Raises:
        TableUnreadable: A file is no table.
        ColumnsMissing: A file lacks `time` or `speed_mph`, or a column that the mapping names.
        MappingUnreadable: The mapping names a column that the file does not have.
    """
    tables = [read_flight(path, mapping, setting) for path in paths]
    frames = []
    for path, table in zip(paths, tables, strict=True):
        taken = set().union(*(frame["flight"] for frame in frames))
        same = [_content(frame) for frame in frames]
        seen = pd.concat(same) if same else pd.Series(dtype=object)
        clash = table.rows["flight"].isin(taken) & ~_content(table.rows).isin(seen)
        name = table.rows["flight"].where(~clash, table.rows["flight"] + f" ({path.stem})")
        frames.append(table.rows.assign(flight=name, file=path.name))
    rows = pd.concat(frames, ignore_index=len(frames) > 1)
    again = _content(rows).duplicated() & rows["time_s"].notna() | rows.drop(columns="file").duplicated()
    first = _content(rows).map(dict(zip(_content(rows)[::-1], rows["flight"][::-1], strict=True)))
    repeated = [
        SetAside(row=int(str(i)), key=rows.loc[i, "flight"], why=f"the same measurement as flight {first[i]}")
        for i in rows.index[again]
        if len(paths) == 1  # in overlapping exports repeats are expected
    ]
    notes = [note for table in tables for note in table.notes]
    if len(paths) > 1 and again.any():
        notes.append(f"{again.sum()} rows came in more than one file and were taken once")
    return Table(
        rows=rows[~again],
        set_aside=(*(aside for table in tables for aside in table.set_aside), *repeated),
        notes=tuple(notes),
    )


def read_flight(path: Path, mapping: ExportMapping | None, setting: Setting | None) -> Table:
    """Read one flight file; see `read_flights`."""
    mapping, setting = mapping or ExportMapping(), setting or Setting()
    table = _renamed(read_text_table(path, COLUMNS if mapping.columns is None else ()), path, mapping)
    times = {"time": pa.Column(object, _time_check(mapping), required=mapping.columns is None)}
    speeds = {"speed_mph": pa.Column(object, required=mapping.columns is None)}
    table = checked(_clocks(table, mapping), path, {**times, **speeds}, (*FIGURES, *NINE))
    rows = _in_our_units(table.rows, mapping, setting)
    rows = _timed(rows, mapping)
    if "flight" not in rows:
        rows = rows.assign(flight=pd.Series([str(i) for i in rows.index], rows.index, dtype=object))
    rows["flight"] = rows["flight"].where(rows["flight"].notna(), [f"row {i}" for i in rows.index])
    rows = rows.assign(break_definition=_break_definition(mapping))
    rows = at_release_speed(rows, mapping.speed_at, setting)
    if mapping.height_zero == "plate level":
        lower = setting.mound_height_in / 12
        rows = rows.assign(**{n: rows[n] - lower for n in ("release_height_ft", "z0_ft") if n in rows})
    if "throws" not in rows:
        rows = rows.assign(throws=mapping.throws)
    rows = filled_from_trajectory(with_hand(rows, rows["throws"]), setting)
    rows = rows.assign(flagged=impossible(rows))
    return replace(table, rows=rows, notes=(*table.notes, *_doubts(rows, path)))


def _renamed(table: Table, path: Path, mapping: ExportMapping) -> Table:
    if mapping.columns is None:
        return table
    wanted = {heading for column in mapping.columns.values() for heading in column.names}
    if missing := sorted(wanted - set(table.rows.columns)):
        found = ", ".join(table.rows.columns)
        raise MappingUnreadable(path, f"{path.name} has no column {', '.join(missing)}; it has {found}")
    ours = {
        name: _joined(table.rows, column.names).str.strip().replace(dict(column.values))
        for name, column in mapping.columns.items()
    }
    rest = [name for name in table.rows if name not in wanted and name not in ours]
    return replace(table, rows=pd.concat([pd.DataFrame(ours, table.rows.index), table.rows[rest]], axis=1))


def _joined(rows: pd.DataFrame, names: Sequence[str]) -> pd.Series:
    """Several columns of text as one, a blank between; of a file without rows too."""
    joined = rows[names[0]]
    for name in names[1:]:
        joined = joined + " " + rows[name]
    return joined


def _clocks(table: Table, mapping: ExportMapping) -> Table:
    """Directions given as on a clock face, as degrees in text."""
    faces = [name for name, column in (mapping.columns or {}).items() if column.unit == CLOCK]
    degrees = {
        name: [
            f"{clock_to_deg(cell):g}" if np.isfinite(clock_to_deg(cell)) else cell
            for cell in table.rows[name]
        ]
        for name in faces
    }
    return replace(table, rows=table.rows.assign(**degrees))


def _in_our_units(rows: pd.DataFrame, mapping: ExportMapping, setting: Setting) -> pd.DataFrame:
    changed: dict[str, pd.Series] = {}
    for name, column in (mapping.columns or {}).items():
        ours = unit_of(name)
        if name not in (*FIGURES, *NINE) or ours is None:
            continue
        values = rows[name]
        if column.unit not in (None, CLOCK):
            values = pd.Series(convert(values, str(column.unit), ours), rows.index)
        changed |= _signed(name, values, column)
    rows = rows.drop(
        columns=[name for name in TOWARD_FIRST if name in rows and name not in changed and mapping.columns]
    )
    rows = rows.assign(**changed)
    return field_from_plate(rows, setting) if mapping.trajectory_frame == "plate" else rows


def _signed(name: str, values: pd.Series, column: MappedColumn) -> dict[str, pd.Series]:
    sign = POSITIVE.get(name, {}).get(column.positive or "", 1)
    if name == "spin_tilt_deg":
        return {name: (values * sign) % 360}
    if name in OUR_SIDE and (column.positive or "").endswith("base"):
        return {TOWARD_FIRST[name]: values * sign}
    return {name: values * sign}


def _time_check(mapping: ExportMapping) -> pa.Check:
    form = mapping.columns["time"].form if mapping.columns and "time" in mapping.columns else None
    return pa.Check(
        lambda cell: cell == "" or clock_time(cell, form) is not None,
        element_wise=True,
        error=f"is not a time like {form or '2026-05-13T14:05:00'}; a mapping file may say its format",
    )


def _timed(rows: pd.DataFrame, mapping: ExportMapping) -> pd.DataFrame:
    form = mapping.columns["time"].form if mapping.columns and "time" in mapping.columns else None
    cells = rows["time"] if "time" in rows else pd.Series(None, rows.index, dtype=object)
    times = to_utc(
        [clock_time(cell, form) if isinstance(cell, str) else None for cell in cells], mapping.zone
    )
    return rows.assign(time_s=times.utc_s, time_doubt=list(times.doubts), time_zoned=times.zoned)


def _break_definition(mapping: ExportMapping) -> str:
    return f"{mapping.break_window}, drag {'removed' if mapping.drag_removed else 'not removed'}"


def _content(rows: pd.DataFrame) -> pd.Series:
    present = [name for name in CONTENT if name in rows]
    return pd.Series(
        [tuple(map(str, values)) for values in rows[present].to_numpy()], rows.index, dtype=object
    )


def _doubts(rows: pd.DataFrame, path: Path) -> list[str]:
    doubts = []
    if rows["time_s"].notna().any() and not rows["time_zoned"].all():
        doubts.append(f"{path.name}: times carry no zone; they are used as a clock of their own")
    if len(rows) and (rows["flagged"] != "").mean() > 0.5:
        doubts.append(
            f"{path.name}: most rows hold values no baseball reaches, as {rows['flagged'].max()}: "
            "is a unit wrong? A mapping file says what unit a column is in"
        )
    return doubts
