"""How a pitcher's ball follows the hand: the pitcher's own slopes, drawn toward other pitchers'.

The slopes come from the study step with the angle's measurement error accounted for. Pooling is by random
effects over pitchers (iterated Paule-Mandel, statsmodels); the pitcher's own slope is weighed against it by
its precision (normal with known variance: Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.5).
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from statsmodels.stats.meta_analysis import combine_effects

from release.stats.result import Slope
from release.suggest.result import BallResponse

LEAST_TOLD = 3.0  # standard errors from 0 that a slope must be for a ball to tell of the hand (our choice)
LEAST_OTHERS = 3  # pitchers whose slopes are pooled; fewer do not tell how pitchers differ (our choice)

Floats = NDArray[np.float64]


def pooled_slope(own: Slope | None, others: Sequence[Slope]) -> tuple[float, float]:
    """One pitcher's slope and its standard uncertainty, with the others' help.

    Returns:
        0 and 0 where nothing is known: the ball is not known to follow the hand.
    """
    mine = None if own is None else (own.slope, _sd(own))
    if len(others) < LEAST_OTHERS:
        return mine or (0.0, 0.0)
    slopes, sds = np.array([s.slope for s in others]), np.array([_sd(s) for s in others])
    pooled: Any = combine_effects(slopes, sds**2, method_re="iterated")
    centre, var = float(pooled.mean_effect_re), float(pooled.tau2 + pooled.sd_eff_w_re**2)
    if mine is None:
        return centre, float(np.sqrt(var))
    weight = np.array([1 / mine[1] ** 2, 1 / var])
    slope = float(weight @ [mine[0], centre] / weight.sum())
    return slope, float(1 / np.sqrt(weight.sum()))


def _sd(slope: Slope) -> float:
    return max((slope.high - slope.low) / (2 * 1.96), 1e-6)


def ball_response(
    hand_deg: Floats,
    hand_sd_deg: Floats,
    balls: Floats,
    usual: NDArray[np.bool_],
    uncued_deg: float,
    slopes: Sequence[tuple[float, float]],
) -> BallResponse:
    """The line of each ball figure on the hand, through the pitcher's usual ball.

    Args:
        hand_deg: Shape (n,), NaN where not measured.
        hand_sd_deg: Shape (n,).
        balls: Shape (n, 3), BALL_FIGURES; NaN where not measured.
        usual: Shape (n,), the throws made as usual.
        uncued_deg: The hand when nothing is tried.
        slopes: Slope and its standard uncertainty, one a figure.

    Returns:
        The usual ball is the mean of the usual throws, or where the line has it without such throws.
    """
    lines = [
        _line(hand_deg, hand_sd_deg, balls[:, i], usual, uncued_deg, slope)
        for i, (slope, _) in enumerate(slopes)
    ]
    at, scatter = (np.array(column) for column in zip(*lines, strict=True))
    return BallResponse(
        at_uncued=at,
        per_deg=np.array([slope for slope, _ in slopes]),
        per_deg_sd=np.array([sd for _, sd in slopes]),
        scatter_sd=scatter,
    )


def with_balls(own: pd.DataFrame, balls: Floats, ball: BallResponse) -> pd.DataFrame:
    """What each ball tells of the hand's turn from the usual, beside what was measured of the hand.

    Leaving it out would make the stated chances too high, since one goes on throwing only after balls that
    missed. The ball tells of the turn and not of the hand's level, which each session has its own.

    Args:
        own: One pitcher's throws.
        balls: Shape (n, 3), BALL_FIGURES; NaN where not measured.
        ball: How the ball follows the hand.

    Returns:
        The throws with `ball_turn_deg` and `ball_turn_sd_deg`, NaN where the ball tells nothing.
    """
    told = (np.abs(ball.per_deg) > LEAST_TOLD * ball.per_deg_sd) & (ball.scatter_sd > 0)
    off = np.where(told & np.isfinite(balls), balls - ball.at_uncued, np.nan)
    scale = np.where(told, ball.per_deg / np.where(told, ball.scatter_sd, 1.0) ** 2, 0.0)
    precision = np.where(np.isfinite(off), scale * ball.per_deg, 0.0).sum(axis=1)
    precision = np.where(precision > 0, precision, np.nan)
    turn = np.nansum(off * scale, axis=1) / precision
    return own.assign(ball_turn_deg=turn, ball_turn_sd_deg=1 / np.sqrt(precision))


def _line(
    hand: Floats, hand_sd: Floats, ball: Floats, usual: NDArray[np.bool_], uncued: float, slope: float
) -> tuple[float, float]:
    """The usual ball, and the scatter about the line with the angle's error taken out of it."""
    seen = np.isfinite(ball)
    both = seen & np.isfinite(hand)
    off = ball[both] - slope * hand[both] if slope else ball[seen]
    if (seen & usual).any():
        at = float(ball[seen & usual].mean())
    else:
        at = float(off.mean() + (slope * uncued if slope else 0.0)) if len(off) else float("nan")
    if len(off) < 3:
        return at, float("nan")
    var = float(off.var(ddof=min(2, len(off) - 1)))
    error = slope**2 * float(np.square(hand_sd[both]).mean()) if slope else 0.0
    return at, float(np.sqrt(max(var - error, var / 4)))  # never taken to be less than half of what is seen
