"""The tidy table: one row a throw, with the hand at release, the ball's flight and how sure the link is."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import ColumnElement, select

from release.orientation.read_calibration import read_own_fractions
from release.orientation.result import ANGLES, FIELD_LENGTHS
from release.record import schema as t
from release.record.read import facts, table
from release.record.write_open import Logbook

HAND = {**{name: f"{name}_deg" for name in ANGLES}, **{name: f"{name}_m" for name in FIELD_LENGTHS}}
THROW = [column.name for column in t.throws.columns if column.name != "extra"]
FLIGHT = [*t.FLIGHT_FIGURES, "break_window"]


def session_table(
    logbook: Logbook, session: str | None = None, *, athlete: str | None = None
) -> pd.DataFrame:
    """One row a throw, in the order thrown.

    A figure stands only where its link is made: what is still asked is left empty, never guessed. Clips
    that a person rejected give no figures; what a person tagged holds over the sheet. A session without
    a sheet has one row a clip instead.

    Args:
        logbook: Where.
        session: Its id; None for all sessions.
        athlete: Only this one.

    Returns:
        session, session_name, day, the columns of a throw sheet, clip (hash), clip_name, camera, second_clip
        (name of the one fitted together with it), flight, link_state (linked, asked, alone), release_frame,
        release_frame_sd, release_time_s, refused, every
        figure of orientation/result.py as NAME_deg or NAME_m with its standard uncertainty NAME_deg_sd or
        NAME_m_sd, and the flight file's figures with break_window. NaN where unknown.
    """
    sessions = None if session is None else [session]
    sheet = _throws(logbook, sessions, athlete)
    if sessions is None and athlete is not None:
        sessions = sorted(set(sheet["session"]))  # of a large logbook, only what the athlete took part in
    links = table(logbook, _of(select(t.links), t.links.c.session, sessions))
    one = sessions[0] if sessions is not None and len(sessions) == 1 else None
    decided = facts(logbook, session=one)
    hand = _hand(logbook, sessions, {f["clip"] for f in decided if f["kind"] == "clip rejected"})
    flights = table(logbook, _of(select(t.flights), t.flights.c.session, sessions))
    loose = hand[~hand["session"].isin(sheet["session"])] if athlete is None else hand.iloc[:0]
    if len(loose):
        rows, links = _rows_from_clips(loose, links)
        sheet = pd.concat([sheet, rows], ignore_index=True) if len(sheet) else rows
    made = _chosen(links, hand)
    found = (
        sheet.merge(made, how="left", on=["session", "throw"])
        .merge(hand.drop(columns="session"), how="left", on="clip")
        .merge(flights[["session", "flight", *FLIGHT]], how="left", on=["session", "flight"])
    )
    found["link_state"] = found["link_state"].fillna("alone")
    tagged = _tagged(found, decided)
    names = table(logbook, select(t.sessions.c.session, t.sessions.c.name, t.sessions.c.day))
    names = names.rename(columns={"name": "session_name"})
    return names.merge(tagged, how="inner", on="session").sort_values(
        ["day", "session", "throw"], ignore_index=True
    )


def _of(query: Any, column: ColumnElement[Any], sessions: Sequence[str] | None) -> Any:
    return query if sessions is None else query.where(column.in_(sessions))


def _throws(logbook: Logbook, sessions: Sequence[str] | None, athlete: str | None) -> pd.DataFrame:
    query = _of(select(*(t.throws.c[name] for name in THROW)), t.throws.c.session, sessions)
    return table(logbook, query if athlete is None else query.where(t.throws.c.athlete == athlete))


def _hand(logbook: Logbook, sessions: Sequence[str] | None, rejected: set[str]) -> pd.DataFrame:
    """One row a clip: what was measured, empty where it was refused, set aside or rejected."""
    clips = select(
        t.clips.c.session,
        t.clips.c.sha256.label("clip"),
        t.clips.c.name.label("clip_name"),
        t.clips.c.camera,
        t.clips.c.created,
        t.clips.c.athlete.label("clip_athlete"),
        t.clips.c.why.label("refused"),
        t.clips.c.measurement,
        t.releases.c.frame_index.label("release_frame"),
        t.releases.c.sd_frames.label("release_frame_sd"),
        t.releases.c.time_s.label("release_time_s"),
        t.measurements.c.partner.label("second_clip"),
    ).outerjoin(t.releases, t.releases.c.measurement == t.clips.c.measurement)
    together = (t.measurements.c.measurement == t.clips.c.measurement) & t.measurements.c.apart.is_(None)
    clips = clips.outerjoin(t.measurements, together)
    figures = select(
        t.clips.c.sha256.label("clip"), t.orientations.c.figure, t.orientations.c.value, t.orientations.c.sd
    ).join(t.orientations, t.orientations.c.measurement == t.clips.c.measurement)
    rows = table(logbook, _of(clips, t.clips.c.session, sessions))
    long = table(logbook, _of(figures, t.clips.c.session, sessions))
    own = read_own_fractions()
    wide = long.pivot(index="clip", columns="figure", values=["value", "sd"]).astype(float)
    for name, column in HAND.items():
        for kind, label in (("value", column), ("sd", f"{column}_sd")):
            known = wide[(kind, name)] if (kind, name) in wide else pd.Series(dtype=float)
            rows[label] = rows["clip"].map(known).astype(float)
        if name in own:
            rows[f"{column}_own_sd"] = own[name] * rows[f"{column}_sd"]
    out = rows["clip"].isin(rejected)
    rows.loc[out, [c for c in rows if str(c).startswith(tuple(HAND.values()))]] = np.nan
    rows.loc[out, "refused"] = "rejected on review"
    names = rows.set_index("clip")["clip_name"]
    rows["second_clip"] = rows["second_clip"].map(names).where(~out)
    return rows


def _rows_from_clips(hand: pd.DataFrame, links: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rows for sessions without a sheet, numbered in the order filmed, and the links that go with them."""
    ordered = hand.sort_values(["session", "created", "clip_name"], na_position="last", kind="stable")
    number = ordered.groupby("session").cumcount() + 1
    rows = pd.DataFrame(
        {
            "session": ordered["session"],
            "throw": number,
            "time": ordered["created"],
            "athlete": ordered["clip_athlete"],
        }
    )
    flights = links[links["state"] == "linked"].dropna(subset=["clip", "flight"]).set_index("clip")["flight"]
    flight = ordered["clip"].map(flights[~flights.index.duplicated()])
    own = pd.DataFrame(
        {
            "session": ordered["session"],
            "throw": number,
            "clip": ordered["clip"],
            "flight": flight,
            "state": np.where(flight.notna(), "linked", "alone"),
        }
    )
    rest = links[~links["session"].isin(ordered["session"])]
    rows = rows.reindex(columns=THROW)
    return rows, pd.concat([rest, own], ignore_index=True) if len(rest) else own


