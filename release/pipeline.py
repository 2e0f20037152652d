"""Calls the stages in order: one clip in, one measurement out.

`measure_clip` touches no logbook and keeps nothing between calls, so it runs on any executor; the same
clip, models and settings give the same answer.
"""

from collections.abc import Generator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from release.arm_over_time import ArmOverTime, arm_over_time
from release.clip.read import read_clip
from release.clip.result import Clip
from release.field_camera import Stand, stand_of
from release.frames.decode import decode
from release.frames.window import frame_at, time_at
from release.instant.parting import HeldPath, SeenFlight, parting
from release.instant.result import ReleaseInstant
from release.landmarks.one_arm import of_one_arm, seen_to_hold
from release.landmarks.read_models import MODELS, OWN_WEIGHTS, fetched_model, sha256_of
from release.landmarks.result import HandReading
from release.likely_camera import likely_focal, px_per_m, views_of
from release.orientation.angles import palm_frame
from release.orientation.arm_fit import FittedArm, fit_arm, in_picture
from release.orientation.chain import CHAIN_POINTS, FOCAL
from release.orientation.measure import Heading, angle_estimates
from release.orientation.quality import flags, limits, seen_round_release
from release.orientation.read_calibration import CALIBRATION, read_factors
from release.orientation.result import Orientation
from release.orientation.window import ArmWindow, Pin, Views, part, pinned, window_of
from release.seen_ball import flown_ball, seen_leaving
from release.settings import PinnedPoint, Settings
from release.throw_search import (
    LEAST_FRAMES,
    SLOWDOWNS,
    Close,
    find_throw,
    likely_clock,
    likely_slowdowns,
    true_time,
)

Array = NDArray[np.float64]

FIT_S = 0.085  # fitted this far to both sides of release
NOT_HELD = "the throwing hand is not plainly seen with the ball before its release; choose its frame yourself"
OPEN_STEPS = 2  # more than so many steps without the hand leave the release open
FEWEST_FLOWN = 3  # frames in which the ball is seen, some of them in flight, that tell when it left
HAND_FRAME = [CHAIN_POINTS.index(name) for name in ("wrist", "index_mcp", "middle_mcp", "little_mcp")]
BALL = CHAIN_POINTS.index("ball")
# Balls leave at 20 to 47 m/s from youth to professional, and the fingertips move at 0.9 to 1.0 of that.
HAND_SPEED_M_S, HAND_SPEED_LOG_SD = 29.0, 0.25
CLOSE_ODD = 4.0  # a second clock within two standard deviations


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
    over_time: ArmOverTime | None  # None when refused
    models: Mapping[str, str]  # name to SHA-256 of every model that took part
    partner: str | None = None  # name of the clip with which it was, or was to be, fitted together
    apart: str | None = None  # why it was not fitted together with its partner


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """The arm fitted to what was read."""

    arm: FittedArm
    window: ArmWindow
    release_sd_s: float
    rows: NDArray[np.bool_]  # of the frames read closely, those in the window
    slowdown: float  # of the window's clock


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured of a clip, with what was read and fitted for it: None where it was refused."""

    measured: ThrowMeasurement
    found: tuple[Close, ReleaseInstant] | None
    fitted: Fitted | None


def measure_clip(
    path: Path, settings: Settings = Settings(), *, heading: Heading | None = None
) -> ThrowMeasurement:
    """Find the release in one clip and measure the arm there.

    Args:
        heading: How the camera stands, where the caller knows it better than the settings do.

    Raises:
        ClipError: The file cannot be read as a video.
        ModelsMissing: The models are not on this machine.
    """
    return finished(measuring(path, settings, heading=heading)).measured


def finished(steps: Generator[str, None, Measured]) -> Measured:
    """What steps come to, their names unheard."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            return end.value


