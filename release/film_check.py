"""Before a session, from one trial throw: will the camera's place, framing, rate and shutter do?"""

import math
from pathlib import Path

from release.clip.read import read_clip
from release.orientation.film import Filmed, blur_px, changes, hand_px
from release.orientation.measure import angle_estimates
from release.orientation.quality import median_point_sd_px
from release.orientation.read_calibration import read_factors, read_own_fractions
from release.orientation.result import JOINT_ANGLES, Estimate
from release.pipeline import Fitted, find_release, fit_throw
from release.settings import Settings

SHUTTERS_S = (1 / 500, 1 / 1000, 1 / 2000)
FINE_DEG = 5.0  # a coach needs to see changes of 5 to 10 degrees


def film_check(path: Path, settings: Settings = Settings()) -> list[str]:
    """What one trial throw says about how it was filmed, as lines of text.

    Raises:
        ClipError: The file cannot be read as a video.
    """
    clip = read_clip(path, slowdown=settings.slowdown, capture_fps=settings.capture_fps)
    found = find_release(clip, settings)
    if isinstance(found, str):
        return [f"{path.name}: {found}. Film one whole throw, from the cocked arm to the follow-through."]
    close, release = found
    fitted = fit_throw(clip, close, release)
    side = close.hand.side
    filmed = _filmed(fitted, side == "L")
    figures = angle_estimates(
        fitted.arm, side, release_sd_s=fitted.release_sd_s, heading=None, factors=read_factors()
    )
    own = read_own_fractions()
    lines = [f"{path.name}: release in frame {release.frame_index:.1f}, seen from the {release.source}."]
    for name in JOINT_ANGLES:
        figure = figures[name]
        lines.append(f"  {name:18s}{_expected(figure, own.get(name, 1.0))}")
    lines.append(f"  hand, wrist to middle knuckle: {hand_px(filmed):.0f} px (60 or more is good)")
    blurs = ", ".join(f"1/{1 / s:.0f} s {blur_px(filmed, s):.0f} px" for s in SHUTTERS_S)
    lines.append(f"  blur of the wrist at release, by shutter: {blurs}")
    sds = [(figures[name].sd or math.inf) * own.get(name, 1.0) for name in JOINT_ANGLES]
    return [*lines, f"  {_advice(filmed, max(sds))}"]


def _expected(figure: Estimate, own: float) -> str:
    if figure.sd is None:
        return figure.refused or "not measured"
    half = 1.96 * figure.sd
    return f"+-{half:.1f} degrees (95 %), +-{own * half:.1f} beside other throws filmed from here"


def _advice(filmed: Filmed, worst: float) -> str:
    better = changes(filmed)
    if not better:
        return "Nothing about the camera's place or rate would help much. Keep it."
    best = better[0]
    start = "This will do" if worst <= FINE_DEG else "This is not enough for changes of 5 to 10 degrees"
    return f"{start}. What would help most: {best.what} (leaves {100 * best.share:.0f} % of the uncertainty)."


def _filmed(fitted: Fitted, mirrored: bool) -> Filmed:
    return Filmed(
        points_m=fitted.arm.path_m,
        time_s=fitted.arm.path_s,
        release_s=float(fitted.arm.release_s),
        focal_px=fitted.window.focal_px,
        centre_px=fitted.window.centre_px,
        point_sd_px=median_point_sd_px(fitted.window),
        mirrored=mirrored,
    )
