"""How presentation times turn into true times.

In:   presentation times of a clip, what the user says, what the container's tags say.
Out:  a `TimeBase`: presentation seconds per true second, or None where nothing tells.
Why:  a slowed and a real-time file may carry the same capture-rate tag; only tag and times together tell.
"""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from release.clip.result import TimeBase

# The Android media framework's key for the rate at which frames were captured; written into QuickTime-style
# `keys` metadata, so it appears in MP4 and MOV alike.
CAPTURE_RATE_TAGS = ("com.android.capture.fps",)
REAL_TIME_FPS = 100.0  # players show 24 to 60; a file stored faster than this is stored as it was captured
RAMP_RATIO = 3.0  # slow and fast intervals further apart than jitter or a dropped frame explains
SAME_SHARE = 0.05  # a capture rate this near to a whole multiple of the stored one agrees with it


def frame_interval_s(presentation_s: NDArray[np.float64]) -> tuple[float, bool]:
    """The time between neighbouring frames, and whether the clip is ramped (runs at two rates inside).

    Args:
        presentation_s: Shape (n,), non-decreasing; repeated times are passed over.

    Returns:
        Mean of the intervals near the median (dropped frames do not count, rounded stamps average out), of
        the fast part where ramped; NaN for fewer than two distinct times.
    """
    steps_s = np.diff(presentation_s)
    steps_s = steps_s[steps_s > 0]
    if not steps_s.size:
        return math.nan, False
    fast_s, slow_s = np.quantile(steps_s, [0.1, 0.9])
    ramped = bool(slow_s > RAMP_RATIO * fast_s)
    if ramped:
        steps_s = steps_s[steps_s < fast_s * RAMP_RATIO / 2]
    near = np.abs(steps_s / np.median(steps_s) - 1) < 0.5
    return float(np.mean(steps_s[near])), ramped


def tagged_fps(tags: Mapping[str, str]) -> float | None:
    """The capture rate that the container's metadata states; None where absent or not a rate."""
    for key in CAPTURE_RATE_TAGS:
        try:
            fps = float(tags[key])
        except (KeyError, ValueError):
            continue
        if math.isfinite(fps) and fps > 0:
            return fps
    return None


def time_base(
    presentation_s: NDArray[np.float64],
    *,
    slowdown: float | None = None,
    capture_fps: float | None = None,
    tags: Mapping[str, str] | None = None,
) -> TimeBase:
    """Decide the time base from the best evidence there is.

    Order: what the user states, the capture-rate tag, the presentation times themselves.

    Args:
        presentation_s: Shape (n,), non-decreasing.
        slowdown: Presentation seconds per true second as the user states it.
        capture_fps: Frames per true second as the user states it; not together with `slowdown`.
        tags: The container's metadata.

    Raises:
        ValueError: both or an impossible value stated.
    """
    if slowdown is not None and capture_fps is not None:
        raise ValueError("state the slowdown or the capture rate, not both")
    for stated in (slowdown, capture_fps):
        if stated is not None and not (math.isfinite(stated) and stated > 0):
            raise ValueError(f"a slowdown or capture rate is a positive number, not {stated}")
    interval_s, ramped = frame_interval_s(presentation_s)
    stored_fps = 1 / interval_s
    if slowdown is not None:
        return TimeBase(slowdown=slowdown, source="stated", why=f"Stated: slowed {slowdown:g} times.")
    if math.isnan(interval_s):
        return TimeBase(
            slowdown=None, source="unknown", why="Unknown: with fewer than two frame times there is no rate."
        )
    if capture_fps is not None:
        factor = _whole(capture_fps / stored_fps)
        why = f"Stated: captured at {capture_fps:g} frames a second, stored at {stored_fps:.4g}."
        return TimeBase(slowdown=factor, source="stated", why=why)
    return _from_file(stored_fps, ramped, tagged_fps(tags or {}))


def _from_file(stored_fps: float, ramped: bool, tag_fps: float | None) -> TimeBase:
    rates = (
        f"up to {stored_fps:.4g} frames a second inside" if ramped else f"{stored_fps:.4g} frames a second"
    )
    if tag_fps is not None:
        ratio = tag_fps / stored_fps
        agrees = abs(ratio - round(ratio)) < SAME_SHARE * ratio and round(ratio) >= 1
        if agrees and (not ramped or round(ratio) == 1):
            how = "so it plays in real time" if round(ratio) == 1 else f"so it plays {ratio:.3g} times slowed"
            why = f"The file says it was captured at {tag_fps:g} frames a second and stores {rates}, {how}."
            return TimeBase(slowdown=_whole(ratio), source="metadata", why=why)
        why = (
            f"Unknown: the file says it was captured at {tag_fps:g} frames a second but stores {rates}, "
            "which do not go together. State the capture rate."
        )
        return TimeBase(slowdown=None, source="unknown", why=why)
    if stored_fps >= REAL_TIME_FPS:
        why = f"The file stores {rates}, which only real time explains."
        return TimeBase(slowdown=1.0, source="presentation times", why=why)
    why = (
        f"Unknown: the file stores {rates} and does not say at what rate it was captured. State the capture "
        "rate to get times in seconds; angles do not need it."
    )
    return TimeBase(slowdown=None, source="unknown", why=why)


def _whole(ratio: float) -> float:
    """1 where the rates agree; else the ratio, freed of the noise of floating point."""
    return 1.0 if abs(ratio - 1) < SAME_SHARE else round(ratio, 6)