def measuring(
    path: Path,
    settings: Settings,
    *,
    heading: Heading | None = None,
    found: tuple[Close, ReleaseInstant] | None = None,
) -> Generator[str, None, Measured]:
    """The same step by step: yields the name of each step as it begins, and returns what was measured.

    Args:
        found: The throw as read before from this clip, which is then not looked for again: nor is there a
            picture in the answer, for it was in the first one.
    """
    yield "reading"
    known = found is not None
    clip = read_clip(path, slowdown=settings.slowdown, capture_fps=settings.capture_fps)
    if found is None:
        yield "finding release"
        looked = find_release(clip, settings)
        if isinstance(looked, str):
            return Measured(measured=refused_clip(clip, looked), found=None, fitted=None)
        found = looked
    yield "measuring"
    stand = stand_of(clip, view=settings.view, camera=settings.camera)
    fitted = fit_throw(clip, *found, settings.pins, stand)
    measured = measured_throw(clip, *found, fitted, heading, stand)
    if not known:
        close, release = found
        measured = replace(
            measured, picture=_picture(clip, close, int(close.frame_index[nearest_row(*found)]))
        )
        found = replace(close, full={}), release
    return Measured(measured=measured, found=found, fitted=fitted)


def _picture(clip: Clip, close: Close, index: int) -> NDArray[np.uint8]:
    """One frame at full size, decoded again only where it was not kept."""
    frame = close.full.get(index)
    return frame.whole(1.0).rgb() if frame is not None else decode(clip, index, index).images[0]


def find_release(clip: Clip, settings: Settings) -> tuple[Close, ReleaseInstant] | str:
    """The throw in the clip with its release, refined by the arm fitted to it; or why there is none."""
    found = find_throw(clip, settings)
    if isinstance(found, str) or settings.release_frame is not None:
        return found
    close, release = found
    one_arm = _one_arm(clip, close, release)
    if one_arm is None:
        return NOT_HELD
    release = _left_open(clip, one_arm.hand, release)
    likely_s, _ = likely_clock(clip)
    close = replace(close, ball=seen_leaving(close.ball, one_arm.hand, likely_s, release.frame_index))
    if len(close.ball.flown) < FEWEST_FLOWN:
        return close, release
    fitted, *others = _fits(clip, close, release)
    time_s = clip.presentation_s / fitted.slowdown
    told = time_at(release.frame_index, time_s), fitted.release_sd_s
    seen = seen_flight(clip, close, fitted)
    at_s, sd_s = parting(held_path(fitted.arm), [seen], told)
    frame, interval_s = frame_at(at_s, time_s), float(np.median(np.diff(time_s)))
    refined = replace(release, frame_index=frame, time_s=true_time(clip, frame), sd_frames=sd_s / interval_s)
    begun = {f.slowdown: f.arm.begun for f in (fitted, *others) if f.arm.begun is not None}
    return replace(close, begun=begun, told=release), refined


def held_path(arm: FittedArm) -> HeldPath:
    """Where a fitted arm holds the ball, in the axes that it was fitted in."""
    wrist, index, middle, little = (arm.path_m[:, n] for n in HAND_FRAME)
    return HeldPath(
        time_s=arm.path_s, ball_m=arm.path_m[:, BALL], palm=palm_frame(wrist, index, middle, little, "R")
    )


def seen_flight(clip: Clip, close: Close, fitted: Fitted) -> SeenFlight:
    """The ball round its release in the axes of the clip's camera, in the mirror for a left arm."""
    window = fitted.window
    px = close.ball.flight * close.ball.radius_px
    if close.hand.side == "L":
        px = px * [-1, 1] + [2 * window.centre_px[0], 0]
    return SeenFlight(
        time_s=clip.presentation_s[close.ball.flown] / fitted.slowdown,
        px=px,
        focal_px=window.focal_px * float(np.exp(fitted.arm.body.steps[FOCAL])),
        centre_px=window.centre_px,
    )


