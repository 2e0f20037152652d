"""Where in a clip the fast motion is, told by the sizes of its packets alone.

In:   size, time and kind of every packet, nothing decoded.
Out:  windows of time, the likeliest first.
Why:  what moves costs bits: a packet that predicts from its neighbours is large where they differ.
"""

import numpy as np
from numpy.typing import NDArray

SMOOTH_S = 0.05  # an arm's fast motion lasts about this long


def fast_windows(
    packet_bytes: NDArray[np.int64],
    keyframe: NDArray[np.bool_],
    time_s: NDArray[np.float64],
    half_width_s: float,
) -> list[tuple[float, float]]:
    """Windows round the peaks of smoothed packet size, that together cover the clip.

    Args:
        packet_bytes: Shape (n,), in display order.
        keyframe: Shape (n,); a key frame's size says nothing of motion and is left out.
        time_s: Shape (n,), true or presentation time, non-decreasing.
        half_width_s: Of each window, to both sides of its peak.

    Returns:
        Start and end of each window, cut to the clip, in falling order of the peak; windows may touch but
        later peaks lie outside earlier windows. One window, the whole clip, where nothing tells: every packet
        a key frame, or all of one size.
    """
    whole = [(float(time_s[0]), float(time_s[-1]))]
    told = ~keyframe
    if told.sum() < 2 or np.ptp(packet_bytes[told]) == 0:
        return whole
    size = np.interp(np.arange(len(time_s)), np.flatnonzero(told), packet_bytes[told].astype(float))
    size = _smooth(size, time_s)
    free = np.ones(len(size), bool)
    found = []
    while free.any():
        peak = float(time_s[np.argmax(np.where(free, size, -1.0))])
        start, end = max(peak - half_width_s, whole[0][0]), min(peak + half_width_s, whole[0][1])
        found.append((start, end))
        free &= (time_s < start) | (time_s > end)
    return found


def _smooth(size: NDArray[np.float64], time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean over SMOOTH_S round each frame."""
    total = np.r_[0.0, np.cumsum(size)]
    first = np.searchsorted(time_s, time_s - SMOOTH_S / 2, "left")
    after = np.searchsorted(time_s, time_s + SMOOTH_S / 2, "right")
    return (total[after] - total[first]) / (after - first)
