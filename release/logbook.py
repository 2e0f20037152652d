"""The main job on a logbook: take in, measure, link. Each step run twice changes nothing.

A killed run goes on where it stopped: every clip is stored when it is measured, and one whose answer is in
force for the same models, settings and human decisions is not measured again.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pandas as pd
from sqlalchemy import select

from release.batch import measure_many
from release.camera.ball_speed import MPH_M_S
from release.clip_settings import key_of, session_settings
from release.errors import NothingToLink
from release.flight.columns import TOWARD_FIRST, with_hand
from release.flight.read import read_flights
from release.flight.read_mapping import read_mapping
from release.jpeg import jpeg_of
from release.pipeline import ThrowMeasurement
from release.read_table import SetAside, Table
from release.record import read, schema, write
from release.record.read_session import session_table
from release.record.result import Measurement, MeasurementKey
from release.record.write_clips import file_sha256
from release.record.write_open import Logbook
from release.session.align import link
from release.session.read import read_sheet
from release.session.read_plan import read_plan
from release.session.result import Fact, LinkedRow, Session
from release.session_setting import setting_of
from release.settings import Settings
from release.times import clock_time, to_utc, zone_named

PICTURE_QUALITY = 92
LINK_FACTS = get_args(Fact.__annotations__["kind"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """What became of a table that was handed in."""

    new: int
    changed: int
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one clip that was to be measured."""

    sha256: str
    name: str
    why: str | None  # why it was refused or set aside; None when measured


def enter_sheet(logbook: Logbook, file: Path, session: str | None = None, time_zone: str = "") -> Entered:
    """Enter a throw sheet; a newer one of the session adds rows and changes those that differ.

    Args:
        logbook: Where.
        file: The sheet.
        session: Its name; None for that of an earlier reading of this file, or else today's.
        time_zone: Zone of times without one.

    Raises:
        ReleaseError: It cannot be read as a sheet; single bad rows are set aside.
    """
    zone = _zone(time_zone)
    table = read_sheet(file, zone)
    numbered = pd.to_numeric(table.rows["throw"], errors="coerce")
    whole = (numbered % 1 == 0).to_numpy()
    unnumbered = [
        SetAside(row=int(str(row)), key=str(throw), why=f"throw is a running number, not {throw!r}")
        for row, throw in table.rows.loc[~whole, "throw"].items()
    ]
    rows = table.rows[whole].assign(throw=numbered[whole].astype(int))
    if "block" in rows:
        rows = rows.assign(block=rows["block"].astype(float).round())
    return _entered(logbook, write.add_sheet, table, rows, unnumbered, file, session, zone)


def enter_flights(
    logbook: Logbook, file: Path, session: str | None = None, mapping: Path | None = None
) -> Entered:
    """Enter a flight file; as `enter_sheet`, the zone being the mapping's."""
    mapped = read_mapping(mapping) if mapping else None
    table = read_flights([file], mapped, setting_of(logbook, session, file))
    rows = table.rows.rename(columns={"break_definition": "break_window", "flagged": "flags"})
    rows = rows.drop(columns=["file", "time_zoned"], errors="ignore")
    zone = mapped.zone if mapped else None
    return _entered(logbook, write.add_flights, table, rows, [], file, session, zone)


def enter_plan(logbook: Logbook, file: Path, session: str | None = None) -> None:
    """Keep the plan by which the session's cues were drawn.

    Raises:
        PlanUnreadable: It is none.
    """
    read_plan(file)
    write.set_session(logbook, write.session_for(logbook, session), plan=file.read_text(encoding="utf-8-sig"))


def measure_logbook(
    logbook: Logbook,
    session: str | None = None,
    clips: Sequence[str] | None = None,
    *,
    workers: int = 2,
    scheduler: str | None = None,
    again: bool = False,
    progress: Callable[[Outcome, int], None] = lambda _one, _of: None,
) -> list[Outcome]:
    """Measure the clips whose answer is not in force, several at once.

    Args:
        logbook: Where.
        session: Only those of this session (id).
        clips: Only these (hashes).
        workers: How many at once on this machine.
        scheduler: A Dask scheduler (`tcp://host:port`) whose workers measure instead; they see the clips
            folder under the same path.
        again: Also those whose answer is in force.
        progress: Called with each outcome, once it is stored, and how many there will be.

    Returns:
        What became of each; one that cannot be measured is set aside with its reason, and the rest goes on.
    """
    waiting = [
        (row, settings, key)
        for row, settings, key in _as_decided(logbook, session)
        if (clips is None or row["sha256"] in clips) and (again or not _in_force(logbook, row, key))
    ]
    by_path = {
        logbook.clips / f"{row['sha256']}{row['ext']}": (row, settings, key) for row, settings, key in waiting
    }
    asked: dict[Path | str, Settings] = {path: settings for path, (_, settings, _) in by_path.items()}
    outcomes = []
    for one in measure_many(list(asked), asked, workers=workers, scheduler=scheduler):
        clip, settings, key = by_path[Path(one.path)]
        answer = one.measured if one.measured is not None else str(one.why)
        outcomes.append(store_measured(logbook, clip, settings, key, answer))
        progress(outcomes[-1], len(waiting))
    return outcomes


