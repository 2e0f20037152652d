"""Finds everything in a logbook that is about one athlete."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import JSON, Column, ColumnElement, Connection, Table, Text, cast, select

from release.record import schema as t
from release.record.read import in_force


@dataclass(frozen=True, slots=True, kw_only=True)
class Traces:
    """What is about one athlete, by key."""

    sessions: set[str]  # those that hold nothing of anybody else
    clips: set[str]
    throws: set[tuple[str, int]]
    flights: set[tuple[str, str]]
    facts: set[str]
    notes: set[str]
    unsure: set[str]  # clips of sessions shared with others that no link gives to anybody


def traces(connection: Connection, athlete: str) -> Traces:
    """All of an athlete's rows: by code, by link, by what a person confirmed, by a session of theirs alone.

    Args:
        connection: To the logbook, inside a transaction.
        athlete: The code.
    """
    throws = _keys(connection, t.throws, t.throws.c.athlete == athlete)
    clips = {sha256 for (sha256,) in _keys(connection, t.clips, t.clips.c.athlete == athlete)}
    flights = _keys(connection, t.flights, t.flights.c.athlete == athlete)
    of_clips = select(t.clips.c.session).where(t.clips.c.athlete == athlete)
    sessions = {session for session, _ in throws} | set(connection.scalars(of_clips))
    alone = {session for session in sessions if _is_alone(connection, session, athlete)}
    unsure: set[str] = set()
    in_order = select(t.facts).order_by(t.facts.c.at, t.facts.c.fact)
    decided = list(map(dict, connection.execute(in_order).mappings()))
    for session in sessions:
        own = {sha256 for (sha256,) in _keys(connection, t.clips, t.clips.c.session == session)}
        if session in alone:
            clips |= own
            flights |= _keys(connection, t.flights, t.flights.c.session == session)
            continue
        given = _given(connection, session, decided)
        clips |= {clip for throw, clip, _ in given if clip and (session, throw) in throws}
        flights |= {(session, flight) for throw, _, flight in given if flight and (session, throw) in throws}
        told = select(t.clips.c.sha256).where(t.clips.c.session == session, t.clips.c.athlete.is_not(None))
        unsure |= own - clips - {clip for _, clip, _ in given if clip} - set(connection.scalars(told))
    found = Traces(
        sessions=alone, clips=clips, throws=throws, flights=flights, facts=set(), notes=set(), unsure=unsure
    )
    found.facts.update(row["fact"] for row in decided if _is_about(row, athlete, found))
    for row in decided:  # in the order written, so that the undoing of an undoing follows
        if row["undoes"] in found.facts:
            found.facts.add(row["fact"])
    noted = map(dict, connection.execute(select(t.notes)).mappings())
    found.notes.update(row["note"] for row in noted if _is_about(row, athlete, found))
    return found


def mentions(connection: Connection, words: list[str]) -> list[str]:
    """Where any of these words, whole, still stands in people's or files' text: "TABLE COLUMN KEY"."""
    whole = whole_words(words)
    found = []
    for of in t.metadata.sorted_tables:
        for column in filter(_is_free_text, of.columns):
            text = cast(column, Text).label("text_of_row")
            query = select(text, *of.primary_key).where(column.is_not(None))
            for row in connection.execute(query.execution_options(yield_per=1000)):
                if whole.search(row[0]):
                    found.append(" ".join(map(str, (of.name, column.name, *row[1:]))))
    return found


def whole_words(words: Iterable[str]) -> re.Pattern[str]:
    """Finds any of the words where it stands alone, whatever the case: A1, but not in A10."""
    return re.compile(rf"(?<!\w)({'|'.join(map(re.escape, words))})(?!\w)", re.IGNORECASE)


def _is_free_text(column: Column[Any]) -> bool:
    key = column.primary_key or column.foreign_keys or column.name.endswith(("sha256", "measurement"))
    return isinstance(column.type, Text | JSON) and not key


def _keys(connection: Connection, of: Table, condition: ColumnElement[bool]) -> set[Any]:
    return set(map(tuple, connection.execute(select(*of.primary_key).where(condition))))


def _is_alone(connection: Connection, session: str, athlete: str) -> bool:
    """Whether all throws of the session, or without a sheet all its clips, are this athlete's."""
    codes = {
        of.name: set(connection.scalars(select(of.c.athlete).where(of.c.session == session).distinct()))
        for of in (t.throws, t.clips, t.flights)
    }
    named = (codes["throws"] | codes["clips"] | codes["flights"]) - {None}
    return named == {athlete} and (codes["throws"] or codes["clips"]) == {athlete}


def _given(
    connection: Connection, session: str, decided: Sequence[Mapping[str, Any]]
) -> set[tuple[int, str | None, str | None]]:
    """Throw, clip and flight that belong together: as last aligned, and as a person confirmed."""
    aligned = select(t.links.c.throw, t.links.c.clip, t.links.c.flight).where(
        t.links.c.session == session, t.links.c.state != "asked", t.links.c.throw.is_not(None)
    )
    confirmed = {
        (fact["throw"], fact["clip"], fact["flight"])
        for fact in in_force(decided)
        if fact["kind"] == "link confirmed" and fact["session"] == session and fact["throw"] is not None
    }
    return confirmed | {(row.throw, row.clip, row.flight) for row in connection.execute(aligned)}


def _is_about(row: Mapping[str, Any], athlete: str, found: Traces) -> bool:
    return (
        row["athlete"] == athlete
        or row["session"] in found.sessions
        or row.get("clip") in found.clips
        or (row["session"], row["throw"]) in found.throws
        or (row["session"], row.get("flight")) in found.flights
    )
