"""What the clip stage hands on."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeBase:
    """How presentation times turn into true times."""

    slowdown: float | None  # presentation seconds per true second; None where unknown
    source: Literal["stated", "metadata", "presentation times", "unknown"]
    why: str  # one plain sentence for the report
    ball_m_s: float | None = None  # in its first flight, metres a second that the clip plays; None: unseen
    ball_sd_m_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """One video file as its container describes it; nothing is decoded yet."""

    path: Path
    sha256: str
    width_px: int  # upright, as displayed
    height_px: int
    turns: int  # quarter turns, counter-clockwise (numpy.rot90), that bring a decoded frame upright
    mirrored: bool  # decoded frames are to be flipped left to right after turning
    codec: str
    created: datetime | None
    first_pts: int  # time stamp of the first shown frame, in ticks of its track: seeking counts from it
    presentation_s: NDArray[
        np.float64
    ]  # shape (n_frames,), in display order from 0; a repeated time stays so
    packet_bytes: NDArray[np.int64]  # shape (n_frames,), same order
    keyframe: NDArray[np.bool_]  # shape (n_frames,), same order
    has_sound: bool
    time_base: TimeBase
    focal_35mm: float | None = None  # focal length as on 35 mm film, mm; None where the file does not say

    @property
    def frame_time_s(self) -> NDArray[np.float64] | None:
        """True time of each frame since the first; None where the time base is unknown."""
        if self.time_base.slowdown is None:
            return None
        return self.presentation_s / self.time_base.slowdown
