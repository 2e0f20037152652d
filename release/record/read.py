"""Reads a logbook: lists, one clip's answer, the human decisions in force, and the table of throws."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, cast

import pandas as pd
from sqlalchemy import ColumnElement, Executable, Select, func, select, union

from release.errors import NoSuchSession
from release.record import schema as t
from release.record.write_open import Logbook, reading


def table(logbook: Logbook, query: Executable) -> pd.DataFrame:
    """The rows of a query."""
    with reading(logbook) as connection:
        result = connection.execute(query)
        frame = pd.DataFrame.from_records(list(map(tuple, result)), columns=list(result.keys()))
    return frame


def sessions(logbook: Logbook) -> pd.DataFrame:
    """One row a session, newest first: session (id), name, day, settings, plan."""
    return table(logbook, select(t.sessions).order_by(t.sessions.c.day.desc(), t.sessions.c.name))


def session_names(logbook: Logbook) -> dict[str, str]:
    """Id of every session to its name."""
    return dict(table(logbook, select(t.sessions.c.session, t.sessions.c.name)).itertuples(index=False))


def session_counts(logbook: Logbook) -> pd.DataFrame:
    """One row a session, newest first: `sessions`, and how many throws, and clips of each state, it has.

    Columns besides: throws, waiting, measured, refused, set aside.
    """
    listed = sessions(logbook).set_index("session", drop=False)
    of_throws = select(t.throws.c.session, func.count().label("n")).group_by(t.throws.c.session)
    throws_there = table(logbook, of_throws).set_index("session")["n"]
    of_clips = select(t.clips.c.session, t.clips.c.state, func.count().label("n"))
    counted = table(logbook, of_clips.group_by(t.clips.c.session, t.clips.c.state))
    listed["throws"] = throws_there.reindex(listed.index, fill_value=0)
    for state in ("waiting", "measured", "refused", "set aside"):
        of_state = counted[counted["state"] == state].set_index("session")["n"]
        listed[state] = of_state.reindex(listed.index, fill_value=0)
    return listed.reset_index(drop=True)


def session_id(logbook: Logbook, name: str | None = None) -> str:
    """The id of the session of this name or id; without one, of the only or newest session.

    Raises:
        NoSuchSession: None is called so, or several are.
    """
    known = sessions(logbook)
    if name is None and len(known):
        return str(known["session"].iloc[0])
    found = known[(known["name"] == name) | (known["session"] == name)]
    if len(found) != 1:
        raise NoSuchSession(name or "", list(known["name"]))
    return str(found["session"].iloc[0])


def clips(logbook: Logbook, session: str | None = None, state: str | None = None) -> pd.DataFrame:
    """One row a clip, in the order filmed where the phone tells, else by name; columns as `schema.clips`."""
    query = select(t.clips).order_by(t.clips.c.created.is_(None), t.clips.c.created, t.clips.c.name)
    if session is not None:
        query = query.where(t.clips.c.session == session)
    if state is not None:
        query = query.where(t.clips.c.state == state)
    return table(logbook, query)


def throws(
    logbook: Logbook,
    *,
    session: str | None = None,
    athlete: str | None = None,
    pitch: str | None = None,
    cue: str | None = None,
    limit: int = 1000,
) -> pd.DataFrame:
    """Rows of the throw sheets, filtered; columns as `schema.throws`."""
    wanted = {"session": session, "athlete": athlete, "pitch": pitch, "cue": cue}
    query = select(t.throws).order_by(t.throws.c.session, t.throws.c.throw).limit(limit)
    for name, value in wanted.items():
        if value is not None:
            query = query.where(t.throws.c[name] == value)
    return table(logbook, query)


def flights(logbook: Logbook, session: str) -> pd.DataFrame:
    """One row a measured ball; columns as `schema.flights`."""
    query = select(t.flights).where(t.flights.c.session == session)
    return table(logbook, query.order_by(t.flights.c.time, t.flights.c.flight))


def links(logbook: Logbook, session: str) -> pd.DataFrame:
    """The links of a session as last aligned; columns as `schema.links`."""
    return table(logbook, select(t.links).where(t.links.c.session == session).order_by(t.links.c.row))


def facts(
    logbook: Logbook, *, session: str | None = None, clip: str | None = None, athlete: str | None = None
) -> list[Mapping[str, Any]]:
    """The human decisions in force, oldest first: those taken back are left out.

    Args:
        logbook: Where.
        session: Only those on this session or on one of its clips.
        clip: Only those on this clip.
        athlete: Only those on this athlete.
    """
    query = select(t.facts).order_by(t.facts.c.at, t.facts.c.fact)
    undoing = t.facts.c.undoes.is_not(None)  # names only the fact it takes back, not what that is about
    if session is not None:
        of_session = select(t.clips.c.sha256).where(t.clips.c.session == session)
        query = _any_of(query, t.facts.c.session == session, t.facts.c.clip.in_(of_session), undoing)
    if clip is not None:
        query = _any_of(query, t.facts.c.clip == clip, undoing)
    if athlete is not None:
        query = _any_of(query, t.facts.c.athlete == athlete, undoing)
    with reading(logbook) as connection:
        rows = connection.execute(query).mappings().all()
    return in_force(cast(Sequence[Mapping[str, Any]], rows))


def _any_of(query: Select[Any], *conditions: ColumnElement[bool]) -> Select[Any]:
    """Facts that meet one of the conditions, each looked up in its own index; OR would read them all."""
    keys = union(*(select(t.facts.c.fact).where(each) for each in conditions)).subquery()
    return query.join(keys, keys.c.fact == t.facts.c.fact)


def in_force(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Of facts in order, those that no later fact takes back; an undoing may itself be undone."""
    undone: set[str] = set()
    for row in reversed(rows):
        if row["undoes"] and row["fact"] not in undone:
            undone.add(row["undoes"])
    return [row for row in rows if row["fact"] not in undone and not row["undoes"]]


