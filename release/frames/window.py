"""Which frames to ask for: pure arithmetic on frame indices and times."""

import numpy as np
from numpy.typing import NDArray


def window(centre_frame: float, half_width: int, n_frames: int) -> tuple[int, int]:
    """First and last frame index within `half_width` of a fractional frame, cut to the clip."""
    if n_frames < 1:
        raise ValueError(f"a clip has at least one frame, not {n_frames}")
    centre = min(max(round(centre_frame), 0), n_frames - 1)
    return max(centre - half_width, 0), min(centre + half_width, n_frames - 1)


def frames_between(time_s: NDArray[np.float64], start_s: float, end_s: float) -> tuple[int, int] | None:
    """First and last frame whose time lies in [start_s, end_s]; None where there is none."""
    first, after = np.searchsorted(time_s, [start_s, np.nextafter(end_s, np.inf)])
    return (int(first), int(after) - 1) if after > first else None


def time_at(frame_index: float, time_s: NDArray[np.float64]) -> float:
    """Time at a fractional frame index, linear between neighbours, held at the ends."""
    return float(np.interp(frame_index, np.arange(len(time_s)), time_s))


def frame_at(at_s: float, time_s: NDArray[np.float64]) -> float:
    """Fractional frame index at a time, linear between neighbours, held at the ends."""
    return float(np.interp(at_s, time_s, np.arange(len(time_s))))
