"""Cuts a long recording into its throws, from how much moves in each frame.

In:   a curve of movement over time, any unit, at least a few samples a second.
Out:  one span for each throw. A throw is a burst far above what moves otherwise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

BEFORE_S = 1.5  # kept before the burst's top: the delivery. Common practice, no source
AFTER_S = 1.0
STEP_S = 0.1
BALL_BACK_S = 8.0  # two throws do not come closer. Common practice, no source
SPREADS = 8.0  # a burst rises this many robust standard deviations above the usual movement
OF_TYPICAL = 0.4  # and to this share of a typical burst


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """One throw in a long recording, seconds from its start."""

    start_s: float
    peak_s: float
    end_s: float


def cut_throws(time_s: NDArray[np.float64], movement: NDArray[np.float64]) -> tuple[Span, ...]:
    """Find the throws in a long recording.

    Args:
        time_s: Shape (n,), increasing.
        movement: Shape (n,), how much moves; NaN counts as nothing.

    Returns:
        The spans in order; none overlaps the next.
    """
    if len(time_s) < 3:
        return ()
    even_s = np.arange(time_s[0], time_s[-1], STEP_S)
    curve = np.interp(even_s, time_s, np.nan_to_num(movement))
    usual = np.median(curve)
    spread = 1.4826 * np.median(np.abs(curve - usual))  # of a normal distribution
    least = usual + SPREADS * max(float(spread), 1e-9)
    peaks, _ = find_peaks(np.pad(curve, 1), height=least, distance=int(BALL_BACK_S / STEP_S))
    peaks = peaks - 1
    if not len(peaks):
        return ()
    heights = curve[peaks] - usual
    peaks = peaks[heights >= OF_TYPICAL * np.median(heights)]
    tops = even_s[peaks]
    middle = (tops[1:] + tops[:-1]) / 2
    starts = np.maximum(tops - BEFORE_S, np.concatenate([time_s[:1], middle]))
    ends = np.minimum(tops + AFTER_S, np.concatenate([middle, time_s[-1:]]))
    return tuple(
        Span(start_s=float(a), peak_s=float(p), end_s=float(b))
        for a, p, b in zip(starts, tops, ends, strict=True)
    )


def movement_told(
    packet_bytes: NDArray[np.int64], keyframe: NDArray[np.bool_], time_s: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How much moves, told by the sizes of packets alone: what moves costs bits.

    Args:
        packet_bytes: Shape (n,), in display order.
        keyframe: Shape (n,); a key frame's size says nothing of movement.
        time_s: Shape (n,), non-decreasing.

    Returns:
        Time and mean size, each of shape (m,): one for each tenth of a second that has a packet to tell.
    """
    told = ~keyframe
    step = ((time_s[told] - time_s[:1]) / STEP_S).astype(np.int64)
    count = np.bincount(step)
    mean = np.bincount(step, packet_bytes[told]) / np.maximum(count, 1)
    seen = np.flatnonzero(count)
    return time_s[0] + (seen + 0.5) * STEP_S, mean[seen]
