"""Doubtful links as a person is asked about them: one row a question, with what it may belong to."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from release.session.result import Session
from release.views.web import pages

WORDS = ("link confirmed", "link rejected", "marked extra")
MOST_SHOWN = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the three things that a link joins."""

    kind: str
    key: str  # clip hash, number of the throw, name of the flight row; empty where there is none
    title: str
    lines: tuple[str, ...]
    picture: str  # the address of the release frame; empty where there is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One way in which a doubtful row may be linked."""

    sides: tuple[Side, ...]  # clip, throw, flight: those there are
    percent: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One doubtful row."""

    what: Side
    why: str
    choices: tuple[Choice, ...]  # likeliest first


def asked(rows: Any, linked: Session) -> tuple[Question, ...]:
    """The doubtful rows of a session.

    Args:
        rows: The session as `read_session` gives it.
        linked: The same as linked, with candidates; a clip goes by its name there.
    """
    clip_of = names_of(rows.clips)
    found = []
    for row in linked.rows:
        if row.state != "asked":
            continue
        own = _sides(rows, clip_of, row.clip, row.throw, row.flight)
        choices = tuple(
            Choice(
                sides=_sides(rows, clip_of, c.clip or row.clip, c.throw or row.throw, c.flight or row.flight),
                percent=f"{100 * c.probability:.0f} %",
                why=c.why,
            )
            for c in row.candidates
        )
        if own:
            found.append(Question(what=own[0], why=row.why, choices=choices))
    return tuple(found[:MOST_SHOWN])


def names_of(clips: Sequence[Any]) -> dict[str, Any]:
    """What a link calls a clip, to the clip: its file's name, with the hash's start where two share it."""
    names = [clip.name for clip in clips]
    return {c.name if names.count(c.name) == 1 else f"{c.name} ({c.sha256[:8]})": c for c in clips}


def said(rows: Any) -> list[Mapping[str, Any]]:
    """What people said of links, newest first."""
    return [f for f in rows.facts if f["kind"] in WORDS][::-1][:20]


def _sides(
    rows: Any, clip_of: Mapping[str, Any], clip: str | None, throw: str | None, flight: str | None
) -> tuple[Side, ...]:
    sides = []
    if clip is not None and clip in clip_of:
        sides.append(_clip_side(clip_of[clip]))
    sides += [_throw_side(t) for t in rows.throws if str(t["throw"]) == throw]
    sides += [_flight_side(f) for f in rows.flights if f["flight"] == flight]
    return tuple(sides)


def _clip_side(clip: Any) -> Side:
    found = [f"{f.label} {f.value} ({f.interval})" for f in pages.card(clip, {}).figures[:2] if not f.refused]
    return Side(
        kind="clip", key=clip.sha256, title=clip.name, lines=tuple(found), picture=pages.picture_of(clip)
    )


def _throw_side(throw: Mapping[str, Any]) -> Side:
    words = " ".join(throw[k] for k in ("athlete", "pitch") if throw[k])
    cue = [f"“{throw['cue']}”"] if throw["cue"] else []
    lines = (words, *cue, pages.clock(throw["time"]))
    title = f"Throw {throw['throw']}"
    return Side(kind="throw", key=str(throw["throw"]), title=title, lines=lines, picture="")


def _flight_side(flight: Mapping[str, Any]) -> Side:
    figures = [f"{f.label} {f.value}" for f in pages.ball_figures(flight)[:3]]
    lines = (*figures, pages.clock(flight["time"]))
    return Side(
        kind="flight", key=flight["flight"], title=f"Ball {flight['flight']}", lines=lines, picture=""
    )