def pairs_to_fit(logbook: Logbook, session: str) -> list[str]:
    """Measured clips to be measured again: linked with another phone's clip since, or no longer.

    Args:
        logbook: Where.
        session: Its id; linked.
    """
    answers, found = schema.measurements, schema.clips
    query = select(found.c.sha256).join(answers, answers.c.measurement == found.c.measurement)
    query = query.where(found.c.session == session, answers.c.partner.is_not(None))
    paired = set(read.table(logbook, query)["sha256"])
    return [
        row["sha256"]
        for row, settings, key in _as_decided(logbook, session)
        if row["measurement"] not in (None, key.text)
        and (settings.partner is not None or row["sha256"] in paired)
    ]


def _in_force(logbook: Logbook, row: Mapping[Any, Any], key: MeasurementKey) -> bool:
    """Whether a clip has this answer; one that was kept from before is put in force again."""
    before = row["measurement"]
    return before == key.text or (before is not None and write.bring_back(logbook, key))


def _as_decided(
    logbook: Logbook, session: str | None
) -> Iterator[tuple[dict[Any, Any], Settings, MeasurementKey]]:
    """Each clip with what is decided of it, and the key that its answer would have."""
    rows = read.clips(logbook, session)
    of_clip = {one: session_settings(logbook, one) for one in rows["session"].unique()}
    for row in rows.to_dict("records"):
        settings, edits = of_clip[row["session"]](row["sha256"])
        yield row, settings, key_of(row["sha256"], settings, edits)


def measurement_of(measured: ThrowMeasurement, key: MeasurementKey, settings: Settings) -> Measurement:
    """What the logbook keeps of one measured clip."""
    return Measurement(
        key=key,
        settings={
            name: str(value)
            for name, value in asdict(replace(settings, partner=None)).items()
            if value is not None
        },
        models=measured.models,
        throws=measured.throws,
        time_base=measured.clip.time_base,
        release=measured.release,
        orientation=measured.orientation,
        refused=measured.refused,
        picture_jpeg=None if measured.picture is None else jpeg_of(measured.picture, PICTURE_QUALITY),
        picture_frame_index=measured.picture_frame_index,
        points_px=measured.points_px,
        partner=measured.partner and Path(measured.partner).stem,
        apart=measured.apart,
    )


def link_logbook(logbook: Logbook, session: str) -> Session:
    """Link the measured clips, sheet and flights of a session, and keep the links.

    People's words in the logbook are final. In what is returned a clip goes by its file name (by name and
    hash where two share a name), a throw by its number.

    Args:
        logbook: Where.
        session: Its id.
    """
    clips = _clips_to_link(logbook, session)
    names = clip_names(clips)
    clips = clips.assign(clip=clips["sha256"].map(names), time_s=_utc_s(clips["created"]))
    throws = read.throws(logbook, session=session, limit=1_000_000)
    throws = throws.assign(throw=throws["throw"].astype(str), time_s=_utc_s(throws["time"]))
    flights = read.flights(logbook, session)
    flights = flights.assign(time_s=_utc_s(flights["time"]))
    found = link(clips, throws, flights, _facts(logbook, session, names))
    sha256 = {name: key for key, name in names.items()}
    write.save_links(logbook, session, (_link_row(row, sha256) for row in found.rows))
    return found


def linked_table(logbook: Logbook, session: str | None = None) -> pd.DataFrame:
    """The table of `record.read_session`, its side columns filled where only the link tells the hand."""
    table = session_table(logbook, session)
    query = select(schema.flights.c.session, schema.flights.c.flight, schema.flights.c.extra)
    if session is not None:
        query = query.where(schema.flights.c.session == session)
    extra = read.table(logbook, query)
    toward = {
        column: {
            (row["session"], row["flight"]): float(row["extra"][column])
            for row in extra.to_dict("records")
            if row["extra"] and column in row["extra"]
        }
        for column in TOWARD_FIRST.values()
    }
    keys = list(zip(table["session"], table["flight"], strict=True))
    sides = {name: [values.get(key, np.nan) for key in keys] for name, values in toward.items() if values}
    return with_hand(table.assign(**sides), table["throws"]).drop(columns=list(sides)) if sides else table


