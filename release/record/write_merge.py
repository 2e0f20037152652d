"""Brings what another logbook holds into this one: nothing lost, nothing twice, and what disagrees shown.

Clips are known by content, measurements by what they were made from, decisions, notes and sessions by random
ids, so a union is nearly all there is to it. Two sessions begun apart are one where they have the same name
and share a sheet, a flight file or a clip. Where two people filled the same cell differently, ours stands and
a "merge conflict" keeps both; where two decided differently of the same thing, both decisions are kept, the
later one holds, and a "merge conflict" shows them. Running it again changes nothing.
"""

import json
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, func, select, update

from release.record import schema as t
from release.record.conflicts import contradictions
from release.record.read import in_force
from release.record.read_merge import (
    Forgotten,
    Row,
    chunks,
    forgotten_rows,
    key_of,
    rows_here,
    same_sessions,
    with_our_session,
)
from release.record.write import after, forgotten_digest, insert_new
from release.record.write_clips import copied_in
from release.record.write_open import Logbook, reading, said_plainly, write_whole, writing

# What people fill in; the rest of a row is the tool's own.
FILLED: Mapping[str, tuple[str, ...]] = {
    "athletes": ("throws", "age_band", "consent", "consent_day", "keep_until"),
    "sessions": ("settings", "plan"),
    "clips": ("session", "camera", "athlete"),
    "throws": tuple(c.name for c in t.throws.columns if not c.primary_key),
    "flights": tuple(c.name for c in t.flights.columns if not c.primary_key),
    "imports": ("session",),
}
SUBJECT = ("session", "clip", "throw", "flight", "athlete")  # columns of a fact that say what it is about
STATES = ("waiting", "set aside", "refused", "measured")  # of two, the later one is known more of


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """What a merge did."""

    new: Mapping[str, int]  # table to rows that were not here
    conflicts: tuple[Mapping[str, Any], ...]  # value of each "merge conflict" that is new
    joined: tuple[str, ...]  # names of sessions begun apart that are one
    apart: tuple[str, ...]  # names that several sessions have, for want of anything that they share
    link_again: tuple[str, ...]  # names of sessions that both had linked, differently
    damaged: tuple[str, ...]  # clips whose file there is gone or changed, and lies not here either
    left_out: int  # rows about what was forgotten here
    forgotten_there: tuple[str, ...]  # athletes forgotten there and still here


@dataclass(slots=True, kw_only=True)
class _Merging:
    """What is known while one merge runs."""

    session_of: Mapping[str, str]  # their session to ours
    forgotten: Forgotten
    new: dict[str, int] = field(default_factory=dict)
    conflicts: list[Row] = field(default_factory=list)
    link_again: list[str] = field(default_factory=list)
    left_out: int = 0


def merge(
    ours: Logbook, theirs: Logbook, *, who: str, told: Callable[[int], None] = lambda n_bytes: None
) -> Merged:
    """Bring in all that `theirs` holds; it is not changed.

    Args:
        ours: The logbook that grows.
        theirs: The other one.
        who: Who merges; stands beside each conflict.
        told: Called with the size of each clip once it is here.

    Raises:
        DiskFull, LogbookReadOnly, LogbookBusy, LogbookUnreachable: Nothing was merged; clips copied so far
            are found again by the next run.
    """
    with reading(theirs) as there:
        with reading(ours) as here:
            session_of = same_sessions(here, there)
            run = _Merging(session_of=session_of, forgotten=forgotten_rows(here, there, session_of))
        damaged = _bring_files(ours, theirs, there, run, told)
        with writing(ours, alone=True) as here:
            decided = _decisions(here)
            for of in t.metadata.sorted_tables:
                _bring(here, there, of, run)
            _bring_links(here, there, run)
            theirs_decided = [with_our_session(row, session_of) for row in _decisions(there)]
            _compare_decisions(decided, theirs_decided, run)
            conflicts = tuple(_write_conflicts(here, run.conflicts, who))
            return Merged(
                new=run.new,
                conflicts=conflicts,
                joined=_session_names(here, session_of.values()),
                apart=_names_shared(here),
                link_again=_session_names(here, run.link_again),
                damaged=tuple(damaged),
                left_out=run.left_out,
                forgotten_there=_forgotten_there(here, there),
            )


