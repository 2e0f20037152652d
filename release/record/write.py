"""Writes to a logbook. Each function is one transaction, and running it again changes nothing."""

import math
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime, timedelta
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Table, delete, func, select, update
from sqlalchemy.dialects import postgresql, sqlite

from release.errors import NoSuchSession
from release.record import schema as t
from release.record.result import Measurement, MeasurementKey
from release.record.write_open import Logbook, now_utc, said_plainly, write_whole, writing


def session_for(logbook: Logbook, name: str | None = None, imported_sha256: str | None = None) -> str:
    """The id of the session of this name, made if there is none.

    Args:
        logbook: Where.
        name: None: the session this very file was read into before, or else the one of today.
        imported_sha256: Hash of the file that is about to be read.

    Raises:
        NoSuchSession: Several sessions, merged from other logbooks, share the name.
    """
    today = date.today().isoformat()
    with writing(logbook, alone=True) as connection:
        if name is None and imported_sha256 is not None:
            known = select(t.imports.c.session).where(t.imports.c.sha256 == imported_sha256)
            if (before := connection.execute(known).scalar()) is not None:
                return before
        name = name or today
        called = (t.sessions.c.name == name) | (t.sessions.c.session == name)
        found = connection.execute(select(t.sessions.c.session).where(called)).scalars().all()
        if len(found) > 1:
            raise NoSuchSession(name, [f"{len(found)} of that name; give one's id: {', '.join(found)}"])
        if found:
            return found[0]
        session = uuid.uuid4().hex
        connection.execute(t.sessions.insert().values(session=session, name=name, day=today))
        return session


def set_session(
    logbook: Logbook, session: str, *, settings: Mapping[str, object] | None = None, plan: str | None = None
) -> None:
    """Keep what was declared for the whole session; what is None stays as it is."""
    values = {key: value for key, value in {"settings": settings, "plan": plan}.items() if value is not None}
    if values:
        with writing(logbook) as connection:
            connection.execute(update(t.sessions).where(t.sessions.c.session == session).values(**values))


def set_athlete(logbook: Logbook, athlete: str, *, name: str | None = None, **fields: str | None) -> None:
    """Enter an athlete in the roster or change the entry.

    Args:
        logbook: Where.
        athlete: The code.
        name: Who it is; kept in a table of its own that is never exported.
        **fields: throws, age_band, consent, consent_day, keep_until; what is left out stays as it is.
    """
    with writing(logbook) as connection:
        upsert(connection, t.athletes, [{"athlete": athlete, **fields}])
        if name is not None:
            upsert(connection, t.athlete_names, [{"athlete": athlete, "name": name}])
        digest = forgotten_digest("athletes", athlete)
        connection.execute(delete(t.forgotten).where(t.forgotten.c.digest == digest))


def set_athletes(logbook: Logbook, rows: pd.DataFrame) -> None:
    """Enter a roster, a row an athlete, columns as `read_roster.COLUMNS`; a missing cell changes nothing."""
    for row in rows.to_dict("records"):
        set_athlete(logbook, **{str(key): str(cell) for key, cell in row.items() if not _missing(cell)})


def add_sheet(
    logbook: Logbook, session: str, rows: pd.DataFrame, *, sha256: str, name: str
) -> tuple[int, int]:
    """Enter the rows of a throw sheet; a newer sheet of the session adds rows and changes those that differ.

    Args:
        logbook: Where.
        session: Its id.
        rows: Columns of formats.md, empty cells missing; other columns are kept under `extra`.
        sha256: Of the file.
        name: Of the file.

    Returns:
        How many rows are new, and how many were changed.
    """
    records = _records(rows, t.throws, session)
    codes = {str(r["athlete"]): r.get("throws") for r in records if r.get("athlete")}
    with writing(logbook, alone=True) as connection:
        insert_new(connection, t.athletes, [{"athlete": code, "throws": arm} for code, arm in codes.items()])
        return _enter(connection, t.throws, records, session, "sheet", sha256, name)


def add_flights(
    logbook: Logbook, session: str, rows: pd.DataFrame, *, sha256: str, name: str
) -> tuple[int, int]:
    """Enter the rows of a flight file, ours in columns, units and signs; as `add_sheet` does."""
    records = _records(rows, t.flights, session)
    with writing(logbook, alone=True) as connection:
        return _enter(connection, t.flights, records, session, "flight", sha256, name)


