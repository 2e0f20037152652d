"""Links the files of one session."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from release.errors import NothingToLink
from release.flight.read import read_flights
from release.flight.read_mapping import read_mapping
from release.read_table import SetAside, Table
from release.session.align import link
from release.session.read import read_clips, read_decisions, read_sheet, read_videos
from release.session.result import LinkedRow, Session
from release.times import zone_named

MOST_NAMED = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkedFiles:
    """A session linked from files, and what could not be read."""

    session: Session
    tables: Mapping[str, pd.DataFrame]  # as read, by column: clip, throw, flight
    set_aside: Mapping[str, tuple[SetAside, ...]]  # by column: clip, throw, flight
    notes: tuple[str, ...]


def link_files(
    *,
    clips: Path | None,
    sheet: Path | None,
    flights: Sequence[Path],
    videos: Sequence[Path] = (),
    mapping: Path | None = None,
    decisions: Path | None = None,
    time_zone: str = "",
) -> LinkedFiles:
    """Read and link what there is of clips (a list of them, or else video files), sheet and flight files.

    Raises:
        NothingToLink: No file is given.
        ReleaseError: A file cannot be read at all; single bad rows are set aside instead.
    """
    if clips is None and sheet is None and not flights and not videos:
        raise NothingToLink
    try:
        zone = zone_named(time_zone) if time_zone else None
    except ValueError as error:
        raise NothingToLink(str(error)) from None
    tables: dict[str, Table] = {}
    if clips is not None:
        tables["clip"] = read_clips(clips, zone)
    elif videos:
        tables["clip"] = read_videos(videos)
    if sheet is not None:
        tables["throw"] = read_sheet(sheet, zone)
    if flights:
        tables["flight"] = read_flights(flights, read_mapping(mapping) if mapping else None)
    facts = read_decisions(decisions) if decisions else ()
    rows = {name: table.rows for name, table in tables.items()}
    session = link(rows.get("clip"), rows.get("throw"), rows.get("flight"), facts)
    return LinkedFiles(
        session=session,
        tables=rows,
        set_aside={name: table.set_aside for name, table in tables.items()},
        notes=tuple(note for table in tables.values() for note in table.notes) + session.notes,
    )


def summary(found: LinkedFiles) -> str:
    """What was linked and what is to be asked, in lines for a terminal."""
    count = Counter(row.state for row in found.session.rows)
    lines = [f"{count['linked']} linked, {count['asked']} to be asked, {count['alone']} alone"]
    lines += [
        f"clock of {clock.name}: {clock.offset_s:+.1f} s and {clock.drift_ppm:+.0f} ppm to {clock.against}, "
        f"jitter {clock.jitter_sd_s:.1f} s"
        for clock in found.session.clocks
    ]
    asked = [row for row in found.session.rows if row.state == "asked"]
    lines += [f"  {named(row)} {row.why}" for row in asked[:MOST_NAMED]]
    if len(asked) > MOST_NAMED:
        lines.append(f"  and {len(asked) - MOST_NAMED} more to be asked")
    for name, rows in found.set_aside.items():
        lines += [
            f"set aside: {name} {aside.key or '(no name)'}, row {aside.row}: {aside.why}" for aside in rows
        ]
    return "\n".join([*lines, *(f"note: {note}" for note in found.notes)])


def why_throw(session: Session, throw: str) -> str:
    """What linked a throw, how surely, and what else it could have been.

    Raises:
        NothingToLink: The sheet has no such throw.
    """
    rows = [row for row in session.rows if row.throw == throw]
    if not rows:
        raise NothingToLink(f"the sheet has no throw {throw!r}")
    lines = []
    for row in rows:
        lines.append(f"{named(row)}: {row.state}, probability {row.probability:.4f}")
        lines += [f"  {part}" for part in row.why.split("; ")]
        for other in row.candidates:
            names = _names(other.clip, other.throw, other.flight)
            lines.append(f"  instead: {names}, {other.probability:.2g} ({other.why})")
    return "\n".join(lines)


def named(row: LinkedRow) -> str:
    """What the row holds, by name."""
    return _names(row.clip, row.throw, row.flight)


def _names(clip: str | None, throw: str | None, flight: str | None) -> str:
    named = {"clip": clip, "throw": throw, "flight": flight}
    return ", ".join(f"{kind} {name}" for kind, name in named.items() if name is not None)
