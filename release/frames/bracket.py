"""Where in a clip the fast motion is, told by the sizes of its packets alone.

In:   size, time and kind of every packet, nothing decoded.
Out:  windows of time with the moment each was laid round, the likeliest first.
Why:  what moves costs bits: a packet that predicts from its neighbours is large where they differ.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

SMOOTH_S = 0.05  # an arm's fast motion lasts about this long


class Window(NamedTuple):
    """A part of a clip, by the clock on which it was asked for."""

    start_s: float
    end_s: float
    peak_s: float  # where the packets are largest


def fast_windows(
    packet_bytes: NDArray[np.int64],
    keyframe: NDArray[np.bool_],
    time_s: NDArray[np.float64],
    half_width_s: float,
) -> list[Window]:
    """Windows round the peaks of smoothed packet size, that together cover the clip.

    Args:
        packet_bytes: Shape (n,), in display order.
        keyframe: Shape (n,); a key frame's size says nothing of motion and is left out.
        time_s: Shape (n,), true or presentation time, non-decreasing.
        half_width_s: Of each window, to both sides of its peak.

    Returns:
        Each cut to the clip, in falling order of the peak. None overlaps: a later one is cut where earlier
        ones lie. Where nothing tells (every packet a key frame, or all of one size) they follow one another.
    """
    told = ~keyframe
    if told.sum() > 1 and np.ptp(packet_bytes[told]) > 0:
        size = np.interp(np.arange(len(time_s)), np.flatnonzero(told), packet_bytes[told].astype(float))
        size = _smooth(size, time_s)
    else:
        size = -time_s
    left = np.ones(len(size), bool)
    found = []
    while left.any():
        peak = int(np.argmax(np.where(left, size, -np.inf)))
        near = np.abs(time_s - time_s[peak]) <= half_width_s
        taken = np.flatnonzero(~(left & near))
        first = int(np.max(taken[taken < peak], initial=-1)) + 1
        last = int(np.min(taken[taken > peak], initial=len(size))) - 1
        found.append(
            Window(start_s=float(time_s[first]), end_s=float(time_s[last]), peak_s=float(time_s[peak]))
        )
        left[first : last + 1] = False
    return found


def _smooth(size: NDArray[np.float64], time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean over SMOOTH_S round each frame."""
    total = np.r_[0.0, np.cumsum(size)]
    first = np.searchsorted(time_s, time_s - SMOOTH_S / 2, "left")
    after = np.searchsorted(time_s, time_s + SMOOTH_S / 2, "right")
    return (total[after] - total[first]) / (after - first)
