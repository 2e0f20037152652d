"""The ball's first frames of flight: found among moving spots, and joined to its path in the hand.

In:   frame by frame, where the ball is read, where the arm is, and small moving spots.
Out:  for each gap between frames, how much speaks for a ball that flies away from there; and, of the one that
      is meant, where the ball is seen before and after.

Lengths are in ball radii, so that a radius a second is 0.0366 m/s across the line of sight.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

RADIUS_M = 0.0366
FASTEST_M_S = 50.0  # no ball is thrown faster
SLOWEST_M_S = 4.0  # across the line of sight; slower, it cannot be told from the body
BODY_M_S = 3.0  # mean speed of what else moves in the picture (assumed): head, glove, other arm
THROWN_M_S = 35.0  # typical speed, of which the picture shows the part across the line of sight
FLIGHT_S = 0.033  # the ball is followed this long
HELD_S = 0.02  # and was seen in the hand at most this long before
LAG_S = 0.017  # the hand's velocity is taken over this time, in which it still gathers speed:
GATHERED_M_S, GATHERED_SHARE = 12.0, 0.6  # so far may the ball's be off it, and by that share of it more
LAST_HELD = 4  # frames in the hand that tell how it moves as it lets go
MATCHED = 0.5  # radii: a spot this near the path is the ball
BENDS = 0.6  # radii more at the end of the path, where coming nearer or going away has bent it
LED = 1.5  # radii between the ball and where its last two places lead: a hand bends its path by 0.6 a frame
LEAVES = 1.2  # radii between the path and the ball in the hand where they meet
CLEAR = 1.0  # radii that a spot must be clear of the arm
# Of HAND_POINTS, joined to one another: forearm, wrist to knuckles, knuckles to fingertips.
BONES = np.array([(0, 1), (1, 2), (1, 3), (1, 4), (1, 5), (2, 7), (3, 8), (4, 9), (5, 10)]).T


@dataclass(frozen=True, slots=True, kw_only=True)
class Flights:
    """Straight paths that a ball may have taken, n of them; lengths in radii."""

    held: NDArray[np.int64]  # shape (n,): the last row at which it is taken to be in the hand
    first: NDArray[np.int64]  # shape (n,): the first row at which it is seen flying
    start: Array  # shape (n, 2): where, at that row
    velocity: Array  # shape (n, 2), a second
    evidence: Array  # shape (n,): log of the odds against chance and against another moving thing

    def by_gap(self, n_frames: int) -> tuple[Array, NDArray[np.int64]]:
        """The best flight from each of the n_frames + 1 gaps round frames: evidence, and which (-1: none).

        From there: from the gap after the last row held to the second after the first row flown, since the
        hand's own frames show the ball gone late.
        """
        evidence, which = np.zeros(n_frames + 1), np.full(n_frames + 1, -1)
        for n in np.argsort(self.evidence):
            if self.evidence[n] > 0:
                gaps = slice(self.held[n] + 1, self.first[n] + 2)
                evidence[gaps], which[gaps] = self.evidence[n], n
        return evidence, which


NONE = Flights(
    held=np.empty(0, np.int64),
    first=np.empty(0, np.int64),
    start=np.empty((0, 2)),
    velocity=np.empty((0, 2)),
    evidence=np.empty(0),
)


def clear_of_arm(spots: Array, points: Array) -> Array:
    """Those spots that do not lie on the arm.

    Args:
        spots: Shape (n, 2).
        points: Shape (12, 2), HAND_POINTS; NaN where not seen: then nothing is known to be on the arm.
    """
    starts, ends = points[BONES]
    along, from_start = ends - starts, spots[:, None] - starts
    share = np.clip(np.sum(from_start * along, axis=2) / np.maximum(np.sum(along**2, axis=1), 1e-9), 0, 1)
    off = np.linalg.norm(from_start - share[..., None] * along, axis=2)
    return spots[~(off < CLEAR).any(axis=1)]


def flights(time_s: Array, ball: Array, spots: Sequence[Array], area: float) -> Flights:
    """Every straight path from the ball in the hand through two spots, weighed by the others on it.

    Against chance speaks each further spot on the path, by how rarely a spot of that frame would lie so near
    to any place, and for it that so many paths leave the hand. Against another moving thing speaks the speed.

    Args:
        time_s: Shape (k,), increasing.
        ball: Shape (k, 2), in the hand; NaN where it is not.
        spots: k arrays of shape (n, 2), clear of the arm.
        area: Of the picture looked at, in square radii.
    """
    step_s = float(np.median(np.diff(time_s)))
    reach = max(round(FLIGHT_S / step_s), 3)
    hand = np.array([_velocity(time_s, ball, row) for row in range(len(time_s))])
    found = [NONE]
    for i in range(len(time_s) - 2):
        back = np.flatnonzero((time_s < time_s[i]) & (time_s >= time_s[i] - HELD_S) & np.isfinite(ball[:, 0]))
        if not len(spots[i]) or not len(back):
            continue
        last = min(i + reach, len(time_s) - 1)
        seconds = range(i + 1, min(i + max(reach // 2, 2), len(time_s) - 1) + 1)
        start = np.concatenate([np.repeat(spots[i], len(spots[j]), axis=0) for j in seconds])
        second = np.concatenate([np.tile(spots[j], (len(spots[i]), 1)) for j in seconds])
        through = np.repeat(seconds, [len(spots[i]) * len(spots[j]) for j in seconds])
        velocity = (second - start) / (time_s[through] - time_s[i])[:, None]
        held, kept = _leaving(time_s, ball, hand, back, i, start, velocity)
        start, velocity = start[kept], velocity[kept]
        rows = range(i + 1, last + 1)
        chance = _against_chance(time_s, spots, rows, through[kept], i, start, velocity, area)
        first = np.full(len(start), i)
        found.append(Flights(held=held[kept], first=first, start=start, velocity=velocity, evidence=chance))
    parts = {n: np.concatenate([getattr(f, n) for f in found]) for n in Flights.__dataclass_fields__}
    chance = parts["evidence"] - np.log(max(len(parts["evidence"]), 1))
    body = _against_body(np.linalg.norm(parts["velocity"], axis=1))
    return Flights(**parts | {"evidence": -np.logaddexp(-chance, -body)})


def on_path(
    chosen: Flights, n: int, time_s: Array, spots: Sequence[Array]
) -> tuple[NDArray[np.int64], Array]:
    """The rows in which the ball is seen on the n-th path, and where; shapes (m,) and (m, 2)."""
    since_s = time_s - time_s[chosen.first[n]]
    rows, places = [], []
    for q in np.flatnonzero((since_s >= 0) & (since_s <= FLIGHT_S)).tolist():
        off = np.linalg.norm(spots[q] - chosen.start[n] - chosen.velocity[n] * since_s[q], axis=1)
        if len(off) and off.min() < _near(since_s[q]):
            rows.append(q)
            places.append(spots[q][off.argmin()])
    return np.array(rows, np.int64), np.array(places)


def followed(time_s: Array, ball: Array, spots: Sequence[Array], row: int) -> tuple[NDArray[np.int64], Array]:
    """The rows in which the ball is seen without a break round its release, and where; shapes (m,), (m, 2).

    In a row it is where the hand's reader sees it, which goes on for some frames after it has left, and else
    at the spot nearest to where its last two places lead. It is lost where neither lies near there.

    Args:
        time_s: Shape (k,), increasing.
        ball: Shape (k, 2), where it is surely read, whether held or not; NaN elsewhere.
        spots: k arrays of shape (n, 2), clear of the arm.
        row: The first in which it has left.
    """
    read = np.isfinite(ball[:, 0])
    rows = np.flatnonzero(read[:row] & (time_s[:row] >= time_s[row] - HELD_S)).tolist()
    places = list(ball[rows])
    for q in range(row, int(np.searchsorted(time_s, time_s[row] + FLIGHT_S, side="right"))):
        place = ball[q] if read[q] else None
        if len(rows) > 1:
            since_s, step_s = time_s[q] - time_s[rows[-1]], time_s[rows[-1]] - time_s[rows[-2]]
            led = places[-1] + (places[-1] - places[-2]) * since_s / step_s
            seen = spots[q] if place is None else place[None]
            off = np.linalg.norm(seen - led, axis=1)
            place = seen[off.argmin()] if len(off) and off.min() < LED else None
        if place is None:
            break
        rows.append(q)
        places.append(place)
    return np.array(rows, np.int64), np.array(places).reshape(-1, 2)


def goes_on(chosen: Flights, n: int, time_s: Array, ball: Array) -> bool:
    """Whether the n-th path goes on as the hand last moved the ball, whatever the clock.

    Args:
        chosen: The paths.
        n: Which.
        time_s: Shape (k,).
        ball: Shape (k, 2), in the hand; NaN where it is not.
    """
    held = np.flatnonzero(np.isfinite(ball[: chosen.first[n], 0]))[-LAST_HELD:]
    if len(held) < LAST_HELD:
        return False
    hand, velocity = np.polyfit(time_s[held], ball[held], 1)[0], chosen.velocity[n]
    return bool(np.linalg.norm(velocity - hand) < GATHERED_SHARE * np.linalg.norm(velocity))


def _near(since_s: float) -> float:
    return MATCHED + BENDS * since_s / FLIGHT_S


def _leaving(
    time_s: Array, ball: Array, hand: Array, back: NDArray[np.int64], i: int, start: Array, velocity: Array
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Of each path the row at which it leaves the ball in the hand, and whether it does so at its speed."""
    gap = start[:, None] + velocity[:, None] * (time_s[back] - time_s[i])[None, :, None] - ball[back]
    gap = np.linalg.norm(gap, axis=2)
    held = back[gap.argmin(axis=1)]
    speed = np.linalg.norm(velocity, axis=1) * RADIUS_M
    kept = (gap.min(axis=1) < LEAVES) & (speed > SLOWEST_M_S) & (speed < FASTEST_M_S)
    off = np.linalg.norm(velocity - hand[held], axis=1) * RADIUS_M
    most = GATHERED_M_S + GATHERED_SHARE * np.linalg.norm(hand[held], axis=1) * RADIUS_M
    return held, kept & ~(off > most)


