"""What the record stage hands on: one clip as measured, and the key it is stored under."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.clip.result import TimeBase
from release.instant.result import ReleaseInstant
from release.orientation.result import Orientation


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """Everything kept of one measuring of one clip. Same clip, models, settings and edits: equal."""

    clip_sha256: str
    models_sha256: str
    settings_sha256: str
    edits_sha256: str  # of the human decisions it had to keep to; "" where there were none
    settings: Mapping[str, object]  # readable, JSON
    side: str | None  # R or L, the throwing arm
    time_base: TimeBase
    release: ReleaseInstant | None
    orientation: Orientation | None
    refused: str | None  # why there is no release or no orientation, None when measured
    series: Mapping[str, NDArray[np.generic]]  # landmarks and angles by frame, for drawing
    release_frame_jpeg: bytes | None  # upright, faces blurred

    def __post_init__(self) -> None:
        if (self.orientation is None) != (self.refused is not None):
            raise ValueError(f"a clip is measured or refused, not both or neither: {self.clip_sha256}")

    @property
    def key(self) -> str:
        """The hash of clip, models, settings and edits together."""
        parts = (self.clip_sha256, self.models_sha256, self.settings_sha256, self.edits_sha256)
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()
