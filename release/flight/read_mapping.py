"""Reads a mapping file: which column of a flight unit's export is which of ours, in what unit and sign."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path
from typing import Any

from release.errors import MappingUnreadable
from release.flight.columns import CLOCK, COLUMNS, POSITIVE
from release.times import zone_named
from release.units import convert, unit_of

CHOICES = {
    "break_window": ("full flight", "last 40 ft"),
    "speed_at": ("release", "50 ft"),
    "height_zero": ("ground at the rubber", "plate level"),
    "trajectory_frame": ("field", "plate"),
    "throws": ("R", "L"),
}
BREAKS = ("induced_vertical_break_in", "horizontal_break_in")


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedColumn:
    """One column of ours as the export has it."""

    names: tuple[str, ...]  # the export's headings; several (a date and a time) are joined with a space
    unit: str | None  # None: ours
    positive: str | None  # None: ours
    form: str | None  # how a time is written, as strptime has it; None: ISO 8601
    values: Mapping[str, str]  # the export's words for ours


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportMapping:
    """How to read one kind of export. The defaults say what flight.csv itself means."""

    columns: Mapping[str, MappedColumn] | None = None  # None: the file has our own columns
    break_window: str = "full flight"
    speed_at: str = "release"
    drag_removed: bool = True
    height_zero: str = "ground at the rubber"
    trajectory_frame: str = "field"
    throws: str | None = None
    zone: tzinfo | None = None


def read_mapping(path: Path) -> ExportMapping:
    """Read a mapping file.

    Raises:
        MappingUnreadable: It is missing, not TOML, or names a column, unit, sign or zone that is not known.
    """
    try:
        return _mapping(tomllib.loads(path.read_text(encoding="utf-8-sig")))
    except FileNotFoundError:
        raise MappingUnreadable(path, "there is no such file") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValueError) as error:
        raise MappingUnreadable(path, str(error)) from None


def _mapping(content: Mapping[str, Any]) -> ExportMapping:
    given = content.get("columns")
    if not isinstance(given, dict) or not given:
        raise ValueError("it has no [columns.NAME] table")
    columns = {name: _column(name, entry) for name, entry in given.items()}
    chosen = {key: content[key] for key in CHOICES if key in content}
    for key, value in chosen.items():
        if value not in CHOICES[key]:
            raise ValueError(f"{key} must be one of {', '.join(map(repr, CHOICES[key]))}, it is {value!r}")
    if set(BREAKS) & set(columns) and "break_window" not in content:
        raise ValueError('it maps break but has no break_window; write "full flight" or "last 40 ft"')
    drag_removed = content.get("drag_removed", True)
    if not isinstance(drag_removed, bool):
        raise ValueError(f"drag_removed must be true or false, it is {drag_removed!r}")
    zone = content.get("time_zone")
    return ExportMapping(
        columns=columns,
        drag_removed=drag_removed,
        zone=None if zone is None else zone_named(str(zone)),
        **chosen,
    )


def _column(name: str, entry: Any) -> MappedColumn:
    if name not in COLUMNS:
        raise ValueError(f"[columns.{name}] is none of ours; they are {', '.join(COLUMNS)}")
    heading = entry.get("name") if isinstance(entry, dict) else None
    names = tuple(map(str, heading if isinstance(heading, list) else [heading or ""]))
    if not names or not all(names):
        raise ValueError(f"[columns.{name}] has no name = the export's own heading")
    unit, positive = entry.get("unit"), entry.get("positive")
    ours = unit_of(name)
    if unit is not None and unit != CLOCK:
        if ours is None:
            raise ValueError(f"[columns.{name}] takes no unit")
        convert(0.0, str(unit), ours)
    if positive is not None and str(positive) not in POSITIVE.get(name, {}):
        known = ", ".join(POSITIVE.get(name, {})) or "nothing: its sign is fixed"
        raise ValueError(f"[columns.{name}] positive may be {known}; it is {positive!r}")
    form, values = entry.get("format"), entry.get("values", {})
    if not isinstance(form, str | None):
        raise ValueError(f"[columns.{name}] format is text like '%d.%m.%Y %H:%M:%S', it is {form!r}")
    if not isinstance(values, dict):
        raise ValueError(f"[columns.{name}] values is a table of the export's words, it is {values!r}")
    return MappedColumn(names=names, unit=unit, positive=positive, form=form, values=values)