def save_measurement(logbook: Logbook, measured: Measurement, created: str | None = None) -> None:
    """Keep what was measured from a clip, and put it in force; nothing of a clip forgotten meanwhile.

    Args:
        logbook: Where.
        measured: The answer.
        created: When the phone's clock says the clip was taken, where the container tells.
    """
    key, picture = measured.key.text, logbook.frames / f"{measured.key.text}.jpg"
    if measured.picture_jpeg is not None:
        try:
            write_whole(picture, measured.picture_jpeg)
        except OSError as error:
            raise said_plainly(error, logbook.folder) from error
    figures = measured.orientation.figures.items() if measured.orientation else ()
    state = "measured" if measured.refused is None else "refused"
    values = {"state": state, "why": measured.refused, "measurement": key}
    if created is not None:
        values["created"] = created
    with writing(logbook) as connection:
        clip = t.clips.c.sha256 == measured.key.clip_sha256
        is_there = connection.execute(update(t.clips).where(clip).values(**values)).rowcount
        if is_there:
            insert_new(connection, t.measurements, [_measurement_row(measured)])
            if measured.release is not None:
                insert_new(connection, t.releases, [{"measurement": key, **asdict(measured.release)}])
            rows = [{"measurement": key, "figure": name, **asdict(value)} for name, value in figures]
            insert_new(connection, t.orientations, rows)
    if not is_there:
        picture.unlink(missing_ok=True)


def _measurement_row(measured: Measurement) -> dict[str, object]:
    orientation = measured.orientation
    return {
        "measurement": measured.key.text,
        "clip": measured.key.clip_sha256,
        "models_sha256": measured.key.models_sha256,
        "settings_sha256": measured.key.settings_sha256,
        "edits_sha256": measured.key.edits_sha256,
        "measured_at": now_utc(),
        "throws": measured.throws,
        "refused": measured.refused,
        "time_base": {
            k: v for k, v in asdict(measured.time_base).items() if v is not None or k == "slowdown"
        },
        "limits": list(orientation.limits) if orientation else [],
        "flagged": list(orientation.flagged) if orientation else [],
        "settings": dict(measured.settings),
        "models": dict(measured.models),
        "points_px": {point: list(place) for point, place in measured.points_px.items()},
        "picture_frame_index": measured.picture_frame_index,
        "partner": measured.partner,
        "apart": measured.apart,
    }


def bring_back(logbook: Logbook, key: MeasurementKey) -> bool:
    """Put an answer in force again that was kept before; whether there is one."""
    kept = t.measurements.c.measurement == key.text
    with writing(logbook) as connection:
        row = connection.execute(select(t.measurements.c.refused).where(kept)).first()
        if row is not None:
            state = "measured" if row.refused is None else "refused"
            values = {"state": state, "why": row.refused, "measurement": key.text}
            clip = t.clips.c.sha256 == key.clip_sha256
            connection.execute(update(t.clips).where(clip).values(**values))
    return row is not None


def set_aside(logbook: Logbook, clip_sha256: str, why: str) -> None:
    """Note that a clip could not be measured, and why; measuring again is free to try again."""
    with writing(logbook) as connection:
        values = {"state": "set aside", "why": why, "measurement": None}
        connection.execute(update(t.clips).where(t.clips.c.sha256 == clip_sha256).values(**values))


def save_links(logbook: Logbook, session: str, rows: Iterable[Mapping[str, object]]) -> None:
    """Replace the links of a session.

    Args:
        logbook: Where.
        session: Its id.
        rows: clip (hash), throw, flight, probability, state, why; any of the first three may be None.
    """
    entries = [{"session": session, "row": i, **row} for i, row in enumerate(rows)]
    with writing(logbook, alone=True) as connection:
        connection.execute(delete(t.links).where(t.links.c.session == session))
        if entries:
            connection.execute(t.links.insert(), entries)


def add_fact(
    logbook: Logbook,
    kind: str,
    *,
    who: str,
    fact: str | None = None,
    session: str | None = None,
    clip: str | None = None,
    throw: int | None = None,
    flight: str | None = None,
    athlete: str | None = None,
    value: Mapping[str, object] | None = None,
    undoes: str | None = None,
) -> str:
    """Write down what a person decided. Nothing written before is changed.

    Args:
        logbook: Where.
        kind: One of `schema.FACT_KINDS`, or "undone" with `undoes`.
        who: Who decided.
        fact: An id chosen by the caller, so that sending twice writes once; None makes one.
        session: What it is about, as the kind says; likewise `clip`, `throw`, `flight`, `athlete`.
        value: What was decided, JSON.
        undoes: The fact that this one takes back.

    Returns:
        The fact's id.
    """
    if kind not in t.FACT_KINDS and not (kind == "undone" and undoes):
        raise ValueError(f"no such kind of fact: {kind!r}")
    fact = fact or uuid.uuid4().hex
    with writing(logbook, alone=True) as connection:
        latest = connection.execute(select(func.max(t.facts.c.at))).scalar()
        row = {
            "fact": fact,
            "at": after(latest),
            "who": who,
            "kind": kind,
            "session": session,
            "clip": clip,
            "throw": throw,
            "flight": flight,
            "athlete": athlete,
            "value": dict(value) if value is not None else None,
            "undoes": undoes,
        }
        insert_new(connection, t.facts, [row])
    return fact


