"""Two clips to one: the release moment of each, with the arm found in every frame round it."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from release.clip.read import read_clip
from release.drawn_arm import palms
from release.errors import ReleaseError
from release.frames.decode import stream
from release.orientation.arm_fit import in_picture
from release.orientation.chain import CHAIN_POINTS
from release.pipeline import Fitted, find_release, fit_throw
from release.settings import Settings
from release.views.result import ArmDrawing
from release.views.write_side_by_side import ReleaseMoment, write_side_by_side

Array = NDArray[np.float64]


class NoReleaseToShow(ReleaseError):
    """A clip in which no release was found."""

    def __init__(self, clip: Path, why: str) -> None:
        super().__init__(
            f"no release to show: {why}. Name its frame (--first-frame, --second-frame). Clip: {clip.name}"
        )


def side_by_side(
    clips: tuple[Path, Path],
    out: Path,
    *,
    captions: tuple[str, str] = ("first", "second"),
    release_frames: tuple[float | None, float | None] = (None, None),
) -> None:
    """Write the release moments of two clips beside each other.

    Args:
        clips: Left and right.
        out: NAME.mp4, .jpg or .png.
        captions: What stands above each; a file's name is never written.
        release_frames: Where a person has chosen the release.

    Raises:
        NoReleaseToShow: No throw was found in one of them.
        ReleaseError: A clip cannot be read, or the file not be written.
    """
    moments = [
        release_moment(clip, caption, frame)
        for clip, caption, frame in zip(clips, captions, release_frames, strict=True)
    ]
    write_side_by_side(moments[0], moments[1], out)


def release_moment(path: Path, caption: str, release_frame: float | None = None) -> ReleaseMoment:
    """The frames of one clip round its release, with the fitted arm in each."""
    clip = read_clip(path)
    found = find_release(clip, Settings(release_frame=release_frame))
    if isinstance(found, str):
        raise NoReleaseToShow(path, found)
    close, release = found
    fitted = fit_throw(clip, close, release)
    points_px, palms = _in_frames(fitted)
    drawings = tuple(
        ArmDrawing(
            points_px={
                n: (float(x), float(y)) for n, (x, y) in zip(CHAIN_POINTS, points, strict=True) if n != "ball"
            },
            points_sd_px={},
            palm=palm,
        )
        for points, palm in zip(points_px, palms, strict=True)
    )
    return ReleaseMoment(
        images=np.stack([image for _, image in stream(clip, close.frame_index[fitted.rows])]),
        drawings=drawings,
        time_s=fitted.window.time_s - fitted.arm.release_s,
        caption=caption,
    )


def _in_frames(fitted: Fitted) -> tuple[Array, Array]:
    """The chain's points in each frame, shape (k, 8, 2), and the palm's axes, shape (k, 3, 3)."""
    arm, window = fitted.arm, fitted.window
    palm = palms(arm.frames_m)
    if window.side == "L":  # fitted in the mirror
        palm = palm * np.array([-1.0, 1.0, 1.0])[:, None]
    return in_picture(arm.frames_m, arm.body, window), palm
