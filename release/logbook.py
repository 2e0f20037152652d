"""The main job on a logbook: take in, measure, link. Each step run twice changes nothing.

A killed run goes on where it stopped: every clip is stored when it is measured, and one whose answer is in
force for the same models, settings and human decisions is not measured again.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pandas as pd
from sqlalchemy import select

from release.batch import measure_many
from release.camera.ball_speed import MPH_M_S
from release.errors import NothingToLink
from release.flight.columns import TOWARD_FIRST, with_hand
from release.flight.read import read_flights
from release.flight.read_mapping import read_mapping
from release.jpeg import jpeg_of
from release.marked_camera import marked_camera
from release.pipeline import ThrowMeasurement, models_here
from release.read_table import SetAside, Table
from release.record import read, schema, write
from release.record.read_session import session_table
from release.record.result import Measurement, MeasurementKey, digest
from release.record.write_clips import file_sha256
from release.record.write_open import Logbook
from release.session.align import link
from release.session.read import read_sheet
from release.session.read_plan import read_plan
from release.session.result import Fact, LinkedRow, Session
from release.session_setting import setting_of
from release.settings import PinnedPoint, Settings
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
    waiting = []
    rows = read.clips(logbook, session)
    said = {one: read.facts(logbook, session=one) for one in rows["session"].unique()}
    for row in rows.to_dict("records"):
        if clips is not None and row["sha256"] not in clips:
            continue
        settings, edits = _settings(logbook, said[row["session"]], row["sha256"], row["camera"])
        key = key_of(row["sha256"], settings, edits)
        if again or row["measurement"] != key.text:
            waiting.append((row, settings, key))
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


def settings_for(logbook: Logbook, session: str, sha256: str) -> tuple[Settings, str]:
    """What people decided of one clip, as settings, and its hash; the latest word holds."""
    return _settings(logbook, read.facts(logbook, session=session), sha256, _phone(logbook, sha256))


def _settings(
    logbook: Logbook, facts: Sequence[Mapping[str, Any]], sha256: str, phone: str | None
) -> tuple[Settings, str]:
    release_frame = capture_fps = camera = view = None
    pins: dict[tuple[int, str], PinnedPoint] = {}
    kept: list[object] = []
    for fact in facts:
        if fact["clip"] not in (None, sha256):
            continue
        if fact["kind"] == "release set":
            release_frame = float(fact["value"]["frame_index"])
        elif fact["kind"] == "time base set":
            capture_fps = float(fact["value"]["capture_fps"])
        elif fact["kind"] == "landmark pinned":
            pin = PinnedPoint(**fact["value"])
            pins[pin.frame_index, pin.point] = pin
        elif fact["kind"] == "camera marked" and fact["value"]["camera"] == phone:
            camera, view = marked_camera(logbook, fact), fact["value"].get("view") or None
        else:
            continue
        kept.append([fact["kind"], fact["value"]])
    settings = Settings(
        release_frame=release_frame,
        capture_fps=capture_fps,
        pins=tuple(pins.values()),
        camera=camera,
        view=view,
    )
    return settings, digest(kept) if kept else ""


def _phone(logbook: Logbook, sha256: str) -> str | None:
    clips = schema.clips
    found = read.table(logbook, select(clips.c.camera).where(clips.c.sha256 == sha256))
    return None if found.empty else str(found["camera"].iloc[0])


def measurement_of(measured: ThrowMeasurement, key: MeasurementKey, settings: Settings) -> Measurement:
    """What the logbook keeps of one measured clip."""
    return Measurement(
        key=key,
        settings={name: str(value) for name, value in asdict(settings).items() if value is not None},
        models=measured.models,
        throws=measured.throws,
        time_base=measured.clip.time_base,
        release=measured.release,
        orientation=measured.orientation,
        refused=measured.refused,
        picture_jpeg=None if measured.picture is None else jpeg_of(measured.picture, PICTURE_QUALITY),
        picture_frame_index=measured.picture_frame_index,
        points_px=measured.points_px,
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


def key_of(sha256: str, settings: Settings, edits: str) -> MeasurementKey:
    """What the answer for a clip depends on: not where on this machine a camera file lies."""
    camera = settings.camera and Path(settings.camera.name)
    return MeasurementKey(
        clip_sha256=sha256,
        models_sha256=digest(models_here()),
        settings_sha256=digest(asdict(replace(settings, camera=camera))),
        edits_sha256=edits,
    )


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
