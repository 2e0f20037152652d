"""Which readings are of the arm that throws: both readers now and then take the other arm for it.

In:   what the arm finder and the hand model read round a throw.
Out:  which of those readings can be of one arm; whether its hand is seen to hold the ball.
Why:  a joint is in one place at a time and moves no faster than an arm can. Readings of the other arm are
      as sure as those of the right one, and as alike among each other, so that no robust weight tells them.
"""

import numpy as np
from numpy.typing import NDArray

from release.landmarks.result import ARM_POINTS, HAND_POINTS, ArmReading, HandReading, only
from release.landmarks.track import SURE_RAD

Array = NDArray[np.float64]

# No elbow and no wrist is faster: the fastest balls leave at 47 m/s, and of 148 rendered throws no elbow
# passed 20 m/s and no wrist 36.
FASTEST_M_S = np.array([20.0, 40.0])
NEAR_M = 0.12  # two readings of one joint at one time lie nearer to each other: half a forearm
# An arm that was unseen for longer may be where the other one is, half a metre away; two frames where those
# are longer.
UNSEEN_S = 0.02
LIKELY = 0.5  # an arm is followed where it is likelier than so to be the throwing one
LATELY_S = 0.03  # what is read so far from release counts for a third: it is the arm there that is meant
SURE_QUARTER = 0.25  # of a hard clip's hands count as sure ones
# Before release the hand is seen to hold the ball. Of 415 rendered throws of people kept out of training with
# a release found, all but one of those within three frames show it likelier held than not with a palm read to
# 10.8 degrees; the eleven that fail this are three frames off or more.
BEFORE_S = 0.04
HELD, SUREST_RAD = 0.5, 0.22
ARM_JOINTS = [ARM_POINTS.index(name) for name in ("elbow", "wrist")]
HAND_JOINTS = [HAND_POINTS.index(name) for name in ("elbow", "wrist")]


def of_one_arm(
    arm: ArmReading, hand: HandReading, time_s: Array, release_s: float, px_per_m: float
) -> tuple[ArmReading, HandReading]:
    """The readings with nothing but those of the throwing arm, by the likeliest path that it can have taken.

    A path leads from reading to reading, each within an arm's reach of the one before it; most is said for
    the one on which the hand holds the ball before release and the arm finder sees the throwing arm.
    Readings that are unsure of the hand, or of which arm it is, make no path, but belong to it where it
    passes by them.

    Args:
        arm: In some of the hand's frames.
        hand: In k frames.
        time_s: Shape (k,), true time; by the slowest clock where that is unknown.
        release_s: On that clock.
        px_per_m: How large a metre is at the arm.

    Returns:
        Both in as many frames, NaN where it was another arm that was read.
    """
    right = arm.right_probability if hand.side == "R" else 1 - arm.right_probability
    likely = np.concatenate([right * arm.found_probability, _throwing(hand, time_s < release_s)])
    place_m = np.concatenate([arm.points_px[:, ARM_JOINTS], hand.points_px[:, HAND_JOINTS]]) / px_per_m
    when_s = np.concatenate([time_s[np.searchsorted(hand.frame_index, arm.frame_index)], time_s])
    said = (likely - LIKELY) * np.exp(-np.abs(when_s - release_s) / LATELY_S)
    reached = _reached(place_m, when_s)
    path = _likeliest_path(reached, when_s, np.where(np.diag(reached), said, 0.0))
    kept = np.isin(np.arange(len(said)), path)
    for k in np.flatnonzero(said <= 0).tolist():
        kept[k] = _on_the_way(reached, when_s, path, k)
    return only(arm, kept[: len(right)]), only(hand, kept[len(right) :])


def seen_to_hold(hand: HandReading, time_s: Array, release_s: float) -> bool:
    """Whether the hand is once seen surely, with the ball in it, in the last frames before release.

    Args:
        hand: In k frames.
        time_s: Shape (k,), as `release_s`.
    """
    last = (time_s < release_s) & (time_s >= release_s - BEFORE_S)
    return bool(np.any(last & (hand.held_probability > HELD) & (_palm_sd_rad(hand) <= SUREST_RAD)))


def _palm_sd_rad(hand: HandReading) -> Array:
    """Stated SD of the palm's turn about each axis, shape (k,); infinite where nothing was read."""
    sd_rad = np.sqrt(np.trace(hand.palm_cov_rad2, axis1=1, axis2=2) / 3)
    return np.where(np.isfinite(hand.held_probability), sd_rad, np.inf)


def _throwing(hand: HandReading, before: NDArray[np.bool_]) -> Array:
    """How likely each reading is of the throwing hand, shape (k,): that holds the ball, and then none."""
    sd_rad = _palm_sd_rad(hand)
    quarter_rad = float(np.quantile(sd_rad, SURE_QUARTER, method="lower"))  # infinite where most are unread
    sure = np.isfinite(sd_rad) & (sd_rad <= max(SURE_RAD, quarter_rad))
    return np.where(sure, np.where(before, hand.held_probability, 1 - hand.held_probability), 0.0)


def _reached(place_m: Array, when_s: Array) -> NDArray[np.bool_]:
    """Which readings can be of one arm, shape (n, n); none where elbow or wrist was not read.

    Args:
        place_m: Shape (n, 2, 2), elbow and wrist.
        when_s: Shape (n,).
    """
    lasts_s = np.abs(when_s[:, None] - when_s)
    apart_m = np.linalg.norm(place_m[:, None] - place_m, axis=3)
    unseen_s = max(UNSEEN_S, 2 * float(np.median(np.diff(np.unique(when_s)))))
    near = apart_m <= NEAR_M + FASTEST_M_S * lasts_s[..., None]
    return np.all(near, axis=2) & (lasts_s <= unseen_s)


def _likeliest_path(reached: NDArray[np.bool_], when_s: Array, said: Array) -> NDArray[np.int64]:
    """The path for which most is said, in order of time, among readings for which anything is said."""
    order = [k for k in np.argsort(when_s, kind="stable") if said[k] > 0]
    if not order:
        return np.empty(0, np.int64)
    best, before = said.copy(), np.full(len(said), -1)
    for n, k in enumerate(order):
        earlier = np.array(order[:n], np.int64)
        earlier = earlier[reached[k, earlier]]
        if len(earlier):
            before[k] = earlier[np.argmax(best[earlier])]
            best[k] += best[before[k]]
    path = [max(order, key=lambda k: best[k])]
    while before[path[-1]] >= 0:
        path.append(before[path[-1]])
    return np.array(path[::-1], np.int64)


def _on_the_way(reached: NDArray[np.bool_], when_s: Array, path: NDArray[np.int64], at: int) -> bool:
    """Whether a reading is within reach of those of the path before and after it."""
    later = int(np.searchsorted(when_s[path], when_s[at]))
    return 0 < later < len(path) and bool(reached[at, path[later - 1 : later + 1]].all())