def clip_names(clips: pd.DataFrame) -> dict[str, str]:
    """Hash to what a clip is called: its file's name, with the hash's start where two share a name."""
    twice = clips["name"].duplicated(keep=False)
    called = clips["name"].where(~twice, clips["name"] + " (" + clips["sha256"].str[:8] + ")")
    return dict(zip(clips["sha256"], called, strict=True))


def _zone(name: str) -> tzinfo | None:
    try:
        return zone_named(name) if name else None
    except ValueError as error:
        raise NothingToLink(str(error)) from None


def _entered(
    logbook: Logbook,
    add: Callable[..., tuple[int, int]],
    table: Table,
    rows: pd.DataFrame,
    set_aside: Sequence[SetAside],
    file: Path,
    session: str | None,
    zone: tzinfo | None,
) -> Entered:
    stamps = [
        _stamp(cell, at, zone) for cell, at in zip(rows.get("time", rows.index), rows["time_s"], strict=True)
    ]
    rows = rows.assign(time=np.array(stamps, object)).drop(columns=["time_s", "time_doubt"])
    sha256 = file_sha256(file)
    into = write.session_for(logbook, session, sha256)
    new, changed = add(logbook, into, rows, sha256=sha256, name=file.name)
    return Entered(new=new, changed=changed, set_aside=(*table.set_aside, *set_aside), notes=table.notes)


def _stamp(cell: object, at_s: float, zone: tzinfo | None) -> str | None:
    """The time as the logbook keeps it: UTC, without an offset where no zone is known."""
    if not np.isfinite(at_s):
        return None
    when = datetime.fromtimestamp(at_s, UTC)
    said = clock_time(cell) if isinstance(cell, str) else None
    zoned = zone is not None or (said is not None and said.tzinfo is not None)
    return (when if zoned else when.replace(tzinfo=None)).isoformat()


def _utc_s(stamps: pd.Series) -> np.ndarray[Any, np.dtype[np.float64]]:
    return to_utc([clock_time(cell) if isinstance(cell, str) else None for cell in stamps], None).utc_s


def store_measured(
    logbook: Logbook,
    clip: Mapping[str, Any],
    settings: Settings,
    key: MeasurementKey,
    measured: ThrowMeasurement | str,
) -> Outcome:
    """Keep what was measured of one clip, or why it could not be."""
    if isinstance(measured, str):
        why = measured.replace(str(logbook.clips / f"{clip['sha256']}{clip['ext']}"), clip["name"])
        write.set_aside(logbook, clip["sha256"], why)
        return Outcome(sha256=clip["sha256"], name=clip["name"], why=why)
    created = measured.clip.created.isoformat() if measured.clip.created else None
    write.save_measurement(logbook, measurement_of(measured, key, settings), created)
    return Outcome(sha256=clip["sha256"], name=clip["name"], why=measured.refused)


def _clips_to_link(logbook: Logbook, session: str) -> pd.DataFrame:
    clips, seen = schema.clips, schema.measurements
    told = [clips.c.sha256, clips.c.name, clips.c.camera, clips.c.created, clips.c.athlete]
    query = select(*told, seen.c.throws, seen.c.time_base)
    query = query.join(seen, seen.c.measurement == clips.c.measurement)
    query = query.where(clips.c.session == session, clips.c.state == "measured")
    table = read.table(logbook, query.order_by(clips.c.created.is_(None), clips.c.created, clips.c.name))
    bases = table.pop("time_base")
    return table.assign(
        speed_mph=[_true_mph(base, "ball_m_s") for base in bases],
        speed_sd_mph=[_true_mph(base, "ball_sd_m_s") for base in bases],
    )


def _true_mph(base: Mapping[str, Any], speed: str) -> float:
    """A speed that the clip shows, in true seconds; NaN where it shows none or its rate is unknown."""
    if base.get(speed) is None or base["slowdown"] is None:
        return np.nan
    return base[speed] * base["slowdown"] / MPH_M_S


def _facts(logbook: Logbook, session: str, names: Mapping[str, str]) -> list[Fact]:
    return [
        Fact(
            kind=fact["kind"],
            clip=names.get(fact["clip"], fact["clip"]),
            throw=None if fact["throw"] is None else str(fact["throw"]),
            flight=fact["flight"],
            who=fact["who"],
            at=fact["at"],
        )
        for fact in read.facts(logbook, session=session)
        if fact["kind"] in LINK_FACTS
    ]


def _link_row(row: LinkedRow, sha256: Mapping[str, str]) -> dict[str, object]:
    return {
        "clip": sha256[row.clip] if row.clip else None,
        "throw": int(row.throw) if row.throw else None,
        "flight": row.flight,
        "probability": row.probability,
        "state": row.state,
        "why": row.why,
    }
