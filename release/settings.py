"""What a user may say about a clip."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast, get_args

from release.errors import SettingUnknown

View = Literal["behind", "open side", "closed side", "front"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PinnedPoint:
    """Where a person saw a point of the arm in one frame."""

    frame_index: int
    point: str  # of CHAIN_POINTS
    x_px: float  # in the upright picture
    y_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What a user may say about a clip; everything else is measured."""

    slowdown: float | None = None  # presentation seconds per true second
    capture_fps: float | None = None
    release_frame: float | None = None  # chosen by hand
    view: View | None = None  # where the camera stands, for angles that need the target's direction
    camera: Path | None = None  # a camera.toml
    throws: Literal["R", "L"] | None = None  # the throwing arm, where the sheet says it
    pins: tuple[PinnedPoint, ...] = ()  # chosen by hand
    partner: "Partner | None" = None  # to be fitted together with


@dataclass(frozen=True, slots=True, kw_only=True)
class Partner:
    """Another phone's clip of the same throw."""

    path: Path
    settings: Settings


def settings_of(
    *,
    view: str | None = None,
    camera: Path | None = None,
    slowdown: float | None = None,
    capture_fps: float | None = None,
    release_frame: float | None = None,
    throws: str | None = None,
) -> Settings:
    """Settings from what was typed.

    Raises:
        SettingUnknown: A view that is none of the four, an arm that is neither R nor L, both ways
            to state the rate, a negative number.
    """
    if view is not None and view not in get_args(View):
        raise SettingUnknown(f"no such view: {view!r}. Say one of: {', '.join(get_args(View))}")
    if throws not in (None, "R", "L"):
        raise SettingUnknown(f"the throwing arm is R or L, not {throws!r}")
    if slowdown is not None and capture_fps is not None:
        raise SettingUnknown("state the slowdown or the capture rate, not both")
    numbers = {"slowdown": slowdown, "capture rate": capture_fps}
    for name, value in numbers.items():
        if value is not None and not 0 < value < 1e6:
            raise SettingUnknown(f"the {name} is a positive number, not {value:g}")
    if release_frame is not None and not 0 <= release_frame < 1e9:
        raise SettingUnknown(f"the release frame counts from 0, not {release_frame:g}")
    return Settings(
        view=cast(View | None, view),
        camera=camera,
        slowdown=slowdown,
        capture_fps=capture_fps,
        release_frame=release_frame,
        throws=cast(Literal["R", "L"] | None, throws),
    )
