"""The researcher's page: an angle of the hand against a movement of the ball, a mark for each athlete."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from release.orientation.result import ANGLES
from release.spreadsheet import inert
from release.views.words import words

BALL = ("horizontal_break_in", "induced_vertical_break_in", "speed_mph", "spin_rpm", "spin_efficiency")


@dataclass(frozen=True, slots=True, kw_only=True)
class HandAndBall:
    """The throws shown and what may be chosen instead."""

    angle: str
    ball: str
    athlete: str
    pitch: str
    rows: tuple[tuple[str, str, str, float, float, float], ...]  # athlete, pitch, cue, angle, its sd, ball
    left_out: int  # measured throws without a flight row, or without the angle
    athletes: tuple[str, ...]
    pitches: tuple[str, ...]
    angles: tuple[tuple[str, str], ...] = tuple((a, words(f"{a}_deg").label) for a in ANGLES)
    balls: tuple[tuple[str, str], ...] = tuple((b, words(b).label) for b in BALL)


def hand_and_ball(clips: Sequence[Any], angle: str, ball: str, athlete: str, pitch: str) -> HandAndBall:
    """Throws that have both, of the athlete and pitch asked for.

    An unknown figure of the ball means the first; an unknown angle means the palm's turn where it was
    measured, else the first that was.
    """
    measured = {a for a in ANGLES for c in clips if (c.figures.get(a) or {}).get("value") is not None}
    first = next((a for a in ("palm_turn", *ANGLES) if a in measured), "palm_turn")
    angle = angle if angle in ANGLES else first
    ball = ball if ball in BALL else BALL[0]
    thrown = [c for c in clips if c.throw]
    rejected = [c for c in thrown if (c.verdict or {}).get("kind") == "clip rejected"]
    rows = []
    for clip in thrown:
        found, moved = clip.figures.get(angle) or {}, (clip.flight or {}).get(ball)
        who, what = clip.throw.get("athlete") or "", clip.throw.get("pitch") or ""
        if clip in rejected or found.get("value") is None or moved is None:
            continue
        if (athlete and who != athlete) or (pitch and what != pitch):
            continue
        rows.append((who, what, clip.throw.get("cue") or "", found["value"], found["sd"] or np.nan, moved))
    return HandAndBall(
        angle=angle,
        ball=ball,
        athlete=athlete,
        pitch=pitch,
        rows=tuple(rows),
        left_out=len(clips) - len(rows),
        athletes=tuple(dict.fromkeys(c.throw.get("athlete") or "" for c in thrown)),
        pitches=tuple(dict.fromkeys(c.throw.get("pitch") or "" for c in thrown)),
    )


def table(shown: HandAndBall) -> str:
    """The same as CSV. Text that a spreadsheet would run as a formula is made inert; numbers stay numbers."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(["athlete", "pitch", "cue", f"{shown.angle}_deg", f"{shown.angle}_deg_sd", shown.ball])
    for *texts, angle, sd, moved in shown.rows:
        writer.writerow([*map(inert, texts), angle, "" if np.isnan(sd) else sd, moved])
    return out.getvalue()