def add_note(
    logbook: Logbook,
    text: str,
    *,
    who: str,
    kind: str,
    athlete: str | None = None,
    session: str | None = None,
    throw: int | None = None,
    note: str | None = None,
) -> str:
    """Keep what was said: "athlete's words", "decision" or "next time". Returns the note's id."""
    row = {
        "note": note or uuid.uuid4().hex,
        "at": now_utc(),
        "who": who,
        "kind": kind,
        "athlete": athlete,
        "session": session,
        "throw": throw,
        "text": text,
    }
    with writing(logbook) as connection:
        insert_new(connection, t.notes, [row])
    return str(row["note"])


def forgotten_digest(table: str, key: str) -> str:
    """What is kept of something forgotten: enough to know it again, not to read it."""
    return uuid.uuid5(uuid.NAMESPACE_OID, f"release forgotten {table} {key}").hex


def insert_new(connection: Connection, table: Table, rows: Sequence[Mapping[str, object]]) -> int:
    """Insert the rows whose key is not there yet; returns how many."""
    if not rows:
        return 0
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    statement = dialect.insert(table).on_conflict_do_nothing()
    return connection.execute(statement, [dict(row) for row in rows]).rowcount


def after(latest: str | None) -> str:
    """Now; but just after the latest fact where the machine's clock has jumped back, to keep their order."""
    now = now_utc()
    if latest is None or latest < now:
        return now
    return (datetime.fromisoformat(latest) + timedelta(microseconds=1)).isoformat(timespec="microseconds")


def _records(rows: pd.DataFrame, table: Table, session: str) -> list[dict[str, object]]:
    """The rows as the table wants them: plain values, None for missing, other columns under `extra`."""
    ours = [column for column in table.columns if column.name in rows.columns]
    other = [name for name in rows.columns if name not in table.columns]
    records = []
    for row in rows.to_dict("records"):
        record: dict[str, object] = {"session": session}
        record |= {column.name: _plain(row[column.name], column.type.python_type) for column in ours}
        if other:
            record["extra"] = {str(name): _plain(row[name], str) for name in other if not _missing(row[name])}
        records.append(record)
    return records


def _plain(value: Any, kind: type) -> object:
    if _missing(value):
        return None
    if isinstance(value, datetime):
        return value.isoformat()
    return kind(value) if kind in (str, int, float) else value


def _missing(value: object) -> bool:
    return value is None or value is pd.NaT or (isinstance(value, float) and math.isnan(value))


def _enter(
    connection: Connection,
    table: Table,
    records: list[dict[str, object]],
    session: str,
    kind: str,
    sha256: str,
    name: str,
) -> tuple[int, int]:
    key = [column.name for column in table.primary_key]
    there = {
        tuple(row[k] for k in key): row
        for row in connection.execute(select(table).where(table.c.session == session)).mappings()
    }
    new, changed = [], []
    for record in records:
        old = there.get(tuple(record[k] for k in key))
        if old is None:
            new.append({column.name: record.get(column.name) for column in table.columns})
        elif any(old[field] != value for field, value in record.items()):
            changed.append(record)
    added = insert_new(connection, table, new)
    upsert(connection, table, changed)
    source = {"sha256": sha256, "session": session, "kind": kind, "name": name, "at": now_utc()}
    insert_new(connection, t.imports, [source])
    return added, len(changed)


def upsert(connection: Connection, table: Table, rows: Sequence[Mapping[str, object]]) -> None:
    """Insert the rows; where the key is there already, set the columns that are given."""
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    keys = [column.name for column in table.primary_key]
    for row in rows:
        statement = dialect.insert(table).values(**row)
        changed = {name: value for name, value in row.items() if name not in keys}
        connection.execute(
            statement.on_conflict_do_update(index_elements=keys, set_=changed)
            if changed
            else statement.on_conflict_do_nothing()
        )
