"""The release instant from all that was seen of it, or why there is none."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.instant.ball import NEAR_S, Change
from release.instant.result import ReleaseInstant

# The ball is seen to be gone only when it is clear of the fingers: about a centimetre, which the slowing hand
# takes some 4 ms to fall behind (common practice, no source); so much may the reading be late.
CLEAR_OF_FINGERS_S = 0.003
# Evidence from which the ball is believed to have been seen leaving: of 69 rendered throws of people kept out
# of training 61 were then answered within four frames, 3 elsewhere and 5 refused; of 45 of them played
# almost to release and back again 33 were refused.
ENOUGH = 5.0
NEVER_HELD = 0.25  # mean probability of held near the wrist's fastest moment below which nothing is thrown
NO_THROW = "no throw in the clip"
STILL_HELD = "the ball is still in the hand afterwards: no throw in the clip"
# Guessing the release from the wrist's fastest moment was wrong each time where nothing was seen of the ball.
BALL_UNSEEN = "the ball is not seen leaving the hand; if this is a throw, choose its release frame yourself"
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
    change: Change, span: Span, *, held_near: float, fastest_frame: float, interval_s: float
) -> tuple[ReleaseInstant | None, str | None]:
    """The release, or the reason why there is none.

    Args:
        change: The most likely moment at which the ball left the hand.
        span: The frames it was looked for in.
        held_near: Mean probability of held round the wrist's fastest moment, see `held_round`.
        fastest_frame: Where the wrist is fastest.
        interval_s: Seconds between frames, true or assumed.

    Returns:
        The instant without its time (the pipeline knows the clock) and None, or None and the reason.
    """
    at_end = span.last >= span.n_frames - 1 - span.step
    at_start = span.first <= span.step
    if at_end and change.ends_before > 0.5:
        return None, ENDS_BEFORE
    if at_start and change.starts_after > 0.5:
        return None, STARTS_AFTER
    if change.evidence + change.flight >= ENOUGH:
        sd_frames = float(np.hypot(change.sd_frames, CLEAR_OF_FINGERS_S / interval_s))
        frame = max(change.frame_index, 0.0)
        return ReleaseInstant(frame_index=frame, time_s=None, sd_frames=sd_frames, source="ball"), None
    if held_near < NEVER_HELD:
        return None, NO_THROW
    if at_start and fastest_frame <= span.first + span.step:
        return None, STARTS_AFTER
    if at_end and fastest_frame >= span.last - span.step:
        return None, ENDS_BEFORE
    return None, BALL_UNSEEN


def held_round(time_s: NDArray[np.float64], held: NDArray[np.float64], fastest_s: float) -> float:
    """Mean probability of held within two reaches of the wrist's fastest moment; a half where unseen.

    Args:
        time_s, held: Shape (k,).
        fastest_s: When the wrist is fastest.
    """
    near = np.abs(time_s - fastest_s) <= 2 * NEAR_S
    return float(np.nan_to_num(held[near], nan=0.5).mean()) if near.any() else 0.5
