"""Calls the stages in order: one clip in, one measurement out.

`measure_clip` touches no logbook and keeps nothing between calls, so it runs on any executor; the same
clip, models and settings give the same answer.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Literal, cast, get_args

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.clip.read import read_clip
from release.clip.result import Clip
from release.errors import SettingUnknown
from release.field_camera import Stand, stand_of
from release.frames.bracket import fast_windows
from release.frames.decode import decode_every
from release.frames.result import Frames
from release.frames.window import time_at
from release.instant.arm import SLOWEST_THROW_M_S, Burst, bursts, reach_share
from release.instant.ball import leaving
from release.instant.detect import NO_HAND, NO_THROW, Span, decide, held_round
from release.instant.result import ReleaseInstant
from release.landmarks.read_models import MODELS, OWN_WEIGHTS, fetched_model, sha256_of
from release.landmarks.result import ArmReading, HandReading
from release.orientation.arm_fit import FittedArm, fit_arm
from release.orientation.chain import CHAIN_POINTS
from release.orientation.kinematics import BALL_RADIUS_M, FOREARM_M
from release.orientation.measure import Heading, angle_estimates
from release.orientation.quality import flags, limits, seen_round_release
from release.orientation.read_calibration import read_floors_deg
from release.orientation.result import Orientation
from release.orientation.window import ArmWindow, Pin, Views, part, pinned, window_of

Array = NDArray[np.float64]
View = Literal["behind", "open side", "closed side", "front"]

COARSE_PX = 640  # longer side of the pictures in which the throw is looked for
COARSE_S = 0.012  # between them
WHOLE_S = 1.5  # a clip up to this long is looked through at once
BRACKET_S = 0.4  # to both sides of where the packets tell of fast motion
ROUND_S = 0.12  # read this far to both sides of the wrist's fastest moment
FIT_S = 0.085  # fitted this far to both sides of release
FINE_FRAMES = 72  # at most this many frames are read closely
SLOWDOWNS = (1.0, 4.0, 8.0)  # tried where the time base is unknown: phones store these
CAPTURE_FPS = (100.0, 1000.0)  # what phones capture throws at
PHONE_FOCAL = 0.8  # focal length of a phone's main lens by the longer side of its picture, at least
LIKELY_DISTANCE_M = 4.5  # from the camera to the arm
FOCAL_LOG_SD = 0.5
CHOSEN_SD_FRAMES = 0.3  # a person picks the nearest frame: even within half a frame to both sides
# Balls leave at 20 to 47 m/s from youth to professional, and the fingertips move at 0.9 to 1.0 of that.
HAND_SPEED_M_S, HAND_SPEED_LOG_SD = 29.0, 0.25
BURSTS = 3  # as many fast moments of the wrist are read closely, the fastest first
FAST_M_S = 20.0  # from this speed of the wrist on, in the picture, a fast moment looks like a throw
CLEAR_SCORE = 8.0  # so clear that no other moment is looked at
CLOSE_ODD = 4.0  # a second clock within two standard deviations
LEAST_FRAMES = 8  # to both sides of release, however slow the clock
TOO_SHORT = f"the clip has fewer than {LEAST_FRAMES} frames: too few to show a throw"
HAND_SEEN = 0.3  # share of frames round release in which the hand must be found


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


def settings_of(
    *,
    view: str | None = None,
    camera: Path | None = None,
    slowdown: float | None = None,
    capture_fps: float | None = None,
    release_frame: float | None = None,
) -> Settings:
    """Settings from what was typed.

    Raises:
        SettingUnknown: A view that is none of the four, both ways to state the rate, a negative number.
    """
    if view is not None and view not in get_args(View):
        raise SettingUnknown(f"no such view: {view!r}. Say one of: {', '.join(get_args(View))}")
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
    )


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """The frames round a throw, read closely."""

    frames: Frames
    arm: ArmReading
    hand: HandReading


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """The arm fitted to what was read."""

    arm: FittedArm
    window: ArmWindow
    release_sd_s: float
    rows: NDArray[np.bool_]  # of the frames read closely, those in the window


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
    clip = read_clip(path, slowdown=settings.slowdown, capture_fps=settings.capture_fps)
    if len(clip.presentation_s) < LEAST_FRAMES:
        return refused_clip(clip, TOO_SHORT)
    found = find_throw(clip, settings)
    if isinstance(found, str):
        return refused_clip(clip, found)
    close, release = found
    stand = stand_of(clip, view=settings.view, camera=settings.camera)
    fitted = fit_throw(clip, close, release, settings.pins, stand)
    return measured_throw(clip, close, release, fitted, heading, stand)


def _clock(clip: Clip) -> tuple[Array, bool]:
    """True times where known; else as if slowed to the likeliest capture rate, 240 frames a second."""
    if clip.frame_time_s is not None:
        return clip.frame_time_s, True
    likely = _likely_slowdowns(clip)
    return clip.presentation_s / (likely[-1] if likely else 1.0), False


def _likely_slowdowns(clip: Clip) -> list[float]:
    stored_fps = 1 / float(np.median(np.diff(clip.presentation_s)))
    return [s for s in SLOWDOWNS if CAPTURE_FPS[0] <= stored_fps * s <= CAPTURE_FPS[1]]


def find_throw(clip: Clip, settings: Settings) -> tuple[Close, ReleaseInstant] | str:
    """The throw in the clip, read closely, with its release; or why there is none."""
    time_s, known = _clock(clip)
    chosen = settings.release_frame
    if chosen is not None:
        when = _true_time(clip, chosen)
        release = ReleaseInstant(
            frame_index=chosen, time_s=when, sd_frames=CHOSEN_SD_FRAMES, source="chosen by hand"
        )
        close = _read_close(clip, time_s, chosen, settings)
        if not settings.pins and not np.isfinite(close.hand.held_probability).any():
            return NO_HAND
        return close, release
    slowest = SLOWEST_THROW_M_S if known else SLOWEST_THROW_M_S / SLOWDOWNS[-1]
    best, why, read = None, NO_THROW, set[float]()
    for found in _bursts(clip, time_s):
        for burst in [b for b in found if b.speed_m_s >= slowest and b.frame_index not in read][:BURSTS]:
            read.add(burst.frame_index)
            close = _read_close(clip, time_s, burst.frame_index, settings)
            release, why_not, evidence = _release(clip, time_s, close, burst.frame_index)
            score = evidence + np.log(min(burst.speed_m_s / FAST_M_S, 1.0))
            if release is None:
                why = why_not or why
            elif best is None or score > best[2]:
                best = (close, release, score)
            if best is not None and best[2] >= CLEAR_SCORE:
                return best[:2]
    return best[:2] if best is not None else why


def _bursts(clip: Clip, time_s: Array) -> Iterator[list[Burst]]:
    """Fast moments where the packets tell of fast motion; then, where no throw was in it, in the whole clip.

    A clip that is hardly longer than a throw is looked through at once. Never are the pictures of more than
    one window held.
    """
    half_s = BRACKET_S if time_s[-1] > WHOLE_S else WHOLE_S
    first, *others = fast_windows(clip.packet_bytes, clip.keyframe, time_s, half_s)
    parts = [_read_coarse(clip, time_s, *first)]
    yield _wrist_bursts(parts[0], time_s)
    if others:
        parts += [_read_coarse(clip, time_s, *window) for window in others]
        yield _wrist_bursts(_joined(parts), time_s)


def _read_coarse(clip: Clip, time_s: Array, start_s: float, end_s: float) -> ArmReading:
    from release.landmarks.infer_arm import read_arm

    step = max(round(COARSE_S / float(np.median(np.diff(time_s)))), 1)
    scale = min(COARSE_PX / max(clip.width_px, clip.height_px), 1.0)
    first, after = np.searchsorted(time_s, [start_s, np.nextafter(end_s, np.inf)])
    frames = decode_every(clip, step, first=int(first), last=int(after) - 1, scale=scale)
    return read_arm(frames.images, frames.index, frames.scale)


def _joined(parts: Sequence[ArmReading]) -> ArmReading:
    order = np.argsort(np.concatenate([part.frame_index for part in parts]))
    return ArmReading(
        **{n: np.concatenate([getattr(p, n) for p in parts])[order] for n in ArmReading.__dataclass_fields__}
    )


def _found_arm(arm: ArmReading) -> Array:
    """Shoulder, elbow and wrist, shape (3, k, 2); NaN where the arm is not found."""
    found = (arm.found_probability > 0.5)[:, None, None]
    return np.moveaxis(np.where(found, arm.points_px, np.nan), 1, 0)


def _wrist_bursts(arm: ArmReading, time_s: Array) -> list[Burst]:
    shoulder, elbow, wrist = _found_arm(arm)
    return bursts(arm.frame_index.astype(float), time_s[arm.frame_index], wrist, elbow, shoulder)


def _read_close(clip: Clip, time_s: Array, centre_frame: float, settings: Settings) -> Close:
    from release.landmarks.infer_arm import read_arm
    from release.landmarks.infer_hand import read_hand
    from release.landmarks.infer_side import throwing_side

    centre_s = time_at(centre_frame, time_s)
    first, last = np.searchsorted(time_s, [centre_s - ROUND_S, centre_s + ROUND_S])
    last = min(int(last), len(time_s) - 1)
    step = -(-(last - int(first) + 1) // FINE_FRAMES)
    frames = decode_every(clip, step, first=int(first), last=last)
    arm = read_arm(frames.images, frames.index, frames.scale)
    side = settings.throws or throwing_side(frames.images, frames.index, arm)
    hand = read_hand(frames.images, frames.index, arm, side)
    return Close(frames=frames, arm=arm, hand=hand)


def _release(
    clip: Clip, time_s: Array, close: Close, fastest_frame: float
) -> tuple[ReleaseInstant | None, str | None, float]:
    """The release or why there is none, and the evidence that the ball was seen to leave."""
    held, index = close.hand.held_probability, close.frames.index
    if np.mean(np.isfinite(held)) < HAND_SEEN:
        return None, NO_HAND, 0.0
    span = Span(
        first=int(index[0]), last=int(index[-1]), n_frames=len(time_s), step=int(np.diff(index).min())
    )
    fastest_s = time_at(fastest_frame, time_s)
    shoulder, _, wrist = _found_arm(close.arm)
    change = leaving(
        index.astype(float),
        time_s[index],
        held,
        fastest_s=fastest_s,
        reach=reach_share(wrist, shoulder),
    )
    release, why = decide(
        change,
        span,
        held_near=held_round(time_s[index], held, fastest_s),
        fastest_frame=fastest_frame,
        interval_s=float(np.median(np.diff(time_s))),
    )
    if release is None:
        return None, why, change.evidence
    return replace(release, time_s=_true_time(clip, release.frame_index)), None, change.evidence


def _true_time(clip: Clip, frame: float) -> float | None:
    return None if clip.frame_time_s is None else time_at(frame, clip.frame_time_s)


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
    focal_px, focal_log_sd = stand.focal or _focal(clip, close)
    views = _views(clip, close, focal_px, focal_log_sd)
    if clip.time_base.slowdown is not None:
        return _fit(clip, close, views, release, clip.time_base.slowdown, pins)
    fits = [_fit(clip, close, views, release, s, pins) for s in _likely_slowdowns(clip) or [1.0]]
    best, *others = sorted(fits, key=lambda fitted: _odd_speed(fitted.arm.speed_m_s))
    best_odd = _odd_speed(best.arm.speed_m_s)
    close_by = [o for o in others if _odd_speed(o.arm.speed_m_s) < best_odd + CLOSE_ODD]
    if close_by and best.arm.other is None:
        return replace(best, arm=replace(best.arm, other=close_by[0].arm.pose))
    return best


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
    time_s, index = clip.presentation_s / slowdown, close.frames.index
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
        arm=fit_arm(window, release_s), window=window, release_sd_s=release.sd_frames * interval_s, rows=near
    )


def measured_throw(
    clip: Clip,
    close: Close,
    release: ReleaseInstant,
    fitted: Fitted,
    heading: Heading | None,
    stand: Stand = Stand(),
) -> ThrowMeasurement:
    """What one fitted throw comes to."""
    index, arm, side = close.frames.index, fitted.arm, close.hand.side
    near_release = int(np.argmin(np.abs(fitted.window.time_s - arm.release_s)))
    heading = heading or stand.heading(side, fitted.window.hand_turn[near_release])
    angles = angle_estimates(
        arm, side, release_sd_s=fitted.release_sd_s, heading=heading, floors_deg=read_floors_deg()
    )
    lengths = stand.lengths(arm, side, release_sd_s=fitted.release_sd_s)
    near = int(np.argmin(np.abs(index - release.frame_index)))
    ball_seen = release.source != "arm"
    seen = seen_round_release(close.hand, arm, near, ball_seen=ball_seen)
    return ThrowMeasurement(
        clip=clip,
        throws=side,
        release=release,
        orientation=Orientation(
            figures=angles | lengths, limits=limits(seen), flagged=(*flags(seen), *stand.said)
        ),
        refused=None,
        picture=close.frames.images[near],
        picture_frame_index=int(index[near]),
        points_px={n: (float(x), float(y)) for n, (x, y) in zip(CHAIN_POINTS, arm.posed_px, strict=True)},
        models=models_here(),
    )


def _focal(clip: Clip, close: Close) -> tuple[float, float]:
    """The likely focal length in px, and the uncertainty of its logarithm.

    A phone's main lens has a focal length of 0.8 of the longer side at least; one zoomed in on the arm is
    still some metres away, so the arm's size in px gives another lower bound. Common practice, no source.
    """
    longer = max(clip.width_px, clip.height_px)
    radius = close.hand.ball_radius_px[close.hand.held_probability > 0.5]
    if np.isfinite(radius).any():
        px_per_m = float(np.nanmedian(radius)) / BALL_RADIUS_M
    else:
        forearm = np.linalg.norm(close.arm.points_px[:, 2] - close.arm.points_px[:, 1], axis=-1)
        px_per_m = float(np.nanquantile(forearm, 0.9)) / FOREARM_M
    return max(PHONE_FOCAL * longer, px_per_m * LIKELY_DISTANCE_M), FOCAL_LOG_SD


def _views(clip: Clip, close: Close, focal_px: float, focal_log_sd: float) -> Views:
    from release.landmarks.view import view_rotation

    centre = (clip.width_px / 2, clip.height_px / 2)

    def rotations(points_px: Array, focal: float) -> Array:
        return np.stack([view_rotation(point, focal, np.array(centre)) for point in np.nan_to_num(points_px)])

    def turn(points_px: Array) -> Array:
        moved = rotations(points_px, focal_px * np.exp(0.01)) @ rotations(points_px, focal_px).transpose(
            0, 2, 1
        )
        return Rotation.from_matrix(moved).as_rotvec() / 0.01

    return Views(
        arm=rotations(close.arm.view_px, focal_px),
        hand=rotations(close.hand.view_px, focal_px),
        arm_turn=turn(close.arm.view_px),
        hand_turn=turn(close.hand.view_px),
        focal_px=focal_px,
        focal_log_sd=focal_log_sd,
        centre_px=centre,
    )


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
        models=models_here(),
    )


@cache
def models_here() -> Mapping[str, str]:
    """Name and SHA-256 of every model on this machine that takes part in measuring."""
    own = {path.name: sha256_of(path) for path in sorted(OWN_WEIGHTS.glob("*.onnx"))}
    return own | {name: digest for name, digest in sorted(MODELS.items()) if fetched_model(name)}
