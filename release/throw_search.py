"""Finds the throw in a clip and its release: a coarse look for fast moments, then a close one at each."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from release.clip.result import Clip
from release.coarse_look import coarse_looks, moving_look
from release.frames.decode import Stored
from release.frames.window import time_at
from release.instant.arm import SLOWEST_THROW_M_S, Burst, bursts, reach_share
from release.instant.ball import NEAR_S, Change, held_again, leaving, weighed
from release.instant.detect import ENOUGH, NO_HAND, NO_THROW, STILL_HELD, Span, decide, held_round
from release.instant.flight import flights, on_path
from release.instant.one_hand import hands, in_picture
from release.instant.result import ReleaseInstant
from release.landmarks.result import ArmReading, HandReading, only
from release.landmarks.side import throwing_side
from release.landmarks.track import WRIST
from release.orientation.arm_fit import Begun
from release.seen_ball import FLIGHT_SEEN, BallSeen, ball_seen
from release.settings import Settings
from release.stretch import (
    FAST_M_S,
    KEPT_BEFORE_S,
    Stretch,
    close_frames,
    found_arm,
    gone_through,
    kept_of,
    rows,
)

Array = NDArray[np.float64]

SLOWDOWNS = (1.0, 4.0, 8.0)  # tried where the time base is unknown: phones store these
CAPTURE_FPS = (100.0, 1000.0)  # what phones capture throws at
CHOSEN_SD_FRAMES = 0.3  # a person picks the nearest frame: even within half a frame to both sides
# Share of the slowest throw's speed, read from where no faster moment shows a release: seen from
# nearly where it is thrown to, a throw moves so little in the picture.
END_ON = 0.6
BURSTS = 6  # as many fast moments of the wrist are read closely at most, the fastest first
CLEAR = 12.0  # evidence, with a flight seen, so clear that nothing else is looked at
LEAST_FRAMES = 8  # to both sides of release, however slow the clock
TOO_SHORT = f"the clip has fewer than {LEAST_FRAMES} frames: too few to show a throw"
HAND_SEEN = 0.3  # share of frames round release in which the hand must be found


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """The frames round a throw, read closely."""

    frame_index: NDArray[np.int64]  # shape (k,), increasing
    arm: ArmReading  # in every few of them
    hand: HandReading
    side_doubtful: bool  # whether it is the other arm that throws, for all that is seen
    ball: BallSeen
    full: dict[int, Stored]  # some frames at full size, by index: until the picture is taken
    begun: Mapping[float, Begun] = field(default_factory=dict)  # by slowdown, once an arm was fitted to them
    told: ReleaseInstant | None = None  # by the hand's frames, once the arm's path has refined it


def likely_clock(clip: Clip) -> tuple[Array, bool]:
    """True times, and whether they are known: else as if slowed to the likeliest rate, 240 a second."""
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
    if settings.release_frame is not None:
        return _chosen(clip, likely_clock(clip)[0], settings.release_frame, settings)
    found = _looked_for(clip, settings)
    if isinstance(found, str) or settings.throws is not None:
        return found
    # The hand was read as that of the arm which seemed to throw at the wrist's fastest moment.
    close, release = found
    time_s, _ = likely_clock(clip)
    side, doubtful = throwing_side(until(close.arm, time_s, time_at(release.frame_index, time_s)))
    if side != close.hand.side and not doubtful:
        found = _looked_for(clip, replace(settings, throws=side))
        if isinstance(found, str):
            return found
        close, release = found
    return replace(close, side_doubtful=doubtful), release


def _looked_for(clip: Clip, settings: Settings) -> tuple[Close, ReleaseInstant] | str:
    time_s, known = likely_clock(clip)
    slowest = SLOWEST_THROW_M_S if known else SLOWEST_THROW_M_S / SLOWDOWNS[-1]
    found = _searched(clip, time_s, _looks(clip, time_s, slowest), settings)
    if not isinstance(found, str) or found == STILL_HELD:
        return found
    # Perhaps another person was looked at, who stands still. A second try finds chance flights more easily.
    looks = iter([(moving_look(clip, time_s), END_ON * slowest)])
    moving = _searched(clip, time_s, looks, settings, least_evidence=ENOUGH)
    return found if isinstance(moving, str) else moving


def _searched(
    clip: Clip,
    time_s: Array,
    looks: Iterator[tuple[Stretch, float]],
    settings: Settings,
    *,
    least_evidence: float = -np.inf,
) -> tuple[Close, ReleaseInstant] | str:
    """The throw by the fast moments of coarse looks; those for slower ones are taken where none was found.

    Args:
        least_evidence: So much must the hand's own frames tell, whatever is seen to fly.
    """
    seen, why, closely = list[tuple[_Seen, ReleaseInstant]](), NO_THROW, dict[float, Close]()
    before_m_s = 0.0
    for coarse, least_m_s in looks:
        if seen and least_m_s < before_m_s:
            break
        before_m_s = least_m_s
        found = [b for b in _wrist_bursts(coarse.arm, time_s) if b.frame_index not in closely]
        waiting = [b for b in found if b.speed_m_s >= least_m_s]
        for _ in range(BURSTS):
            if not waiting:
                break
            burst = waiting.pop(0)
            one, release = _release(
                clip, time_s, _read_close(clip, time_s, burst.frame_index, coarse, settings), burst
            )
            if not isinstance(release, str) and _clear(one.change, least_evidence):
                return one.close, release
            one.close.full.clear()  # seven whole frames take 24 MB, and the picture can be decoded anew
            closely[burst.frame_index] = one.close
            waiting += [end for end in _beyond(one, time_s, closely) if end not in waiting]
            if isinstance(release, str):
                why = release if why == NO_THROW else why  # what the fastest moment says
            elif one.change.evidence >= least_evidence:
                seen.append((one, release))
    for one, release in _likeliest_first(seen):
        if not any(_back_in_hand(one.close, release, other, time_s) for other in closely.values()):
            return one.close, release
    return STILL_HELD if seen else why


def _chosen(
    clip: Clip, time_s: Array, frame: float, settings: Settings
) -> tuple[Close, ReleaseInstant] | str:
    """The throw at a release that a person chose; or why it cannot be measured."""
    close = _read_close(clip, time_s, frame, None, settings)
    if not settings.pins and not _hand_seen(close.hand):
        return NO_HAND
    return close, ReleaseInstant(
        frame_index=frame,
        time_s=true_time(clip, frame),
        sd_frames=CHOSEN_SD_FRAMES,
        source="chosen by hand",
    )


def fastest_moment(clip: Clip) -> float | None:
    """The frame index at which the wrist moves fastest; None where nothing moves as a throw does."""
    time_s, _ = likely_clock(clip)
    for coarse in coarse_looks(clip, time_s):
        found = _wrist_bursts(coarse.arm, time_s)
        if found:
            return max(found, key=lambda burst: burst.speed_m_s).frame_index
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """A moment that was read closely."""

    close: Close  # with the frames of one hand alone
    change: Change
    burst: Burst


def _clear(change: Change, least_evidence: float) -> bool:
    """Whether a release is so plain that nothing else is looked at."""
    seen = change.evidence >= least_evidence and change.flight > FLIGHT_SEEN
    return seen and change.evidence + change.flight >= CLEAR


def _beyond(one: _Seen, time_s: Array, read: Iterable[float]) -> list[Burst]:
    """The ends of the frames read beyond which the ball left, by what they show, where none was read yet.

    An arm seen along its swing, or lost and found again, may look faster well before or after it throws.
    """
    index, step = one.close.frame_index, int(np.diff(one.close.frame_index).min())
    at, change = time_s[index], one.change
    left_s = at[min(change.gap, len(at) - 1)]
    ends = []
    if index[0] > step and (change.starts_after > 0.5 or left_s - at[0] < NEAR_S):
        ends.append(float(index[0]))
    if index[-1] < len(time_s) - 1 - step and (change.ends_before > 0.5 or at[-1] - left_s < NEAR_S):
        ends.append(float(index[-1]))
    read_s = np.array([time_at(frame, time_s) for frame in read])
    new = [end for end in ends if np.abs(read_s - time_at(end, time_s)).min() > KEPT_BEFORE_S / 2]
    return [Burst(frame_index=end, speed_m_s=one.burst.speed_m_s) for end in new]


def _back_in_hand(one: Close, release: ReleaseInstant, other: Close, time_s: Array) -> bool:
    """Whether the ball is seen in the hand again after a release.

    What was read near another moment tells of it only where it is plainly the same hand: the glove hand looks
    as if it held something, and an arm that has swung across the body is taken for the other one.
    """
    hand = other.hand
    same = hand.side == one.hand.side and not other.side_doubtful
    if hand is not one.hand and not same:
        return False
    later_s = np.array([time_at(release.frame_index, time_s) + NEAR_S])
    return bool(held_again(time_s[hand.frame_index], hand.held_probability, later_s)[0])


def _likeliest_first(seen: list[tuple[_Seen, ReleaseInstant]]) -> list[tuple[_Seen, ReleaseInstant]]:
    if not seen:
        return []
    evidence = np.array([one.change.evidence for one, _ in seen])
    flight = np.array([one.change.flight for one, _ in seen])
    fast = np.log([min(one.burst.speed_m_s / FAST_M_S, 1.0) for one, _ in seen])
    return [seen[k] for k in np.argsort(-weighed(evidence, flight) - fast, kind="stable")]


def _looks(clip: Clip, time_s: Array, slowest_m_s: float) -> Iterator[tuple[Stretch, float]]:
    """Each coarse look with the least speed that counts in it; the last one once more, for slower throws."""
    coarse = None
    for coarse in coarse_looks(clip, time_s):
        yield coarse, slowest_m_s
    if coarse is not None:
        yield coarse, END_ON * slowest_m_s


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
    side, doubtful = settings.throws, False
    if side is None:
        side, doubtful = throwing_side(until(among, time_s, centre_s))
    hand = read_hand(images, index, arm, side)
    ball = ball_seen(images, hand)
    return Close(frame_index=index, arm=among, hand=hand, side_doubtful=doubtful, ball=ball, full=full)


def until(arm: ArmReading, time_s: Array, at_s: float) -> ArmReading:
    """What was read until soon after a throw's fastest moment: the arm then swings across the body.

    Args:
        time_s: Of all frames of the clip.
        at_s: That moment, or the release.
    """
    early = time_s[arm.frame_index] <= at_s + NEAR_S
    return rows(arm, early) if early.any() else arm


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


def _release(clip: Clip, time_s: Array, close: Close, burst: Burst) -> tuple[_Seen, ReleaseInstant | str]:
    """The release by the frames of the hand that shows one likeliest, or why there is none."""
    hand, index = close.hand, close.frame_index
    seen = in_picture(hand.points_px[:, WRIST:], clip.width_px, clip.height_px)
    hand = replace(hand, held_probability=np.where(seen, hand.held_probability, np.nan))
    fastest_s = time_at(burst.frame_index, time_s)
    ways = [_leaving(time_s, one, fastest_s) for one in _each_hand(time_s, replace(close, hand=hand))]
    evidence, flight = (np.array([getattr(way[1], n) for way in ways]) for n in ("evidence", "flight"))
    one, change = ways[int(np.argmax(weighed(evidence, flight)))]
    release, why = decide(
        change,
        Span(first=int(index[0]), last=int(index[-1]), n_frames=len(time_s), step=int(np.diff(index).min())),
        held_near=held_round(time_s[index], hand.held_probability, fastest_s),
        fastest_frame=burst.frame_index,
        interval_s=float(np.median(np.diff(time_s))),
    )
    if not _hand_seen(close.hand):
        release, why = None, NO_HAND
    if release is not None:
        release = replace(release, time_s=true_time(clip, release.frame_index))
    return _Seen(close=one, change=change, burst=burst), release or why or NO_THROW


def _hand_seen(hand: HandReading) -> bool:
    return bool(np.mean(np.isfinite(hand.held_probability)) >= HAND_SEEN)


def _each_hand(time_s: Array, close: Close) -> list[Close]:
    """The same with the frames of one hand alone, for each that may have been taken for the throwing one."""
    if not np.isfinite(close.hand.ball_radius_px).any():
        return [close]
    wrist = close.hand.points_px[:, WRIST] / close.ball.radius_px
    which = hands(time_s[close.frame_index], wrist)
    return [
        replace(
            close,
            hand=only(close.hand, which == n),
            ball=replace(close.ball, held=np.where((which == n)[:, None], close.ball.held, np.nan)),
        )
        for n in range(which.max() + 1)
    ]


def _leaving(time_s: Array, close: Close, fastest_s: float) -> tuple[Close, Change]:
    """How likely the ball leaves the hand that is seen, and where it then flies."""
    index, ball = close.frame_index, close.ball
    shoulder, _, wrist = found_arm(close.arm)
    possible = flights(time_s[index], ball.held, ball.spots, ball.area)
    flight, which = possible.by_gap(len(index))
    change = leaving(
        index.astype(float),
        time_s[index],
        close.hand.held_probability,
        fastest_s=fastest_s,
        reach=np.interp(index, close.arm.frame_index, reach_share(wrist, shoulder)),
        flight=flight,
    )
    if change.flight > 0:  # even a weak one: the arm's path will tell whether it came from there
        flown, places = on_path(possible, int(which[change.gap]), time_s[index], ball.spots)
        close = replace(close, ball=replace(ball, flown=index[flown], flight=places))
    return close, change


def true_time(clip: Clip, frame: float) -> float | None:
    """True time of a fractional frame; None where the clip's time base is unknown."""
    return None if clip.frame_time_s is None else time_at(frame, clip.frame_time_s)