def fit_throw(
    clip: Clip,
    close: Close,
    release: ReleaseInstant,
    pins: tuple[PinnedPoint, ...] = (),
    stand: Stand = Stand(),
) -> Fitted:
    """One arm for all frames near release.

    Where the time base is unknown the likely clocks are tried, and the one whose hand moves as fast as
    throwing hands do is taken; a second clock that does nearly as well is carried in the intervals.
    """
    best, *others = _fits(clip, close, release, pins, stand)
    best_odd = _odd_speed(best.arm.speed_m_s)
    close_by = [o for o in others if _odd_speed(o.arm.speed_m_s) < best_odd + CLOSE_ODD]
    if close_by and best.arm.other is None:
        return replace(best, arm=replace(best.arm, other=close_by[0].arm.pose))
    return best


def _fits(
    clip: Clip,
    close: Close,
    release: ReleaseInstant,
    pins: tuple[PinnedPoint, ...] = (),
    stand: Stand = Stand(),
) -> list[Fitted]:
    """One for each clock that the clip may have, the likeliest first."""
    views = views_of(clip, close, *(stand.focal or likely_focal(clip, close)))
    close = _one_arm(clip, close, release) or close
    fits = [_fit(clip, close, views, release, clock, pins) for clock in _clocks(clip)]
    return sorted(fits, key=lambda fitted: _odd_speed(fitted.arm.speed_m_s))


def _clocks(clip: Clip) -> list[float]:
    """By how much the clip may be slowed down."""
    slowdown = clip.time_base.slowdown
    return likely_slowdowns(clip) or [1.0] if slowdown is None else [slowdown]


def _one_arm(clip: Clip, close: Close, release: ReleaseInstant) -> Close | None:
    """The frames with nothing but what is of the throwing arm; None where that is not seen to throw."""
    time_s = clip.presentation_s / min(_clocks(clip))  # by the slowest clock an arm gets furthest
    release_s, at_s = time_at(release.frame_index, time_s), time_s[close.frame_index]
    arm, hand = of_one_arm(close.arm, close.hand, at_s, release_s, px_per_m(close))
    arm_s = at_s[np.searchsorted(hand.frame_index, arm.frame_index)[np.isfinite(arm.upper_arm[:, 0])]]
    if not seen_to_hold(hand, at_s, release_s) or not (np.abs(arm_s - release_s) <= FIT_S).any():
        return None
    return replace(close, arm=arm, hand=hand)


def _left_open(clip: Clip, hand: HandReading, release: ReleaseInstant) -> ReleaseInstant:
    """Anywhere between the frames that show the throwing hand, where those beside release do not."""
    seen = hand.frame_index[np.isfinite(hand.held_probability)]
    before, after = seen[seen < release.frame_index], seen[seen >= release.frame_index]
    if not len(before) or not len(after):
        return release
    open_frames = float(after[0] - before[-1])
    if open_frames <= OPEN_STEPS * np.diff(hand.frame_index).min():
        return release
    frame = float(before[-1] + after[0]) / 2
    sd_frames = float(np.hypot(release.sd_frames, open_frames / np.sqrt(12)))
    return replace(release, frame_index=frame, time_s=true_time(clip, frame), sd_frames=sd_frames)


def _odd_speed(speed_m_s: float) -> float:
    """Squared standard deviations from the usual speed of a hand at release."""
    return (np.log(max(speed_m_s, 0.1) / HAND_SPEED_M_S) / HAND_SPEED_LOG_SD) ** 2


def _fit(
    clip: Clip,
    close: Close,
    views: Views,
    release: ReleaseInstant,
    slowdown: float,
    pins: tuple[PinnedPoint, ...],
) -> Fitted:
    time_s, index = clip.presentation_s / slowdown, close.frame_index
    held = index < release.frame_index
    window = window_of(close.arm, close.hand, time_s[index], views, held)
    release_s = time_at(release.frame_index, time_s)
    near = np.abs(window.time_s - release_s) <= FIT_S
    interval_s = float(np.median(np.diff(time_s)))
    near |= np.abs(index - release.frame_index) <= LEAST_FRAMES * float(np.diff(index).min())
    kept = set(index[near])
    window = pinned(
        part(window, near),
        tuple(
            Pin(
                time_s=float(time_s[pin.frame_index]),
                point=CHAIN_POINTS.index(pin.point),
                place_px=(pin.x_px, pin.y_px),
            )
            for pin in pins
            if pin.frame_index in kept
        ),
    )
    return Fitted(
        arm=fit_arm(window, release_s, begun=close.begun.get(slowdown)),
        window=window,
        release_sd_s=release.sd_frames * interval_s,
        rows=near,
        slowdown=slowdown,
    )


