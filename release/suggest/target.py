"""The wanted ball: how far each throw is from it, whether that shrinks, and whose scatter it is.

In:   balls, shape (n, 3), BALL_FIGURES; NaN where a figure was not measured.
Out:  distances in tolerances: at most 1 is inside the window.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.stats import theilslopes

from release.suggest.result import Target


def distance(balls: NDArray[np.float64], target: Target) -> NDArray[np.float64]:
    """Distance of each ball from the target's centre, in tolerances of the worst figure.

    Args:
        balls: Shape (..., 3).
        target: Figures without a wish do not count.

    Returns:
        Shape (...,); at most 1 inside the window; NaN where a wished figure is missing.
    """
    if balls.shape[-1:] != (3,):
        raise ValueError(f"need balls of shape (..., 3), got {balls.shape}")
    wished = np.isfinite(target.centre)
    off = np.abs(balls[..., wished] - target.centre[wished]) / target.tolerance[wished]
    return off.max(axis=-1)


def best_throws_target(
    balls: NDArray[np.float64], wanted: NDArray[np.bool_], tolerance: NDArray[np.float64]
) -> Target:
    """A target at the median of the throws that the coach marked as wanted.

    Raises:
        ValueError: Fewer than three were marked: one ball is no target.
    """
    if int(wanted.sum()) < 3:
        raise ValueError(f"need at least three wanted throws, got {int(wanted.sum())}")
    return Target(centre=np.nanmedian(balls[wanted], axis=0), tolerance=tolerance)


def trend_per_throw(distances: NDArray[np.float64]) -> tuple[float, float, float]:
    """Change of distance per throw, with a 95 % interval (Theil-Sen, robust to one wild throw).

    Returns:
        Slope, low, high; NaN with fewer than three measured throws.
    """
    seen = np.flatnonzero(np.isfinite(distances))
    if len(seen) < 3:
        return float("nan"), float("nan"), float("nan")
    slope = theilslopes(distances[seen], seen, alpha=0.95)
    return float(slope.slope), float(slope.low_slope), float(slope.high_slope)


def pitcher_share(values: NDArray[np.float64], measurement_sd: NDArray[np.float64]) -> float:
    """Share of the scatter of one figure that is the pitcher's and not the measurement's, 0 to 1.

    Args:
        values: Shape (n,), at least two.
        measurement_sd: Shape (n,), standard uncertainty of each.
    """
    total = float(np.nanvar(values, ddof=1))
    if total == 0:
        return float("nan")
    return float(np.clip(1 - np.nanmean(np.square(measurement_sd)) / total, 0, 1))
