"""When the ball leaves the hand, from how surely each frame shows it held and from where it is seen to fly.

In:   the calibrated probability, frame by frame, that the ball touches the hand; where the wrist is fastest;
      how much speaks for a ball that flies away.
Out:  the release as a fractional frame index with its standard uncertainty, and how much speaks for it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TINY = np.finfo(float).tiny
SURE = 0.02  # no single frame is believed further than this
NEAR_S = 0.05  # only frames this near tell: earlier the body hides the ball, later the hand is elsewhere
ALIKE_S = 0.0125  # frames so near err alike, and say together as much as one
STRETCHED = 4  # power of the arm's reach: stretched to 0.7 of its longest, a release is a quarter as likely
EMPTY = np.log(10)  # log odds against an arm that moves so fast with an empty hand (assumed)
DECEIVED = np.log(1000)  # log odds against the hand's frames misleading as a whole (assumed)
AGAIN, AGAIN_S = 0.8, 0.05  # mean probability of held, and for how long, that show the ball in the hand again
FASTEST_SD_S = 0.03  # from release to the wrist's fastest moment in the picture; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change from held to gone."""

    frame_index: float
    sd_frames: float
    gap: int  # it lies before this row of the frames, or near there
    evidence: float  # log of the odds against a ball that stays held and a hand that is empty; 3 is 20 to 1
    flight: float  # the same for a ball that is seen to fly away; 0 where none is
    starts_after: float  # probability that the ball is gone from the first frame on
    ends_before: float  # probability that it is held to the last one


def leaving(
    frame_index: Array, time_s: Array, held: Array, *, fastest_s: float, reach: Array, flight: Array
) -> Change:
    """The moment of change that explains the frames near it best.

    Every gap between two frames is weighed by the probability of the frames just before it being held and
    those just after it gone. Which change is meant is settled with neighbouring frames taken as alike, by how
    near the wrist's fastest moment is, how far the arm is stretched, and what is seen to fly away. Where in
    it the release lies is told by each frame for itself: evenly in its gap, so that a calibrated probability
    of a half in one frame moves the answer to that frame, and the spread over gaps is the uncertainty. A gap
    with hardly a frame on one side tells of no change, only that the ball is still held, or gone already.
    That it left at all is told against the ball being held all the while near the chosen gap, and against the
    hand being empty all the while, as another person's is. A gap after which the ball is seen in the hand for
    a while is none.

    Args:
        frame_index, time_s: Shape (k,), increasing, k > 2.
        held: Shape (k,), probabilities; NaN counts as a half.
        fastest_s: When the wrist is fastest.
        reach: Shape (k,), see `arm.reach_share`.
        flight: Shape (k + 1,), for every gap, see `flight.Flights.by_gap`.
    """
    k, step_s = len(time_s), float(np.median(np.diff(time_s)))
    p = np.clip(np.nan_to_num(held, nan=0.5), SURE, 1 - SURE)
    total = np.concatenate([[0], np.cumsum(np.log(p / (1 - p)))])
    gap, n_near = np.arange(k + 1), max(round(NEAR_S / step_s), 2)
    before, after = np.maximum(gap - n_near, 0), np.minimum(gap + n_near, k)
    change = 2 * total[gap] - total[before] - total[after]  # log odds against frames that tell nothing
    alike = max(ALIKE_S / step_s, 1.0)
    edges = _edges(time_s)
    middle_s = (edges[1:] + edges[:-1]) / 2
    prior = np.exp(-0.5 * ((middle_s - fastest_s) / FASTEST_SD_S) ** 2)
    prior *= np.interp(middle_s, time_s, reach) ** STRETCHED
    told = np.log(np.maximum(prior / max(prior.sum(), TINY), TINY)) + change / alike
    inside = (gap >= n_near / 2) & (gap <= k - n_near / 2)
    inside &= ~held_again(time_s, held, middle_s) | ~inside.any()
    weight = np.exp(told + flight)
    early, within, late = (
        max(float(weight[part].sum()), TINY) for part in (gap < n_near / 2, inside, gap > k - n_near / 2)
    )
    chosen = int(np.argmax(np.where(inside, weighed(told, flight), -np.inf)))
    near = inside & (np.abs(gap - chosen) <= n_near / 2)
    stays = float(total[after[chosen]] - total[before[chosen]]) / alike
    stays = max(stays, -stays - EMPTY, 0.0)
    mean, sd = _placed(frame_index, np.where(near, total[gap], -np.inf))
    return Change(
        frame_index=mean,
        sd_frames=sd,
        gap=chosen,
        evidence=float(np.log(np.exp(told[near]).sum())) - stays,
        flight=float(flight[chosen]),
        starts_after=early / (early + within + late),
        ends_before=late / (early + within + late),
    )


def held_again(time_s: Array, held: Array, after_s: Array) -> NDArray[np.bool_]:
    """Whether the ball is seen in the hand for a while that begins after some moments.

    Args:
        time_s: Shape (k,), increasing.
        held: Shape (k,), probabilities; NaN where the hand is not seen, which tells nothing.
        after_s: Shape (n,).

    Returns:
        Shape (n,).
    """
    sure, last_s = np.nan_to_num(held, nan=0.5), -np.inf
    for start in time_s[: np.searchsorted(time_s, time_s[-1] - AGAIN_S, side="right")]:
        if sure[(time_s >= start) & (time_s <= start + AGAIN_S)].mean() >= AGAIN:
            last_s = start
    return last_s > after_s


def weighed(evidence: Array, flight: Array) -> Array:
    """How much speaks for each of several changes, where what is told of the hand may mislead as a whole.

    Args:
        evidence, flight: Shape (n,), as in `Change`.
    """
    return np.logaddexp(evidence, evidence.max() - DECEIVED) + flight


def _placed(frame_index: Array, change: Array) -> tuple[float, float]:
    """Mean and standard deviation over the gaps, each weighed by its log odds and its width."""
    edges = _edges(frame_index)
    middle, width = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    share = width * np.exp(change - change.max())
    share /= share.sum()
    mean = float(share @ middle)
    return mean, float(np.sqrt(share @ ((middle - mean) ** 2 + width**2 / 12)))


def _edges(at: Array) -> Array:
    """The frames as bounds of the gaps between them, with one more at either end."""
    return np.concatenate([[2 * at[0] - at[1]], at, [2 * at[-1] - at[-2]]])