def measured_throw(
    clip: Clip,
    close: Close,
    release: ReleaseInstant,
    fitted: Fitted,
    heading: Heading | None,
    stand: Stand = Stand(),
) -> ThrowMeasurement:
    """What one fitted throw comes to; without its picture."""
    index, arm, side = close.frame_index, fitted.arm, close.hand.side
    near_release = int(np.argmin(np.abs(fitted.window.time_s - arm.release_s)))
    heading = heading or stand.heading(side, fitted.window.hand_turn[near_release])
    angles = angle_estimates(
        arm, side, release_sd_s=fitted.release_sd_s, heading=heading, factors=read_factors()
    )
    lengths = stand.lengths(arm, side, release_sd_s=fitted.release_sd_s)
    near = nearest_row(close, release)
    # Drawn as it is in that picture: between two frames the hand moves on by its own length.
    posed_px = in_picture(arm.frames_m[near_release], arm.body, fitted.window)
    seen = seen_round_release(close.hand, fitted.window, arm, near, side_doubtful=close.side_doubtful)
    return ThrowMeasurement(
        clip=_with_ball(clip, close, release, stand),
        throws=side,
        release=release,
        orientation=Orientation(
            figures=angles | lengths, limits=limits(seen), flagged=(*flags(seen), *stand.said)
        ),
        refused=None,
        picture=None,
        picture_frame_index=int(index[near]),
        points_px={
            n: (float(x), float(y))
            for n, (x, y) in zip(CHAIN_POINTS, posed_px, strict=True)
            if n != "ball" or index[near] <= release.frame_index  # after release it is elsewhere
        },
        over_time=arm_over_time(arm, fitted.window, index[fitted.rows]),
        models=models_here(),
    )


def nearest_row(close: Close, release: ReleaseInstant) -> int:
    """The row of the frame nearest to release."""
    return int(np.argmin(np.abs(close.frame_index - release.frame_index)))


def _with_ball(clip: Clip, close: Close, release: ReleaseInstant, stand: Stand) -> Clip:
    """The clip with the ball's speed on its clock, where the camera is known and the ball is seen to fly."""
    if stand.camera is None:
        return clip
    clocks_s = [clip.presentation_s / slowdown for slowdown in SLOWDOWNS]
    flown = flown_ball(close.ball, close.hand, clocks_s, release.frame_index)
    speed = stand.ball_speed(clip.presentation_s, flown) if flown is not None else None
    if speed is None:
        return clip
    return replace(clip, time_base=replace(clip.time_base, ball_m_s=speed.m_s, ball_sd_m_s=speed.sd_m_s))


def refused_clip(clip: Clip, why: str) -> ThrowMeasurement:
    """A clip without a measured throw, and why."""
    return ThrowMeasurement(
        clip=clip,
        throws=None,
        release=None,
        orientation=None,
        refused=why,
        picture=None,
        picture_frame_index=None,
        points_px={},
        over_time=None,
        models=models_here(),
    )


@cache
def models_here() -> Mapping[str, str]:
    """Name and SHA-256 of every model on this machine that measures, and of the calibration."""
    own = {path.name: sha256_of(path) for path in (*sorted(OWN_WEIGHTS.glob("*.onnx")), CALIBRATION)}
    return own | {name: digest for name, digest in sorted(MODELS.items()) if fetched_model(name)}
