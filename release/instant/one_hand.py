"""Which frames show one and the same hand: a hand is never elsewhere from one frame to the next.

In:   frame by frame, where the wrist of what was taken for the throwing hand is seen.
Out:  the frames of each hand that this may have been, so that no hand is taken to let go of another's ball.

Lengths are in ball radii, as in `flight.py`.
"""

import numpy as np
from numpy.typing import NDArray

from release.instant.flight import RADIUS_M

Array = NDArray[np.float64]

# Of 4,830 steps near release on own renders read right, 99 of 100 were slower than 33 m/s.
FASTEST_WRIST_M_S = 40.0
MISREAD_M = 0.08  # a wrist may be read so far off: of those steps 199 of 200 were within 30 m/s and 0.065 m
IN_PICTURE = 0.5  # share of a hand's points within the picture, from which on it is seen


def hands(time_s: Array, wrist: Array) -> NDArray[np.int64]:
    """The number of the hand that each frame shows, from 0 in the order of their first frames; -1 for none.

    Each frame goes on with the nearest of the hands that may have come there since they were last seen, or
    else begins a new one.

    Args:
        time_s: Shape (k,), increasing.
        wrist: Shape (k, 2); NaN where not seen.

    Returns:
        Shape (k,).
    """
    which, last = np.full(len(time_s), -1), np.empty(0, np.int64)  # and the row of each hand seen last
    for row in np.flatnonzero(np.isfinite(wrist).all(axis=1)).tolist():
        reach_m = FASTEST_WRIST_M_S * (time_s[row] - time_s[last]) + MISREAD_M
        off_m = np.linalg.norm(wrist[row] - wrist[last], axis=1) * RADIUS_M
        off_m[off_m > reach_m] = np.inf
        which[row] = off_m.argmin() if np.isfinite(off_m).any() else len(last)
        last = np.append(last[: which[row]], [row, *last[which[row] + 1 :]])
    return which


def in_picture(points_px: Array, width_px: int, height_px: int) -> NDArray[np.bool_]:
    """In which frames half of the hand at least is in the picture, shape (k,): what lies beyond is guessed.

    Args:
        points_px: Shape (k, n, 2), of the hand; NaN where not seen.
    """
    inside = ((points_px >= 0) & (points_px <= [width_px, height_px])).all(axis=2)
    seen = np.isfinite(points_px).all(axis=2)
    return inside.sum(axis=1) >= np.maximum(IN_PICTURE * seen.sum(axis=1), 1)
