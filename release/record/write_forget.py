"""Removes an athlete from a logbook without leaving a trace in its folder."""

import platform
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Select, Table, delete, select, tuple_, update
from sqlalchemy.exc import DBAPIError

from release.errors import LogbookBusy, NoSuchAthlete
from release.record import schema as t
from release.record.read_traces import Traces, mentions, traces, whole_words
from release.record.write import forgotten_digest, insert_new
from release.record.write_open import BUSY_S, Logbook, reading, said_plainly, writing

SOME = 500  # keys in one statement


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgetting:
    """What is known of an athlete, or was before it was removed."""

    athlete: str
    sessions: int  # that were theirs alone
    clips: int
    throws: int
    flights: int
    decisions: int
    notes: int
    unsure: tuple[str, ...]  # names of clips in shared sessions that may show them; not removed
    copies: tuple[str, ...]  # backups that were made elsewhere and are not reached
    mentioned: tuple[str, ...] = ()  # rows of others that name the code or the name; not removed


def what_is_known(logbook: Logbook, athlete: str) -> Forgetting:
    """What `forget` would remove; nothing is changed.

    Raises:
        NoSuchAthlete: Nobody has this code.
    """
    with reading(logbook) as connection:
        if not _is_known(connection, athlete):
            raise NoSuchAthlete(athlete)
        return _told(logbook, connection, athlete, traces(connection, athlete))


def forget(logbook: Logbook, athlete: str) -> Forgetting:
    """Remove an athlete: roster and name, throws, clips, frames, flights, decisions, notes.

    The files go first and the rows in one transaction, so that a run that is cut off is finished by the next.
    Copies in the logbook's own backups/ go too. Hashes stay, so that a merge brings nothing back.

    Raises:
        NoSuchAthlete: Nobody has this code, nor had it before it was forgotten.
        LogbookBusy: The rows are gone, but another program holds the old pages: run again when it is closed.
    """
    with writing(logbook, alone=True) as connection:
        digest = select(t.forgotten).where(t.forgotten.c.digest == forgotten_digest("athletes", athlete))
        if not _is_known(connection, athlete) and connection.execute(digest).first() is None:
            raise NoSuchAthlete(athlete)
        name = connection.scalar(select(t.athlete_names.c.name).where(t.athlete_names.c.athlete == athlete))
        found = traces(connection, athlete)
        told = _told(logbook, connection, athlete, found)
        _delete_files(logbook, connection, found)
        _delete_rows(connection, athlete, found)
        words = [athlete, *([name] if name else [])]
        _blank_file_names(connection, words)
        mentioned = tuple(mentions(connection, words))
    _clean(logbook)
    return replace(told, mentioned=mentioned)


def _is_known(connection: Connection, athlete: str) -> bool:
    tables = (t.athletes, t.throws, t.clips, t.flights)
    return any(connection.execute(select(of).where(of.c.athlete == athlete)).first() for of in tables)


def _told(logbook: Logbook, connection: Connection, athlete: str, found: Traces) -> Forgetting:
    names = _where(connection, select(t.clips.c.name), t.clips.c.sha256, found.unsure)
    here, inside = platform.node(), str((logbook.folder / "backups").resolve())
    made = connection.execute(select(t.backups).order_by(t.backups.c.at)).all()
    copies = [
        f"{row.path} (of {row.at[:10]}" + (")" if row.machine == here else f", on {row.machine})")
        for row in made
        if not (row.machine == here and row.path.startswith(inside))
    ]
    return Forgetting(
        athlete=athlete,
        sessions=len(found.sessions),
        clips=len(found.clips),
        throws=len(found.throws),
        flights=len(found.flights),
        decisions=len(found.facts),
        notes=len(found.notes),
        unsure=tuple(sorted(name for (name,) in names)),
        copies=tuple(copies),
    )


def _delete_files(logbook: Logbook, connection: Connection, found: Traces) -> None:
    clips = _where(connection, select(t.clips.c.sha256, t.clips.c.ext), t.clips.c.sha256, found.clips)
    keys = _where(connection, select(t.measurements.c.measurement), t.measurements.c.clip, found.clips)
    files = [logbook.clips / f"{sha256}{ext}" for sha256, ext in clips]
    files += [logbook.frames / f"{key}.jpg" for (key,) in keys]
    copies = logbook.folder / "backups"
    try:
        files += [path for path in copies.rglob("*") if path.is_file()] if copies.is_dir() else []
        for path in files:
            path.unlink(missing_ok=True)
    except OSError as error:
        raise said_plainly(error, logbook.folder) from error


def _delete_rows(connection: Connection, athlete: str, found: Traces) -> None:
    kept = {("athletes", athlete), *(("clips", sha256) for sha256 in found.clips)}
    kept |= {("flights", f"{session} {flight}") for session, flight in found.flights}
    digests = [{"digest": forgotten_digest(kind, key)} for kind, key in sorted(kept)]
    insert_new(connection, t.forgotten, digests)
    for of, keys in (
        (t.facts, found.facts),
        (t.notes, found.notes),
        (t.clips, found.clips),
        (t.flights, found.flights),
        (t.throws, found.throws),
        (t.sessions, found.sessions),
        (t.athletes, {athlete}),
    ):
        for some in _some(keys):
            connection.execute(delete(of).where(_among(of, some)))


def _where(
    connection: Connection, query: Select[*tuple[Any, ...]], column: Column[Any], keys: Iterable[str]
) -> list[Any]:
    return [row for some in _some(keys) for row in connection.execute(query.where(column.in_(some)))]


def _some(keys: Iterable[Any]) -> Iterator[list[Any]]:
    listed = sorted(keys)
    return (listed[i : i + SOME] for i in range(0, len(listed), SOME))


def _among(of: Table, keys: list[Any]) -> ColumnElement[bool]:
    key = list(of.primary_key)
    return key[0].in_(keys) if len(key) == 1 else tuple_(*key).in_(keys)


def _blank_file_names(connection: Connection, words: list[str]) -> None:
    whole = whole_words(words)
    for row in connection.execute(select(t.imports)).all():
        if whole.search(row.name.replace("_", " ")):
            connection.execute(update(t.imports).where(t.imports.c.sha256 == row.sha256).values(name=""))


def _clean(logbook: Logbook) -> None:
    """Write the database anew, so that no page of the file or of its log holds what was deleted."""
    logbook.engine.dispose()
    try:
        if logbook.database_file is None:
            with logbook.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                for of in t.metadata.sorted_tables:
                    connection.exec_driver_sql(f"VACUUM (FULL) {of.name}")
            return
        connection = sqlite3.connect(logbook.database_file, timeout=BUSY_S, isolation_level=None)
        try:
            connection.execute("VACUUM")
            (busy, *_), *_ = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            connection.close()
    except (sqlite3.Error, DBAPIError) as error:
        raise said_plainly(error, logbook.folder) from error
    if busy:
        raise LogbookBusy(
            logbook.folder, "the rows are gone, but a program still reads the pages they were on"
        )