def measurement(logbook: Logbook, clip_sha256: str) -> Mapping[str, Any] | None:
    """What is in force for one clip: the row of `schema.measurements`, with `release` and `figures`.

    `release` is the row of `schema.releases` or None, `figures` maps each figure to its row of
    `schema.orientations`. None where the clip is not measured.
    """
    return _measured(logbook, t.clips.c.sha256 == clip_sha256).get(clip_sha256)


def measurements(logbook: Logbook, session: str) -> dict[str, Mapping[str, Any]]:
    """Clip to what is in force for it, as `measurement` gives it, for the measured clips of a session."""
    return _measured(logbook, t.clips.c.session == session)


def _measured(logbook: Logbook, which: ColumnElement[bool]) -> dict[str, Mapping[str, Any]]:
    keys = select(t.clips.c.measurement).where(which)
    with reading(logbook) as connection:
        rows, releases, figures = (
            connection.execute(select(of).where(of.c.measurement.in_(keys)).order_by(*of.primary_key))
            .mappings()
            .all()
            for of in (t.measurements, t.releases, t.orientations)
        )
    release_of = {release["measurement"]: release for release in releases}
    figures_of: dict[str, dict[str, Any]] = {}
    for figure in figures:
        figures_of.setdefault(figure["measurement"], {})[figure["figure"]] = figure
    return {
        row["clip"]: {
            **row,
            "release": release_of.get(row["measurement"]),
            "figures": figures_of.get(row["measurement"], {}),
        }
        for row in rows
    }


def known_measurements(logbook: Logbook, clips_sha256: Sequence[str]) -> dict[str, str]:
    """Clip to the key of the measurement in force, for the clips that have one."""
    query = select(t.clips.c.sha256, t.clips.c.measurement).where(t.clips.c.measurement.is_not(None))
    rows = table(logbook, query)
    wanted = rows[rows["sha256"].isin(set(clips_sha256))]
    return dict(zip(wanted["sha256"], wanted["measurement"], strict=True))


def roster(logbook: Logbook, *, names: bool = False, today: date | None = None) -> pd.DataFrame:
    """One row an athlete: the roster, the number of throws, and whether the clips are due for deletion.

    Args:
        logbook: Where.
        names: Also who they are; for this machine's eyes only.
        today: The day that `due` counts from; None for today.
    """
    count = select(t.throws.c.athlete, func.count().label("n_throws")).group_by(t.throws.c.athlete).subquery()
    query = select(t.athletes, func.coalesce(count.c.n_throws, 0).label("n_throws"))
    query = query.outerjoin(count, count.c.athlete == t.athletes.c.athlete).order_by(t.athletes.c.athlete)
    if names:
        query = query.add_columns(t.athlete_names.c.name)
        query = query.outerjoin(t.athlete_names, t.athlete_names.c.athlete == t.athletes.c.athlete)
    found = table(logbook, query)
    day = (today or date.today()).isoformat()
    found["due"] = [isinstance(until, str) and until <= day for until in found["keep_until"]]
    return found