def _chosen(links: pd.DataFrame, hand: pd.DataFrame) -> pd.DataFrame:
    """One row a throw: its state, its clip, its flight.

    Of several cameras' clips it is the one fitted together with another, or else the one that measured most.
    """
    of_throw = links.dropna(subset="throw")
    rank = {"linked": 0, "asked": 1, "alone": 2}
    state = of_throw.assign(rank=of_throw["state"].map(rank)).groupby(["session", "throw"])["rank"].min()
    figures = list(HAND.values())
    measured = hand.set_index("clip")[figures].notna().sum(axis=1)
    together = hand.loc[hand["second_clip"].notna(), "clip"]
    usable = of_throw[of_throw["state"] != "asked"]
    by_clip = usable.dropna(subset="clip").assign(
        n=lambda f: f["clip"].map(measured).fillna(0), both=lambda f: f["clip"].isin(together)
    )
    by_clip = by_clip.sort_values(["both", "n"], ascending=False, kind="stable")
    clip = by_clip.groupby(["session", "throw"])["clip"].first()
    flight = usable.dropna(subset="flight").groupby(["session", "throw"])["flight"].first()
    joined = pd.DataFrame({"rank": state}).join(clip).join(flight).reset_index()
    joined["link_state"] = joined.pop("rank").map({number: name for name, number in rank.items()})
    return joined


def _tagged(rows: pd.DataFrame, decided: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    tags: dict[str, dict[tuple[str, int], object]] = {}
    for fact in decided:
        if fact["kind"] == "throw tagged":
            for field, value in (fact["value"] or {}).items():
                tags.setdefault(field, {})[(fact["session"], fact["throw"])] = value
    keys = list(zip(rows["session"], rows["throw"], strict=True))
    for field, values in tags.items():
        if field in THROW:
            held = [values.get(key, old) for key, old in zip(keys, rows[field], strict=True)]
            rows[field] = pd.Series(held, index=rows.index, dtype=object)
    return rows
