"""Cue -> hand -> ball: how much of the ball's change goes through the measured hand.

The product of two regressions (Baron and Kenny 1986) with a percentile bootstrap (Preacher and Hayes
2008), and the measurement error of the angle accounted for, which would otherwise hide part of the path.
"""

import numpy as np
from numpy.typing import NDArray

from release.stats.result import Path

ASSUMPTION = (
    "True only if nothing but the cue moved both hand and ball: the cue was drawn, so its effects on each "
    "are causal, but the step from hand to ball also carries whatever else changed with the hand."
)

Floats = NDArray[np.float64]


def path_through_hand(
    cue: Floats,
    hand: Floats,
    ball: Floats,
    hand_sd: Floats | None = None,
    *,
    resamples: int = 2000,
    seed: int = 0,
) -> Path:
    """Split the cue's effect on the ball into the part through the hand and the rest.

    Args:
        cue: Shape (n,), 0 for the first cue and 1 for the second (or any graded cue).
        hand: Shape (n,), the angle; finite.
        ball: Shape (n,); finite.
        hand_sd: Shape (n,), standard uncertainty of the angle; None for none.
        resamples: Of the bootstrap, over throws.
        seed: Of the bootstrap.
    """
    sd = np.zeros_like(hand) if hand_sd is None else hand_sd
    a, b, total, direct = _paths(cue, hand, ball, sd)
    rng = np.random.default_rng(seed)
    drawn = [rng.integers(len(cue), size=len(cue)) for _ in range(resamples)]
    draws = np.array([_paths(cue[i], hand[i], ball[i], sd[i]) for i in drawn if np.ptp(cue[i]) > 0])
    through = draws[:, 0] * draws[:, 1]
    low, high = np.nanpercentile(through, [2.5, 97.5])
    total_low, total_high = np.nanpercentile(draws[:, 2], [2.5, 97.5])
    told = total_low > 0 or total_high < 0
    return Path(
        hand_per_cue=a,
        ball_per_hand=b,
        total=total,
        direct=direct,
        through=a * b,
        through_low=float(low),
        through_high=float(high),
        share=a * b / total if told else None,
        throws=len(cue),
        assumption=ASSUMPTION,
    )


def _paths(cue: Floats, hand: Floats, ball: Floats, sd: Floats) -> tuple[float, float, float, float]:
    x, m, y = cue - cue.mean(), hand - hand.mean(), ball - ball.mean()
    xx, xm, xy = float(x @ x), float(x @ m), float(x @ y)
    a, total = xm / xx, xy / xx
    # With the cue held, hand and ball are what is left of them; the angle's error is not part of the hand.
    m_left, y_left = m - a * x, y - total * x
    signal = float(m_left @ m_left) - float(np.sum(sd**2)) * (1 - 2 / len(x))
    b = float(m_left @ y_left) / signal if signal > 0.2 * float(m_left @ m_left) else float("nan")
    return a, b, total, total - a * b