def _bring_files(
    ours: Logbook, theirs: Logbook, there: Connection, run: _Merging, told: Callable[[int], None]
) -> list[str]:
    """Copy the clips and frames that are not here; returns the clips that are whole on neither side."""
    damaged = []
    for rows in chunks(there, t.clips):
        with reading(ours) as here:
            known = rows_here(here, t.clips, rows)
        for row in rows:
            if run.forgotten.has(t.clips, row):
                continue
            target = ours.clips / f"{row['sha256']}{known.get((row['sha256'],), row)['ext']}"
            source = theirs.clips / f"{row['sha256']}{row['ext']}"
            if not copied_in(ours, source, target, row["sha256"], row["bytes"]):
                damaged.append(row["name"])
            told(row["bytes"])
    query = select(t.measurements.c.measurement, t.measurements.c.clip)
    for measurement, clip in there.execute(query):
        source, target = (book.frames / f"{measurement}.jpg" for book in (theirs, ours))
        if clip not in run.forgotten.clips and not target.exists() and source.is_file():
            try:
                write_whole(target, source.read_bytes())
            except OSError as error:
                raise said_plainly(error, ours.folder) from error
    return damaged


def _bring(here: Connection, there: Connection, of: Table, run: _Merging) -> None:
    if of in (t.links, t.releases, t.orientations):
        return  # links are replaced as a whole; what belongs to a measurement comes with it
    for rows in chunks(there, of):
        rows = [with_our_session(row, run.session_of) for row in rows]
        wanted = [row for row in rows if not run.forgotten.has(of, row)]
        run.left_out += len(rows) - len(wanted)
        known = rows_here(here, of, wanted) if wanted else {}
        new = [row for row in wanted if key_of(of, row) not in known]
        insert_new(here, of, new)
        run.new[of.name] = run.new.get(of.name, 0) + len(new)
        if of is t.measurements:
            _bring_figures(here, there, [row["measurement"] for row in new])
        for row in wanted:
            if (held := known.get(key_of(of, row))) is not None:
                _meet(here, there, of, held, row, run)


def _bring_figures(here: Connection, there: Connection, measurements: list[str]) -> None:
    for of in (t.releases, t.orientations):
        rows = there.execute(select(of).where(of.c.measurement.in_(measurements))).mappings()
        insert_new(here, of, [dict(row) for row in rows])


def _meet(here: Connection, there: Connection, of: Table, held: Row, row: Row, run: _Merging) -> None:
    """Two rows of one key: fill what is empty here, and note where people filled it differently."""
    if of is t.athlete_names:
        return _meet_names(here, held, row, run)
    names = FILLED.get(of.name, ())
    filled = {n: row[n] for n in names if held[n] in (None, "") and row[n] not in (None, "")}
    differ = [n for n in names if n not in filled and row[n] not in (None, "") and row[n] != held[n]]
    if of is t.clips:
        filled |= {"created": row["created"]} if held["created"] is None and row["created"] else {}
        if _knows_more(here, there, held, row):
            filled |= {name: row[name] for name in ("state", "why", "measurement")}
    if filled:
        keys = zip(of.primary_key, key_of(of, held), strict=True)
        here.execute(update(of).where(*(column == value for column, value in keys)).values(**filled))
    if differ:
        value = {"table": of.name, "key": list(key_of(of, row))}
        value |= {"ours": {n: held[n] for n in differ}, "theirs": {n: row[n] for n in differ}}
        about = {"clip": row["sha256"]} if of is t.clips else {n: row[n] for n in SUBJECT if n in row}
        run.conflicts.append({**about, "value": value})
    return None


def _knows_more(here: Connection, there: Connection, held: Row, row: Row) -> bool:
    """Whether their state of a clip is further on; of two measurements the later one is in force."""
    ranks = [STATES.index(state) for state in (held["state"], row["state"])]
    if row["measurement"] is None or held["measurement"] is None or row["measurement"] == held["measurement"]:
        return ranks[1] > ranks[0]
    at = select(t.measurements.c.measured_at)
    ours = here.scalar(at.where(t.measurements.c.measurement == held["measurement"]))
    theirs = there.scalar(at.where(t.measurements.c.measurement == row["measurement"]))
    return (theirs or "") > (ours or "")


