"""What a page shows, read from a logbook as plain rows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Select, func, select

from release.errors import NoSuchSession
from release.record import schema as t
from release.record.read import facts as facts_of
from release.record.write_open import Logbook, reading

ABOUT_CLIPS = ("release set", "landmark pinned", "clip accepted", "clip rejected")
TAGS = ("cue", "pitch", "grip_seams", "grip_offset", "grip_index", "grip_thumb", "grip_ball", "grip_pressure")
NO_RENAMES: Mapping[str, Mapping[str, str]] = {}
Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipRow:
    """One clip with what is known of it."""

    sha256: str
    name: str
    camera: str  # which phone
    state: str  # waiting, measured, refused, set aside
    why: str | None
    measurement: str | None
    release: Row | None  # the machine's, or the one a person set, as measured with
    figures: Mapping[str, Row] = field(default_factory=dict)  # value, sd, low, high, refused
    flagged: Sequence[str] = ()
    picture_frame_index: int | None = None
    throw: Row | None = None  # of the sheet, with a person's tags over it
    flight: Row | None = None
    verdict: Row | None = None  # the newest "clip accepted" or "clip rejected" in force
    facts: Sequence[Row] = ()  # in force, oldest first
    second_clip: str | None = None  # the other phone's, with which this one was fitted together


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRows:
    """One session."""

    session: str
    name: str
    day: str
    clips: tuple[ClipRow, ...]  # in the order thrown as far as it is known
    throws: tuple[Row, ...]
    flights: tuple[Row, ...]
    links: tuple[Row, ...]
    facts: tuple[Row, ...]  # of the session, in force, oldest first


def read_sessions(logbook: Logbook) -> list[Row]:
    """Every session, newest day first, with the number of its clips and of throws on its sheet."""
    clips = select(t.clips.c.session, func.count().label("clips")).group_by(t.clips.c.session).subquery()
    throws = select(t.throws.c.session, func.count().label("throws")).group_by(t.throws.c.session).subquery()
    query = (
        select(t.sessions.c.session, t.sessions.c.name, t.sessions.c.day, clips.c.clips, throws.c.throws)
        .outerjoin(clips, clips.c.session == t.sessions.c.session)
        .outerjoin(throws, throws.c.session == t.sessions.c.session)
        .order_by(t.sessions.c.day.desc(), t.sessions.c.name)
    )
    with reading(logbook) as connection:
        return [dict(row) for row in connection.execute(query).mappings()]


def read_states(logbook: Logbook, session: str) -> list[Row]:
    """Name, state and measurement of every clip, in the order taken in: light enough to ask each second."""
    c = t.clips.c
    query = select(c.sha256, c.name, c.state, c.why, c.measurement).where(c.session == session)
    with reading(logbook) as connection:
        return _dicts(connection, query.order_by(c.taken_in))


def read_session(
    logbook: Logbook, session: str, in_use: Mapping[str, Mapping[str, str]] = NO_RENAMES
) -> SessionRows:
    """A whole session.

    Args:
        logbook: Where.
        session: Its id.
        in_use: Columns of the sheet, each with wordings and the one in use now; others stay as said.

    Raises:
        NoSuchSession: There is none with this id.
    """
    facts = [dict(row) for row in facts_of(logbook, session=session)]
    tags = _tags(facts)
    with reading(logbook) as connection:
        head = (
            connection.execute(select(t.sessions).where(t.sessions.c.session == session)).mappings().first()
        )
        if head is None:
            raise NoSuchSession(session, [])
        sheet = _rows(connection, t.throws, session, t.throws.c.throw)
        throws = [_renamed(row | tags.get(row["throw"], {}), in_use) for row in sheet]
        flights = _rows(connection, t.flights, session, t.flights.c.flight)
        links = _rows(connection, t.links, session, t.links.c.row)
        clips = _clips(connection, session, throws, flights, links, facts)
    return SessionRows(
        session=session,
        name=head["name"],
        day=head["day"],
        clips=tuple(clips),
        throws=tuple(throws),
        flights=tuple(flights),
        links=tuple(links),
        facts=tuple(facts),
    )


def read_clip_place(logbook: Logbook, sha256: str) -> Row | None:
    """The clip's row; None where there is none. The hash is looked up, never made into a path."""
    with reading(logbook) as connection:
        row = connection.execute(select(t.clips).where(t.clips.c.sha256 == sha256)).mappings().first()
        return None if row is None else dict(row)


def read_recent_words(logbook: Logbook, column: str, most: int = 12) -> list[str]:
    """What was last written in one tag column of all sheets and tags, newest first."""
    tagged = (
        select(t.facts.c.value)
        .where(t.facts.c.kind == "throw tagged")
        .order_by(t.facts.c.at.desc())
        .limit(200)
    )
    written = select(t.throws.c[column]).where(t.throws.c[column].is_not(None)).distinct().limit(200)
    with reading(logbook) as connection:
        said = [(value or {}).get(column) for value in connection.execute(tagged).scalars()]
        said += list(connection.execute(written).scalars())
    return list(dict.fromkeys(str(word) for word in said if word))[:most]


def read_own_answer(logbook: Logbook, sha256: str) -> Row | None:
    """What the machine answered by itself, kept beside what people set: its release and figures."""
    query = (
        select(t.measurements.c.measurement)
        .where(t.measurements.c.clip == sha256, t.measurements.c.edits_sha256 == "")
        .order_by(t.measurements.c.measured_at.desc())
    )
    with reading(logbook) as connection:
        own = connection.execute(query).scalar()
        if own is None:
            return None
        release = select(t.releases).where(t.releases.c.measurement == own)
        figures = select(t.orientations).where(t.orientations.c.measurement == own)
        found = connection.execute(release).mappings().first()
        rows = [dict(row) for row in connection.execute(figures).mappings()]
    return {"release": found and dict(found), "figures": {row["figure"]: row for row in rows}}