def _velocity(time_s: Array, ball: Array, row: int) -> Array:
    """Of the ball in the hand up to a row; NaN where it is seen but once."""
    near = (time_s <= time_s[row]) & (time_s > time_s[row] - LAG_S) & np.isfinite(ball[:, 0])
    return np.polyfit(time_s[near], ball[near], 1)[0] if near.sum() > 1 else np.full(2, np.nan)


def _against_chance(
    time_s: Array,
    spots: Sequence[Array],
    rows: range,
    through: NDArray[np.int64],
    i: int,
    start: Array,
    velocity: Array,
    area: float,
) -> Array:
    """Evidence of each path from row i by the spots of other rows than the one that it was laid through."""
    evidence = np.zeros(len(start))
    for q in rows:
        if len(spots[q]):
            place = start + velocity * (time_s[q] - time_s[i])
            off = np.linalg.norm(place[:, None] - spots[q], axis=2).min(axis=1)
            near = _near(time_s[q] - time_s[i])
            on = (off < near) & (through != q)
            evidence += np.where(on, -np.log(min(len(spots[q]) * np.pi * near**2 / area, 1.0)), 0.0)
    return evidence


def _against_body(speed: Array) -> Array:
    """Log odds of a speed across the line of sight: a ball seen from anywhere, or something else that moves.

    From every side alike a speed v shows the part s across the line of sight with density near s / v^2.
    """
    m_s = speed * RADIUS_M
    return np.log(m_s / THROWN_M_S**2) - (-m_s / BODY_M_S - np.log(BODY_M_S))