def _meet_names(here: Connection, held: Row, row: Row, run: _Merging) -> None:
    """Keep both names in the one table that holds names; the conflict itself tells neither."""
    names = held["name"].split(" / ")
    other = [name for name in row["name"].split(" / ") if name not in names]
    if other:
        of, athlete = t.athlete_names, row["athlete"]
        here.execute(update(of).where(of.c.athlete == athlete).values(name=" / ".join([*names, *other])))
        value = {"table": of.name, "key": [athlete], "ours": len(names), "theirs": len(other)}
        run.conflicts.append({"athlete": athlete, "value": value})


def _bring_links(here: Connection, there: Connection, run: _Merging) -> None:
    """A session's links are one answer: theirs where there is none here, else ours, to be linked again."""
    for theirs in there.scalars(select(t.links.c.session).distinct().order_by(t.links.c.session)).all():
        session = run.session_of.get(theirs, theirs)
        rows = there.execute(select(t.links).where(t.links.c.session == theirs)).mappings()
        wanted = [{**row, "session": session} for row in rows]
        wanted = [row for row in wanted if not run.forgotten.has(t.links, row)]
        held = here.execute(select(t.links).where(t.links.c.session == session)).mappings().all()
        if not held:
            insert_new(here, t.links, wanted)
        elif {_link(row) for row in held} != {_link(row) for row in wanted}:
            run.link_again.append(session)


def _link(row: Mapping[Any, Any]) -> tuple[Any, ...]:
    return tuple(row[name] for name in ("clip", "throw", "flight", "state"))


def _compare_decisions(ours: Sequence[Row], theirs: Sequence[Row], run: _Merging) -> None:
    """Note the decisions made apart that cannot both hold."""
    known = {row["fact"] for row in ours}, {row["fact"] for row in theirs}
    only_ours = [dict(row) for row in in_force(ours) if row["fact"] not in known[1]]
    apart = [dict(row) for row in in_force(theirs) if row["fact"] not in known[0]]
    only_theirs = [row for row in apart if not run.forgotten.has(t.facts, row)]
    for a, b, about in contradictions(only_ours, only_theirs):
        subject = {name: b[name] if b[name] is not None else a[name] for name in SUBJECT}
        told = [{name: row[name] for name in ("fact", "who", "at", "kind", "value")} for row in (a, b)]
        value = {"table": "facts", "key": [about], "ours": told[0], "theirs": told[1]}
        run.conflicts.append({**subject, "value": value})


def _decisions(connection: Connection) -> list[Row]:
    """All of a logbook's decisions, oldest first."""
    query = select(t.facts).order_by(t.facts.c.at, t.facts.c.fact)
    return [dict(row) for row in connection.execute(query).mappings()]


def _write_conflicts(here: Connection, conflicts: Iterable[Row], who: str) -> Iterator[Row]:
    """Write each conflict down once, whichever of the two is merged into the other; yields the new ones."""
    latest = here.scalar(select(func.max(t.facts.c.at)))
    for conflict in conflicts:
        value = conflict["value"]
        both = sorted(json.dumps(value[side], sort_keys=True, default=str) for side in ("ours", "theirs"))
        name = json.dumps(["merge conflict", value["table"], value["key"], *both], default=str)
        latest = after(latest)
        row = {**dict.fromkeys(SUBJECT), **conflict, "fact": uuid.uuid5(uuid.NAMESPACE_OID, name).hex}
        row |= {"at": latest, "who": who, "kind": "merge conflict", "undoes": None}
        if insert_new(here, t.facts, [row]):
            yield value


def _names_shared(here: Connection) -> tuple[str, ...]:
    names = select(t.sessions.c.name).group_by(t.sessions.c.name).having(func.count() > 1)
    return tuple(here.scalars(names.order_by(t.sessions.c.name)))


def _forgotten_there(here: Connection, there: Connection) -> tuple[str, ...]:
    digests = set(there.scalars(select(t.forgotten.c.digest)))
    back = set(there.scalars(select(t.athletes.c.athlete)))
    codes = here.scalars(select(t.athletes.c.athlete).order_by(t.athletes.c.athlete))
    return tuple(c for c in codes if forgotten_digest("athletes", c) in digests and c not in back)


def _session_names(here: Connection, sessions: Iterable[str]) -> tuple[str, ...]:
    named = dict(map(tuple, here.execute(select(t.sessions.c.session, t.sessions.c.name))))
    return tuple(sorted(named[session] for session in sessions))
