"""Calls the stages in order: one clip in, one measurement out.

`measure_clip` touches no logbook and keeps nothing between calls, so it runs on any executor; the same
clip, models and settings give the same answer.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from release.clip.result import Clip
from release.instant.result import ReleaseInstant
from release.orientation.result import Orientation

View = Literal["behind", "open side", "closed side", "front"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What a user may say about a clip; everything else is measured."""

    slowdown: float | None = None  # presentation seconds per true second
    capture_fps: float | None = None
    release_frame: float | None = None  # chosen by hand
    view: View | None = None  # where the camera stands, for angles that need the target's direction
    camera: Path | None = None  # a camera.toml
    throws: Literal["R", "L"] | None = None  # the throwing arm, where the sheet says it


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrowMeasurement:
    """One throw as measured from one clip, or why it was refused."""

    clip: Clip
    throws: Literal["R", "L"] | None
    release: ReleaseInstant | None
    orientation: Orientation | None
    refused: str | None  # the reason for the whole clip; None when measured
    picture: NDArray[np.uint8] | None  # (height, width, 3) RGB, the frame nearest to release, full size
    picture_frame_index: int | None
    points_px: Mapping[str, tuple[float, float]]  # the arm fitted in that picture; empty when refused
    models: Mapping[str, str]  # name to SHA-256 of every model that took part


def measure_clip(path: Path, settings: Settings = Settings()) -> ThrowMeasurement:
    """Find the release in one clip and measure the arm there.

    Raises:
        ClipError: The file cannot be read as a video.
        ModelsMissing: The models are not on this machine.
    """
    raise NotImplementedError
