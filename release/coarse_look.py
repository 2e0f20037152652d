"""Where in a clip the arm moves fast: looked for where the packets tell of motion, then in all of it.

In:   a clip.
Out:  the arm in every few frames of it, with the pictures round its fastest moment where they were kept.
"""

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from release.clip.result import Clip
from release.frames.bracket import fast_windows
from release.frames.decode import decode_every
from release.frames.window import frames_between
from release.landmarks.moving import moving_only
from release.landmarks.result import ArmReading
from release.stretch import Stretch, coarse_step, gone_through, joined, small_scale

Array = NDArray[np.float64]

WHOLE_S = 1.5  # a clip up to this long is looked through at once
BRACKET_S = 0.3  # to both sides of where the packets tell of fast motion
# The go through the first of them begins so long before the packets' peak: on 220 own throws the release came
# 0.08 s before it at the earliest.
BEFORE_S = 0.2
LIKELY = 2  # more such places are looked at before all the clip is


def coarse_looks(clip: Clip, time_s: Array) -> Iterator[Stretch]:
    """The arm where the packets tell of fast motion; where no throw was in it, in more and more of the clip.

    A clip that is hardly longer than a throw is looked through at once.
    """
    ((first, last), *others), peak_s = _windows(clip, time_s)
    likely, rest = others[:LIKELY], others[LIKELY:]
    if time_s[-1] <= WHOLE_S:
        seen = gone_through(clip, time_s, first, last)
    else:
        begun = max(first, min(int(np.searchsorted(time_s, peak_s - BEFORE_S)), last - coarse_step(time_s)))
        seen = gone_through(clip, time_s, begun, last, past_s=peak_s)
        likely = [(int(seen.arm.frame_index[-1]) + 1, last), (first, begun - 1), *likely]
    yield seen
    for some in (likely, rest):
        parts = [part for window in some if (part := _read_coarse(clip, time_s, *window))]
        if parts:
            seen = Stretch(arm=joined([seen.arm, *parts]), kept={}, full={})
            yield seen


def moving_look(clip: Clip, time_s: Array) -> Stretch:
    """The arm where the packets tell of fast motion most, in pictures of what moves alone."""
    arm = _read_coarse(clip, time_s, *_windows(clip, time_s)[0][0], seen=moving_only)
    assert arm is not None
    return Stretch(arm=arm, kept={}, full={})


def _windows(clip: Clip, time_s: Array) -> tuple[list[tuple[int, int]], float]:
    """First and last frames of stretches that cover the clip, where most moves first; and when it most does.

    A brief clip is one.
    """
    half_s = WHOLE_S if time_s[-1] <= WHOLE_S else BRACKET_S
    windows = fast_windows(clip.packet_bytes, clip.keyframe, time_s, half_s)
    found = (frames_between(time_s, window.start_s, window.end_s) for window in windows)
    return [frames for frames in found if frames], windows[0].peak_s


def _read_coarse(
    clip: Clip,
    time_s: Array,
    first: int,
    last: int,
    seen: Callable[[NDArray[np.uint8]], NDArray[np.uint8]] = lambda images: images,
) -> ArmReading | None:
    """The arm alone; None where a window is shorter than the steps between looks."""
    from release.landmarks.infer_arm import read_arm

    step = coarse_step(time_s)
    first = -(-first // step) * step
    if first > last:
        return None
    frames = decode_every(clip, step, first=first, last=last, scale=small_scale(clip))
    return read_arm(seen(frames.images), frames.index, frames.scale)
