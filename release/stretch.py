"""Goes through a stretch of a clip once: the arm in every few frames, and pictures round its fastest moment.

In:   a clip and the frames between which to look.
Out:  where the arm was, and what the hand can be read from without decoding those frames again.
Why:  a frame costs more to decode than to look at, and the key frame it hangs on may lie a second before.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.clip.result import Clip
from release.frames.decode import Reduced, Stored, stored
from release.frames.window import time_at
from release.instant.arm import Burst, fastest
from release.landmarks.result import ArmReading
from release.landmarks.track import squares_round
from release.landmarks.view import Held

Array = NDArray[np.float64]

SMALL_PX = 640  # longer side of the pictures in which the arm is looked for
COARSE_S = 0.012  # between them
# Pictures are kept from so long before the wrist's fastest moment until so long after it.
KEPT_BEFORE_S, KEPT_AFTER_S = 0.12, 0.1
KNOWN_LATER_S = 2 * COARSE_S  # that the wrist was fastest then is known so much later
FAST_M_S = 20.0  # from this speed of the wrist on, in the picture, a fast moment looks like a throw
# So fast a wrist ends the go once it and the packets' peak lie behind: of 70 own throws three in four are
# faster in the picture, and in none of those was a later moment faster still. With 5 m/s five had one.
ENDS_M_S = 10.0
FINE_FRAMES = 66  # at most about so many are kept round it
FOUND = 0.5  # probability from which on an arm is taken to be there
FULL_BYTES = 24_000_000  # of frames kept at full size: at 1080p those within 14 ms, as most releases are
STEADY = 16  # readings of the arm tell where the hand's squares lie


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """What was seen in one go."""

    arm: ArmReading  # in every few frames
    kept: dict[int, Held]  # by frame index
    full: dict[int, Stored]  # those next to the moment, for the picture of the release


def small_scale(clip: Clip) -> float:
    """Pixels of the small pictures per full-resolution pixel."""
    return min(SMALL_PX / max(clip.width_px, clip.height_px), 1.0)


def coarse_step(time_s: Array) -> int:
    """The arm is looked for in the frames whose index is a multiple of this."""
    return max(round(COARSE_S / float(np.median(np.diff(time_s)))), 1)


def close_frames(time_s: Array, centre_s: float) -> NDArray[np.int64]:
    """Frames round a moment in which the hand is read; where the arm is looked for, the hand is too."""
    first, after = np.searchsorted(time_s, [centre_s - KEPT_BEFORE_S, centre_s + KEPT_AFTER_S])
    return np.array(_fine(time_s, int(first), min(int(after), len(time_s) - 1)), np.int64)


def _fine(time_s: Array, first: int, last: int) -> range:
    coarse, about = coarse_step(time_s), (KEPT_BEFORE_S + KEPT_AFTER_S) / float(np.median(np.diff(time_s)))
    step = next(s for s in range(1, coarse + 1) if coarse % s == 0 and s >= min(about / FINE_FRAMES, coarse))
    return range(-(-first // step) * step, last + 1, step)


def gone_through(
    clip: Clip,
    time_s: Array,
    first: int,
    last: int,
    *,
    centre_s: float | None = None,
    past_s: float = np.inf,
) -> Stretch:
    """Look for the arm from one frame to another, keeping pictures round a moment.

    Args:
        time_s: True time of every frame of the clip.
        first, last: At least COARSE_S apart.
        centre_s: The moment; None: where the wrist is fastest.
        past_s: Once this and a wrist as fast as in a throw lie KEPT_AFTER_S behind, it ends.
    """
    from release.landmarks.infer_arm import follow_arm

    scale, step, frames = small_scale(clip), coarse_step(time_s), _fine(time_s, first, last)
    arm, looks = None, []
    kept, full, waiting = dict[int, Held](), dict[int, Stored](), list[tuple[Stored, Reduced]]()
    near_s, enough = -np.inf if centre_s is None else centre_s, False

    def seen_enough() -> bool:
        return enough

    for frame in stored(clip, frames, enough=seen_enough):
        small = frame.whole(scale)
        waiting.append((frame, small))
        if frame.index % step == 0:
            found = follow_arm(small.rgb(), frame.index, scale, looks)
            arm = found if arm is None else joined([arm, found])
        elif frame.index < frames[-1]:
            continue
        newest = None if arm is None else rows(arm, slice(-STEADY, None))
        if arm is not None and newest is not None and (newest.found_probability > FOUND).any():
            kept |= _reduced(clip, waiting, newest)
            full |= {frame.index: frame for frame, _ in waiting}
            if centre_s is None and (burst := _fastest(arm, time_s)) is not None:
                near_s = time_at(burst.frame_index, time_s)
                behind = time_s[frame.index] - max(near_s, past_s) > KEPT_AFTER_S
                enough = bool(behind) and burst.speed_m_s >= ENDS_M_S
            kept, full = _near(kept, time_s, frame.index, near_s), _nearest(full, clip, time_s, near_s)
        waiting.clear()
    assert arm is not None
    near = close_frames(time_s, near_s).tolist()
    return Stretch(arm=arm, kept={i: kept[i] for i in near if i in kept}, full=full)


def kept_of(clip: Clip, index: NDArray[np.int64], arm: ArmReading) -> dict[int, Held]:
    """Some frames in a go of its own, where the arm is known already."""
    frames = ((frame, frame.whole(small_scale(clip))) for frame in stored(clip, index))
    return {i: kept for frame in frames for i, kept in _reduced(clip, [frame], arm)}


def _reduced(
    clip: Clip, frames: Sequence[tuple[Stored, Reduced]], arm: ArmReading
) -> Iterator[tuple[int, Held]]:
    index, scale = np.array([frame.index for frame, _ in frames]), small_scale(clip)
    squares = squares_round(arm, index, clip.width_px, clip.height_px)
    for (frame, small), square in zip(frames, squares, strict=True):
        yield (
            frame.index,
            Held(small=small, scale=scale, square=square, sharp=frame.part(square)),
        )


def _near(kept: dict[int, Held], time_s: Array, newest: int, centre_s: float) -> dict[int, Held]:
    """Those near the moment, and those that may be near a faster one yet to come."""
    fresh_s, near = time_s[newest] - KEPT_BEFORE_S - KNOWN_LATER_S, close_frames(time_s, centre_s)
    return {i: k for i, k in kept.items() if time_s[i] >= fresh_s or near[0] <= i <= near[-1]}


def _nearest(full: dict[int, Stored], clip: Clip, time_s: Array, centre_s: float) -> dict[int, Stored]:
    most = FULL_BYTES // (clip.width_px * clip.height_px * 3 // 2)
    return {i: full[i] for i in sorted(full, key=lambda i: abs(time_s[i] - centre_s))[:most]}


def _fastest(arm: ArmReading, time_s: Array) -> Burst | None:
    shoulder, elbow, wrist = found_arm(arm)
    return fastest(arm.frame_index.astype(float), time_s[arm.frame_index], wrist, elbow, shoulder)


def found_arm(arm: ArmReading) -> Array:
    """Shoulder, elbow and wrist, shape (3, k, 2); NaN where the arm is not found."""
    found = (arm.found_probability > FOUND)[:, None, None]
    return np.moveaxis(np.where(found, arm.points_px, np.nan), 1, 0)


def rows(arm: ArmReading, which: slice | NDArray[np.bool_]) -> ArmReading:
    """Some of the frames."""
    return ArmReading(**{n: getattr(arm, n)[which] for n in ArmReading.__dataclass_fields__})


def joined(parts: Sequence[ArmReading]) -> ArmReading:
    """All frames of several readings, in their order."""
    order = np.argsort(np.concatenate([part.frame_index for part in parts]))
    return ArmReading(
        **{n: np.concatenate([getattr(p, n) for p in parts])[order] for n in ArmReading.__dataclass_fields__}
    )
