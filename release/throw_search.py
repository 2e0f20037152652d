"""Finds the throw in a clip and its release: a coarse look for fast moments, then a close one at each."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from release.clip.result import Clip
from release.frames.bracket import fast_windows
from release.frames.decode import Stored, decode_every
from release.frames.window import frames_between, time_at
from release.instant.arm import SLOWEST_THROW_M_S, Burst, bursts, reach_share
from release.instant.ball import Change, leaving, weighed
from release.instant.detect import NO_HAND, NO_THROW, STILL_HELD, Span, decide, held_again, held_round
from release.instant.flight import clear_of_arm, flights, goes_on, on_path
from release.instant.result import ReleaseInstant
from release.landmarks.flying_ball import box_round, moving_spots
from release.landmarks.result import ArmReading, HandReading
from release.landmarks.side import throwing_side
from release.landmarks.track import BALL
from release.landmarks.view import Held
from release.orientation.arm_fit import Begun
from release.settings import Settings
from release.stretch import (
    FAST_M_S,
    Stretch,
    close_frames,
    coarse_step,
    found_arm,
    gone_through,
    joined,
    kept_of,
    rows,
    small_scale,
)

Array = NDArray[np.float64]

WHOLE_S = 1.5  # a clip up to this long is looked through at once
BRACKET_S = 0.3  # to both sides of where the packets tell of fast motion
# The go through the first of them begins so long before the packets' peak: on 220 own throws the release came
# 0.08 s before it at the earliest.
BEFORE_S = 0.2
LIKELY = 2  # more such places are looked at before all the clip is
SLOWDOWNS = (1.0, 4.0, 8.0)  # tried where the time base is unknown: phones store these
CAPTURE_FPS = (100.0, 1000.0)  # what phones capture throws at
CHOSEN_SD_FRAMES = 0.3  # a person picks the nearest frame: even within half a frame to both sides
BURSTS = 6  # as many fast moments of the wrist are read closely at most, the fastest first
CLEAR = 12.0  # evidence, with a flight seen, so clear that nothing else is looked at
FLIGHT_SEEN = 2.3  # evidence (10 to 1) from which a flight is taken for the ball's
FLIGHT_NEAR = 3  # rows to both sides of release at which that flight may begin
HELD = 0.3  # probability from which on the ball's place in the hand is used
LEAST_FRAMES = 8  # to both sides of release, however slow the clock
TOO_SHORT = f"the clip has fewer than {LEAST_FRAMES} frames: too few to show a throw"
HAND_SEEN = 0.3  # share of frames round release in which the hand must be found


@dataclass(frozen=True, slots=True, kw_only=True)
class BallSeen:
    """What is seen of the ball in k frames; lengths in its radii."""

    held: Array  # shape (k, 2), in the hand; NaN where it is not
    spots: list[Array]  # k of shape (n, 2): small, moving and clear of the arm
    area: float  # of the picture looked at for them
    # The frames in which it goes straight away from the hand, shape (m,), and where it is in those, (m, 2).
    flown: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    flight: Array = field(default_factory=lambda: np.empty((0, 2)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """The frames round a throw, read closely."""

    frame_index: NDArray[np.int64]  # shape (k,), increasing
    arm: ArmReading  # in every few of them
    hand: HandReading
    side_doubtful: bool  # whether it is the other arm that throws, for all that is seen
    ball: BallSeen
    full: Mapping[int, Stored]  # some frames at full size, by index: until the picture is taken
    begun: Mapping[float, Begun] = field(default_factory=dict)  # by slowdown, once an arm was fitted to them
    told: ReleaseInstant | None = None  # by the hand's frames, once the arm's path has refined it


def _clock(clip: Clip) -> tuple[Array, bool]:
    """True times where known; else as if slowed to the likeliest capture rate, 240 frames a second."""
    if clip.frame_time_s is not None:
        return clip.frame_time_s, True
    likely = likely_slowdowns(clip)
    return clip.presentation_s / (likely[-1] if likely else 1.0), False


def likely_slowdowns(clip: Clip) -> list[float]:
    stored_fps = 1 / float(np.median(np.diff(clip.presentation_s)))
    return [s for s in SLOWDOWNS if CAPTURE_FPS[0] <= stored_fps * s <= CAPTURE_FPS[1]]


def find_throw(clip: Clip, settings: Settings) -> tuple[Close, ReleaseInstant] | str:
    """The throw in the clip, read closely, with its release; or why there is none."""
    if len(clip.presentation_s) < LEAST_FRAMES:
        return TOO_SHORT
    time_s, known = _clock(clip)
    chosen = settings.release_frame
    if chosen is not None:
        when = true_time(clip, chosen)
        release = ReleaseInstant(
            frame_index=chosen, time_s=when, sd_frames=CHOSEN_SD_FRAMES, source="chosen by hand"
        )
        close = _read_close(clip, time_s, chosen, None, settings)
        if not settings.pins and np.mean(np.isfinite(close.hand.held_probability)) < HAND_SEEN:
            return NO_HAND
        return close, release
    slowest = SLOWEST_THROW_M_S if known else SLOWEST_THROW_M_S / SLOWDOWNS[-1]
    seen, why, read = list[_Seen](), NO_THROW, set[float]()
    closely = list[Close]()
    for coarse in _coarse_looks(clip, time_s):
        found = _wrist_bursts(coarse.arm, time_s)
        for burst in [b for b in found if b.speed_m_s >= slowest and b.frame_index not in read][:BURSTS]:
            read.add(burst.frame_index)
            close = _read_close(clip, time_s, burst.frame_index, coarse, settings)
            closely.append(replace(close, full={}))
            release = _release(clip, time_s, close, burst.frame_index)
            if isinstance(release, str):
                why = release if why == NO_THROW else why  # what the fastest moment says
                continue
            instant, change, ball = release
            one = _Seen(
                close=replace(close, ball=ball), release=instant, change=change, speed_m_s=burst.speed_m_s
            )
            if change.flight > FLIGHT_SEEN and change.evidence + change.flight >= CLEAR:
                return one.close, one.release
            seen.append(one)
    for one in _likeliest_first(seen):
        if not any(_back_in_hand(one, other, time_s) for other in closely):
            return one.close, one.release
    return STILL_HELD if seen else why


def fastest_moment(clip: Clip) -> float | None:
    """The frame index at which the wrist moves fastest; None where nothing moves as a throw does."""
    time_s, _ = _clock(clip)
    for coarse in _coarse_looks(clip, time_s):
        found = _wrist_bursts(coarse.arm, time_s)
        if found:
            return max(found, key=lambda burst: burst.speed_m_s).frame_index
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """A fast moment that was read closely, with its release."""

    close: Close
    release: ReleaseInstant
    change: Change
    speed_m_s: float


def _back_in_hand(one: _Seen, other: Close, time_s: Array) -> bool:
    """Whether the ball is seen in the hand again after a release.

    What was read near another moment tells of it only where it is plainly the same hand: the glove hand looks
    as if it held something, and an arm that has swung across the body is taken for the other one.
    """
    hand = other.hand
    same = hand.side == one.close.hand.side and not other.side_doubtful
    if hand is not one.close.hand and not same:
        return False
    return held_again(
        time_s[hand.frame_index], hand.held_probability, time_at(one.release.frame_index, time_s)
    )


def _likeliest_first(seen: list[_Seen]) -> list[_Seen]:
    if not seen:
        return []
    evidence = np.array([one.change.evidence for one in seen])
    flight = np.array([one.change.flight for one in seen])
    fast = np.log([min(one.speed_m_s / FAST_M_S, 1.0) for one in seen])
    return [seen[k] for k in np.argsort(-weighed(evidence, flight) - fast, kind="stable")]


def _coarse_looks(clip: Clip, time_s: Array) -> Iterator[Stretch]:
    """The arm where the packets tell of fast motion; where no throw was in it, in more and more of the clip.

    A clip that is hardly longer than a throw is looked through at once.
    """
    brief = time_s[-1] <= WHOLE_S
    windows = fast_windows(clip.packet_bytes, clip.keyframe, time_s, WHOLE_S if brief else BRACKET_S)
    (first, last), *others = [
        found for window in windows if (found := frames_between(time_s, window.start_s, window.end_s))
    ]
    likely, rest = others[:LIKELY], others[LIKELY:]
    if brief:
        seen = gone_through(clip, time_s, first, last)
    else:
        peak_s = windows[0].peak_s
        begun = max(first, min(int(np.searchsorted(time_s, peak_s - BEFORE_S)), last - coarse_step(time_s)))
        seen = gone_through(clip, time_s, begun, last, past_s=peak_s)
        likely = [(int(seen.arm.frame_index[-1]) + 1, last), (first, begun - 1), *likely]
    yield seen
    for some in (likely, rest):
        parts = [part for window in some if (part := _read_coarse(clip, time_s, *window))]
        if parts:
            seen = Stretch(arm=joined([seen.arm, *parts]), kept={}, full={})
            yield seen


def _read_coarse(clip: Clip, time_s: Array, first: int, last: int) -> ArmReading | None:
    """The arm alone; None where a window is shorter than the steps between looks."""
    from release.landmarks.infer_arm import read_arm

    step = coarse_step(time_s)
    first = -(-first // step) * step
    if first > last:
        return None
    frames = decode_every(clip, step, first=first, last=last, scale=small_scale(clip))
    return read_arm(frames.images, frames.index, frames.scale)


def _wrist_bursts(arm: ArmReading, time_s: Array) -> list[Burst]:
    shoulder, elbow, wrist = found_arm(arm)
    return bursts(arm.frame_index.astype(float), time_s[arm.frame_index], wrist, elbow, shoulder)


def _read_close(
    clip: Clip, time_s: Array, centre_frame: float, coarse: Stretch | None, settings: Settings
) -> Close:
    from release.landmarks.infer_hand import read_hand

    centre_s = time_at(centre_frame, time_s)
    index = close_frames(time_s, centre_s)
    arm = _rows_round(coarse.arm, index) if coarse is not None else None
    if coarse is None or arm is None:
        coarse = gone_through(clip, time_s, int(index[0]), int(index[-1]), centre_s=centre_s)
        arm = coarse.arm
    kept, full = dict(coarse.kept), dict(coarse.full)
    coarse.kept.clear()  # those of one moment are all that is held
    coarse.full.clear()
    if not set(index) <= set(kept):
        kept, full = kept_of(clip, index, arm), {}
    images = [kept[int(i)] for i in index]
    among = rows(arm, np.isin(arm.frame_index, index))
    side, doubtful = throwing_side(among) if settings.throws is None else (settings.throws, False)
    hand = read_hand(images, index, arm, side)
    ball = _ball(images, hand)
    return Close(frame_index=index, arm=among, hand=hand, side_doubtful=doubtful, ball=ball, full=full)


def _rows_round(coarse: ArmReading, index: NDArray[np.int64]) -> ArmReading | None:
    """What was read coarsely of some frames; None where they reach beyond it."""
    step = int(np.diff(coarse.frame_index).min(initial=index[-1]))
    near = (coarse.frame_index > index[0] - step) & (coarse.frame_index < index[-1] + step)
    if (
        not near.any()
        or index[0] <= coarse.frame_index[0] - step
        or index[-1] >= coarse.frame_index[-1] + step
    ):
        return None
    return rows(coarse, near)


def _release(
    clip: Clip, time_s: Array, close: Close, fastest_frame: float
) -> tuple[ReleaseInstant, Change, BallSeen] | str:
    """The release by the hand's frames with what was seen of the ball's leaving, or why there is none."""
    held, index = close.hand.held_probability, close.frame_index
    if np.mean(np.isfinite(held)) < HAND_SEEN:
        return NO_HAND
    span = Span(
        first=int(index[0]), last=int(index[-1]), n_frames=len(time_s), step=int(np.diff(index).min())
    )
    fastest_s = time_at(fastest_frame, time_s)
    shoulder, _, wrist = found_arm(close.arm)
    interval_s = float(np.median(np.diff(time_s)))
    seen = close.ball
    possible = flights(time_s[index], seen.held, seen.spots, seen.area)
    flight, which = possible.by_gap(len(index))
    change = leaving(
        index.astype(float),
        time_s[index],
        held,
        fastest_s=fastest_s,
        reach=np.interp(index, close.arm.frame_index, reach_share(wrist, shoulder)),
        flight=flight,
    )
    release, why = decide(
        change,
        span,
        held_near=held_round(time_s[index], held, fastest_s),
        fastest_frame=fastest_frame,
        interval_s=interval_s,
    )
    if release is None:
        return why or NO_THROW
    if change.flight > 0:  # even a weak one: the arm's path will tell whether it came from there
        flown, places = on_path(possible, int(which[change.gap]), time_s[index], seen.spots)
        seen = replace(seen, flown=index[flown], flight=places)
    return replace(release, time_s=true_time(clip, release.frame_index)), change, seen


def _ball(images: Sequence[Held], hand: HandReading) -> BallSeen:
    if not np.isfinite(hand.ball_radius_px).any():
        unseen = np.full((len(images), 2), np.nan)
        return BallSeen(held=unseen, spots=[np.empty((0, 2))] * len(images), area=1.0)
    radius_px, scale = float(np.nanmedian(hand.ball_radius_px)), images[0].scale
    hand_px = hand.points_px.reshape(-1, 2) * scale
    box = box_round(hand_px, radius_px * scale, *images[0].size)
    pictures = (picture.small.rgb() for picture in images)
    spots = [
        clear_of_arm(spots / (radius_px * scale), points / radius_px)
        for spots, points in zip(moving_spots(pictures, radius_px * scale, box), hand.points_px, strict=True)
    ]
    in_hand = np.nan_to_num(hand.held_probability) > HELD
    return BallSeen(
        held=np.where(in_hand[:, None], hand.points_px[:, BALL] / radius_px, np.nan),
        spots=spots,
        area=(box[2] - box[0]) * (box[3] - box[1]) / (radius_px * scale) ** 2,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Flown:
    """The ball in its first frames of flight."""

    frame_index: NDArray[np.int64]  # shape (k,): the last in the hand, then those in flight
    centre_px: Array  # shape (k, 2), NaN in the hand
    radius_px: Array  # shape (k,), as seen in the hand; NaN in flight, where blur stretches it


def flown_ball(clip: Clip, close: Close, release: ReleaseInstant) -> Flown | None:
    """The ball flying away from where it was released, whatever the clip's clock; None where unseen."""
    seen, index = close.ball, close.frame_index
    row = int(np.searchsorted(index, release.frame_index))
    near = slice(max(row - FLIGHT_NEAR, 0), row + FLIGHT_NEAR + 1)
    best, told = None, FLIGHT_SEEN
    for slowdown in SLOWDOWNS:
        time_s = clip.presentation_s[index] / slowdown
        possible = flights(time_s, seen.held, seen.spots, seen.area)
        evidence, which = possible.by_gap(len(index))
        gap = near.start + int(np.argmax(evidence[near]))
        if evidence[gap] > told and goes_on(possible, int(which[gap]), time_s, seen.held):
            told, best = evidence[gap], on_path(possible, int(which[gap]), time_s, seen.spots)
    if best is None:
        return None
    rows, places = best
    radius = close.hand.ball_radius_px
    held = np.flatnonzero(np.isfinite(seen.held[: rows[0], 0]))
    radius_px = float(np.nanmedian(radius[held[-FLIGHT_NEAR:]]))
    return Flown(
        frame_index=index[np.append(held[-1], rows)],
        centre_px=np.vstack([np.full((1, 2), np.nan), places * float(np.nanmedian(radius))]),
        radius_px=np.append(radius_px, np.full(len(rows), np.nan)),
    )


def true_time(clip: Clip, frame: float) -> float | None:
    """True time of a fractional frame; None where the clip's time base is unknown."""
    return None if clip.frame_time_s is None else time_at(frame, clip.frame_time_s)
