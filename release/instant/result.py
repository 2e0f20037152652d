"""What the instant stage hands on."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseInstant:
    """When the ball stops touching the last fingertip."""

    frame_index: float  # from 0, in display order; a fraction lies between two frames
    time_s: float | None  # true time since the first frame; None where the time base is unknown
    sd_frames: float  # standard uncertainty
    source: Literal["ball", "chosen by hand"]

    def __post_init__(self) -> None:
        if self.frame_index < 0 or not self.sd_frames > 0:
            raise ValueError(f"not a release instant: {self}")
