"""When the ball's path in the hand becomes its flight: the release, from where the ball is seen.

In:   the ball's places in the hand and in flight; when the hand's frames show it gone.
Out:  the time of release with its standard uncertainty.

In flight the ball goes straight on (gravity bends its path by 3 mm in 25 ms); in the hand it is pushed. At
release place and speed are the same, so that the paths touch, and how they part tells when.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import OptimizeResult, least_squares

Array = NDArray[np.float64]

UNIT_S = 0.01  # times are counted in it, so that all that is fitted is of order one
BEFORE_S = 0.025  # the ball in the hand is fitted this far back
HELD_SD = 0.1  # radii, at least: the hand model's own uncertainty of a ball that it sees well
FLOWN_SD = 0.25  # radii: a spot is placed to a quarter of a radius on own renders
PUSH_SD = 5.0  # radii per UNIT_S squared: 1800 m/s^2, twice a fast ball's push (35 m/s in 40 ms)
PUSH_CHANGE_SD = 2.0  # radii per UNIT_S cubed: the push comes and goes within some 20 ms
NEARING_SD = 0.07  # share by which a ball of 35 m/s comes nearer in UNIT_S, 5 m away
PATH_SD_S = 0.002  # a push is no polynomial: on exact paths of 39 own renders 1.4 ms off in the median
# The hand's frames show the ball gone once it is clear of the fingers: late, hardly ever early. So much later
# than they tell may release be (a standard uncertainty; chosen of four on 29 own renders).
LATER_SD_S = 0.0015
FEWEST = 3  # places on each side


def meeting(
    held_s: Array, held: Array, held_sd: Array, flown_s: Array, flown: Array, told: tuple[float, float]
) -> tuple[float, float] | None:
    """Fit both paths and what the hand's frames tell at once; None with fewer than three places on a side.

    Args:
        held_s, held, held_sd: Shape (n,), (n, 2), (n,): when and where the ball is in the hand; ball radii.
        flown_s, flown: Shape (m,), (m, 2): the same in flight, clear of the arm.
        told: When the hand's frames show the ball gone, and the standard uncertainty of how much earlier it
            left; s.

    Returns:
        The release and its standard uncertainty, s; never later than the ball is first seen flying.
    """
    if len(flown_s) < FEWEST:
        return None
    kept = np.isfinite(held[:, 0]) & (held_s > told[0] - BEFORE_S) & (held_s < flown_s[0])
    if kept.sum() < FEWEST:
        return None
    at = (np.concatenate([held_s[kept], flown_s]) - told[0]) / UNIT_S
    place = np.concatenate([held[kept], flown]) - flown[0]
    sd = np.concatenate([np.maximum(held_sd[kept], HELD_SD), np.full(len(flown), FLOWN_SD)])
    speed = np.polyfit(at[-len(flown) :], place[-len(flown) :], 1)[0]
    latest = (flown_s[0] - told[0]) / UNIT_S
    found = min(
        (_fitted(at, place, sd, told[1], speed, latest, early) for early in (0.8, 0.4, 0.01)), key=_cost
    )
    slopes = np.asarray(found.jac)
    spread_s = np.sqrt(np.linalg.pinv(slopes.T @ slopes)[0, 0]) * UNIT_S
    return float(told[0] + found.x[0] * UNIT_S), float(np.hypot(spread_s, PATH_SD_S))


def _fitted(
    at: Array, place: Array, sd: Array, told_sd_s: float, speed: Array, latest: float, early: float
) -> OptimizeResult:
    def missed(state: Array) -> Array:
        leaves, nearing = state[:2]
        where, pace, push, change = state[2:].reshape(4, 2)
        since = (at - leaves)[:, None]
        pushed = np.minimum(since, 0)
        path = (where + pace * since) / (1 + nearing * since) + push * pushed**2 / 2 + change * pushed**3 / 6
        assumed = (
            leaves * UNIT_S / (told_sd_s if leaves < 0 else min(told_sd_s, LATER_SD_S)),
            nearing / NEARING_SD,
            *(push / PUSH_SD),
            *(change / PUSH_CHANGE_SD),
        )
        return np.append((path - place) / sd[:, None], assumed)

    leaves = min(latest, 0.0) - early
    start = np.array([leaves, 0.0, *(speed * leaves), *speed, 0.0, 0.0, 0.0, 0.0])
    bounds = np.full(10, -np.inf), np.append(latest, np.full(9, np.inf))
    return least_squares(missed, start, bounds=bounds, loss="soft_l1")


def _cost(found: OptimizeResult) -> float:
    return float(found.cost)