def read_seen(logbook: Logbook, measurement: str | None) -> Row:
    """What is shown of a measurement where its clip stands alone: `limits`, and `points_px` of its picture.

    Not read with the session, whose page it would hold up.
    """
    of = t.measurements.c
    query = select(of.limits, of.points_px).where(of.measurement == measurement)
    with reading(logbook) as connection:
        row = connection.execute(query).mappings().first() or {}
    return {"limits": row.get("limits") or [], "points_px": row.get("points_px") or {}}


def read_written(logbook: Logbook, session: str) -> tuple[int, int, list[tuple[Any, ...]]]:
    """What was written of a session by whatever program, light enough to ask each second.

    How many things people have said (taking one back is another), how many files were entered, the links.
    """
    said = select(func.count()).where(t.facts.c.session == session)
    entered = select(func.count()).where(t.imports.c.session == session)
    links = select(t.links.c.clip, t.links.c.throw, t.links.c.flight, t.links.c.state)
    links = links.where(t.links.c.session == session).order_by(t.links.c.row)
    with reading(logbook) as connection:
        made = [tuple(row) for row in connection.execute(links).all()]
        return connection.execute(said).scalar_one(), connection.execute(entered).scalar_one(), made


def read_fact(logbook: Logbook, fact: str) -> Row | None:
    """One fact by its id."""
    with reading(logbook) as connection:
        row = connection.execute(select(t.facts).where(t.facts.c.fact == fact)).mappings().first()
        return None if row is None else dict(row)


def _rows(connection: Connection, table: Any, session: str, order: Any) -> list[Row]:
    return _dicts(connection, select(table).where(table.c.session == session).order_by(order))


def _dicts(connection: Connection, query: Select[*tuple[Any, ...]]) -> list[Row]:
    """What `mappings` gives, without asking each row for its columns' names anew: sessions are long."""
    found = connection.execute(query)
    names = tuple(found.keys())
    return [dict(zip(names, row, strict=True)) for row in found.all()]


def _tags(facts: Sequence[Row]) -> dict[int, Row]:
    """Throw to what people tagged it as; a newer word counts more."""
    tags: dict[int, Row] = {}
    for fact in facts:
        if fact["kind"] == "throw tagged":
            said = {k: v for k, v in (fact["value"] or {}).items() if k in TAGS}
            tags[fact["throw"]] = tags.get(fact["throw"], {}) | said
    return tags


def _renamed(throw: Row, in_use: Mapping[str, Mapping[str, str]]) -> Row:
    return throw | {column: words.get(throw[column], throw[column]) for column, words in in_use.items()}


def _clips(
    connection: Connection,
    session: str,
    throws: Sequence[Row],
    flights: Sequence[Row],
    links: Sequence[Row],
    facts: Sequence[Row],
) -> list[ClipRow]:
    c, m = t.clips.c, t.measurements.c
    query = (
        select(c.sha256, c.name, c.camera, c.state, c.why, c.created, c.taken_in, c.measurement)
        .add_columns(m.flagged, m.picture_frame_index, m.partner, m.apart)
        .outerjoin(t.measurements, m.measurement == c.measurement)
        .where(c.session == session)
    )
    rows = _dicts(connection, query)
    of_session = select(c.measurement).where(c.session == session)
    asked = select(t.releases).where(t.releases.c.measurement.in_(of_session))
    releases = {row["measurement"]: row for row in _dicts(connection, asked)}
    figures: dict[str, dict[str, Row]] = {}
    asked = select(t.orientations).where(t.orientations.c.measurement.in_(of_session))
    for row in _dicts(connection, asked):
        figures.setdefault(row["measurement"], {})[row["figure"]] = row
    said: dict[str, list[Row]] = {}
    for fact in (fact for fact in facts if fact["kind"] in ABOUT_CLIPS):
        said.setdefault(fact["clip"], []).append(fact)
    linked = {row["clip"]: row for row in links if row["clip"] and row["state"] == "linked"}
    throw_of = {row["throw"]: row for row in throws}
    flight_of = {row["flight"]: row for row in flights}
    names = {row["sha256"]: row["name"] for row in rows}

    def clip_row(row: Row) -> ClipRow:
        link = linked.get(row["sha256"], {})
        own = said.get(row["sha256"], [])
        verdicts = [f for f in own if f["kind"] in ("clip accepted", "clip rejected")]
        return ClipRow(
            sha256=row["sha256"],
            name=row["name"],
            camera=row["camera"],
            state=row["state"],
            why=row["why"],
            measurement=row["measurement"],
            release=releases.get(row["measurement"]),
            figures=figures.get(row["measurement"], {}),
            flagged=row["flagged"] or (),
            picture_frame_index=row["picture_frame_index"],
            throw=throw_of.get(link.get("throw")),
            flight=flight_of.get(link.get("flight")),
            verdict=verdicts[-1] if verdicts else None,
            facts=own,
            second_clip=names.get(row["partner"]) if row["apart"] is None else None,
        )

    def order(row: Row) -> tuple[float, str]:
        throw = linked.get(row["sha256"], {}).get("throw")
        return (float("inf") if throw is None else throw, row["created"] or row["taken_in"])

    return [clip_row(row) for row in sorted(rows, key=order)]
