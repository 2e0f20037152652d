"""The release instant from all that was seen of it, or why there is none."""

from dataclasses import dataclass
from typing import Literal

from release.instant.ball import Change
from release.instant.result import ReleaseInstant

HELD_BEFORE = 0.6  # mean probability of held before the change, at least, for a ball in the hand
GONE_AFTER = 0.4  # and after it, at most
FRAMES_AFTER = 2.0  # a change this near to the clip's last frame is no change: the clip just ends
ARM_SD_S = 0.008  # how well the wrist's fastest moment tells the release without a ball
NO_THROW = "no throw in the clip"
ENDS_BEFORE = "the clip ends before the ball is released"
STARTS_AFTER = "the clip starts after the ball was released"
NO_HAND = "the throwing hand is not seen round the throw"


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Which part of the clip was looked at closely."""

    first: int  # frame index of the first frame read
    last: int
    n_frames: int  # in the whole clip
    step: int  # frames between neighbours read


def decide(
    change: Change, span: Span, *, fastest_frame: float, interval_s: float
) -> tuple[ReleaseInstant | None, str | None]:
    """The release, or the reason why there is none.

    Args:
        change: The most likely moment at which the ball left the hand.
        span: The frames it was looked for in.
        fastest_frame: Where the wrist is fastest.
        interval_s: Seconds between frames, true or assumed.

    Returns:
        The instant without its time (the pipeline knows the clock) and None, or None and the reason.
    """
    at_end = span.last >= span.n_frames - 1 - span.step
    at_start = span.first <= span.step
    held_before, gone_after = change.before >= HELD_BEFORE, change.after <= GONE_AFTER
    if held_before and gone_after and change.frame_index <= span.last - FRAMES_AFTER * span.step:
        return _instant(change.frame_index, change.sd_frames, "ball"), None
    if at_end and held_before:
        return None, ENDS_BEFORE
    if at_start and gone_after and not held_before:
        return None, STARTS_AFTER
    if at_start and fastest_frame <= span.first + span.step:
        return None, STARTS_AFTER
    if at_end and fastest_frame >= span.last - span.step:
        return None, ENDS_BEFORE
    return _instant(fastest_frame, ARM_SD_S / interval_s, "arm"), None


def _instant(frame: float, sd: float, source: Literal["ball", "arm"]) -> ReleaseInstant:
    return ReleaseInstant(frame_index=max(frame, 0.0), time_s=None, sd_frames=sd, source=source)
