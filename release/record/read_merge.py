"""What must be known before a merge: which sessions are one, and what was forgotten here."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, select, tuple_

from release.record import schema as t
from release.record.read_traces import traces
from release.record.write import forgotten_digest

SOME = 500  # rows in one statement
Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgotten:
    """Their rows that are about what was forgotten here, in our session ids."""

    athletes: set[str]
    sessions: set[str]  # of nobody else
    clips: set[str]
    throws: set[tuple[str, int]]
    flights: set[tuple[str, str]]
    facts: set[str]
    notes: set[str]

    def has(self, of: Table, row: Row) -> bool:
        """Whether a row is one of them, or names one."""
        session = row.get("session")
        return (
            row.get("athlete") in self.athletes
            or session in self.sessions
            or row.get("sha256" if of is t.clips else "clip") in self.clips
            or (session, row.get("throw")) in self.throws
            or (session, row.get("flight")) in self.flights
            or (of is t.facts and row["fact"] in self.facts)
            or (of is t.notes and row["note"] in self.notes)
        )


def chunks(connection: Connection, of: Table) -> Iterator[list[Row]]:
    """All rows of a table, `SOME` at a time."""
    query = select(of).order_by(*of.primary_key).execution_options(yield_per=SOME)
    for part in connection.execute(query).mappings().partitions():
        yield [dict(row) for row in part]


def key_of(of: Table, row: Mapping[Any, Any]) -> tuple[Any, ...]:
    """A row's primary key."""
    return tuple(row[column.name] for column in of.primary_key)


def rows_here(connection: Connection, of: Table, rows: Sequence[Row]) -> dict[tuple[Any, ...], Row]:
    """Of at most `SOME` rows, those whose key is in this logbook."""
    query = select(of).where(tuple_(*of.primary_key).in_([key_of(of, row) for row in rows]))
    return {key_of(of, row): dict(row) for row in connection.execute(query).mappings()}


def same_sessions(here: Connection, there: Connection) -> dict[str, str]:
    """Their sessions that are ours under another id: one name, and a file or a clip in common."""
    ours = dict(map(tuple, here.execute(select(t.sessions.c.session, t.sessions.c.name))))
    theirs = dict(map(tuple, there.execute(select(t.sessions.c.session, t.sessions.c.name))))
    shared: dict[str, set[str]] = {}
    for of in (t.imports, t.clips):
        for rows in chunks(there, of):
            known = rows_here(here, of, rows)
            for row in rows:
                session = known[key_of(of, row)]["session"] if key_of(of, row) in known else row["session"]
                one = session not in theirs and ours.get(session) == theirs[row["session"]]
                if one and row.get("kind") != "plan":  # one plan may be drawn for several days
                    shared.setdefault(row["session"], set()).add(session)
    return {session: next(iter(found)) for session, found in shared.items() if len(found) == 1}


def forgotten_rows(here: Connection, there: Connection, session_of: Mapping[str, str]) -> Forgotten:
    """Their rows to be left out: what was forgotten here and not entered again, and all that names it."""
    found = Forgotten(
        athletes=set(), sessions=set(), clips=set(), throws=set(), flights=set(), facts=set(), notes=set()
    )
    digests = set(here.scalars(select(t.forgotten.c.digest)))
    if not digests:
        return found
    found.athletes.update(key[0] for key in _digested(here, there, t.athletes, session_of, digests))
    found.clips.update(key[0] for key in _digested(here, there, t.clips, session_of, digests))
    found.flights.update(_digested(here, there, t.flights, session_of, digests))
    for athlete in sorted(found.athletes):
        about = traces(there, athlete)
        found.sessions.update(session_of.get(session, session) for session in about.sessions)
        found.clips.update(about.clips)
        found.throws.update((session_of.get(session, session), throw) for session, throw in about.throws)
        found.flights.update((session_of.get(session, session), flight) for session, flight in about.flights)
        found.facts.update(about.facts)
        found.notes.update(about.notes)
    return found


def _digested(
    here: Connection, there: Connection, of: Table, session_of: Mapping[str, str], digests: set[str]
) -> Iterator[Any]:
    """Keys of their rows whose hash was kept here when they were forgotten."""
    for rows in chunks(there, of):
        rows = [with_our_session(row, session_of) for row in rows]
        back = rows_here(here, of, rows)  # entered again since it was forgotten
        for key in (key_of(of, row) for row in rows):
            if key not in back and forgotten_digest(of.name, " ".join(map(str, key))) in digests:
                yield key


def with_our_session(row: Row, session_of: Mapping[str, str]) -> Row:
    """A row of theirs as it stands here."""
    session = row.get("session")
    return {**row, "session": session_of.get(session, session)} if session is not None else row
