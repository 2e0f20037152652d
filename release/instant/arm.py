"""Where in a clip an arm throws, from the wrist's path alone.

In:   wrist and shoulder in pixels, in some frames of the clip.
Out:  the frames round which the wrist is fastest; pixels are made metres by the forearm's length.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FOREARM_M = 0.26  # elbow to wrist of an adult; a youth's is a quarter less, which only lowers the speed
SLOWEST_THROW_M_S = 5.0  # of the wrist, in the picture; common practice, no source: half of a soft toss
APART_S = 0.15  # two throws are never nearer in time


@dataclass(frozen=True, slots=True, kw_only=True)
class Burst:
    """A moment at which the wrist is fastest."""

    frame_index: float
    speed_m_s: float  # at the frame interval given


def bursts(
    frame_index: Array, time_s: Array, wrist_px: Array, elbow_px: Array, shoulder_px: Array
) -> list[Burst]:
    """The wrist's fastest moments against the shoulder, fastest first.

    Args:
        frame_index, time_s: Shape (k,), increasing.
        wrist_px, elbow_px, shoulder_px: Shape (k, 2); NaN where not found.
    """
    middle, speed = _speeds(frame_index, time_s, wrist_px, elbow_px, shoulder_px)
    middle_s = np.interp(middle, frame_index, time_s)
    left, found = np.ones(len(speed), bool), list[Burst]()
    for k in np.argsort(-speed, kind="stable"):
        if left[k]:
            found.append(Burst(frame_index=float(middle[k]), speed_m_s=float(speed[k])))
            left &= np.abs(middle_s - middle_s[k]) > APART_S
    return found


def fastest(
    frame_index: Array, time_s: Array, wrist_px: Array, elbow_px: Array, shoulder_px: Array
) -> Burst | None:
    """The first of the bursts while frames still come in: the newest one may be a misreading. Else None."""
    middle, speed = _speeds(frame_index, time_s, wrist_px, elbow_px, shoulder_px)
    if len(speed) < 2:
        return None
    k = int(np.argmax(speed[:-1]))
    return Burst(frame_index=float(middle[k]), speed_m_s=float(speed[k]))


def _speeds(
    frame_index: Array, time_s: Array, wrist_px: Array, elbow_px: Array, shoulder_px: Array
) -> tuple[Array, Array]:
    """Between each two frames that show the arm: the middle, as a frame index, and the wrist's speed, m/s."""
    seen = np.isfinite(wrist_px).all(1) & np.isfinite(elbow_px).all(1) & np.isfinite(shoulder_px).all(1)
    if seen.sum() < 4:
        return np.zeros(0), np.zeros(0)
    index, t = frame_index[seen], time_s[seen]
    reach = _despiked(wrist_px[seen] - shoulder_px[seen])
    forearm_px = np.quantile(np.linalg.norm(wrist_px[seen] - elbow_px[seen], axis=1), 0.9)
    speed = np.linalg.norm(np.diff(reach, axis=0), axis=1) / np.diff(t) * FOREARM_M / forearm_px
    # A throw lasts for several steps, a misreading for one.
    return (index[1:] + index[:-1]) / 2, _despiked(speed[:, None])[:, 0]


def reach_share(wrist_px: Array, shoulder_px: Array) -> Array:
    """How far the arm is stretched in the picture, by its longest in these frames; 1 where that is not seen.

    Args:
        wrist_px, shoulder_px: Shape (k, 2); NaN where not found.

    Returns:
        Shape (k,), from 0.1 to 1.
    """
    reach = np.linalg.norm(_despiked(wrist_px - shoulder_px), axis=1)
    if not np.isfinite(reach).any():
        return np.ones(len(wrist_px))
    longest = np.nanquantile(reach, 0.95)  # one misreading makes no longest
    return np.nan_to_num(np.clip(reach / longest, 0.1, 1.0), nan=1.0)


def _despiked(path: Array) -> Array:
    """Each point replaced by the median of itself and its neighbours."""
    before, after = np.concatenate([path[:1], path[:-1]]), np.concatenate([path[1:], path[-1:]])
    low, high = np.minimum(before, path), np.maximum(before, path)
    return np.maximum(low, np.minimum(high, after))  # of three; np.median takes five times as long
