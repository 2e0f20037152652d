"""Which arm throws, decided once for the clip by both networks together."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import logit

from release.landmarks.infer_hand import read_hand
from release.landmarks.result import ArmReading, HandReading, Side
from release.landmarks.view import Picture

Array = NDArray[np.float64]
FRAMES = 24  # in the middle of the run, looked at as either hand
PLAIN = 3.0  # log odds from which the finder of the arm is believed by itself


def throwing_side(
    images: Sequence[Picture] | NDArray[np.uint8], frame_index: NDArray[np.int64], arm: ArmReading
) -> Side:
    """The throwing arm.

    A hand read as the other one, mirrored, looks strange to the hand model, which then states wide
    uncertainties; what the finder of the arm thinks of the side is added on the scale of log odds.

    Args:
        images: k of them; the throw in the middle.
        frame_index: Shape (k,).
        arm: What the arm finder read in these frames, or in every few of them.
    """
    odds = logit(np.clip(np.nanmedian(arm.right_probability), 1e-3, 1 - 1e-3))
    if abs(odds) >= PLAIN:
        return "R" if odds > 0 else "L"
    first = max((len(images) - FRAMES) // 2, 0)
    some = slice(first, first + FRAMES)  # neighbours, since the hand is followed
    surer = {
        side: sureness(read_hand(images[some], frame_index[some], arm, side, second=False))
        for side in ("R", "L")
    }
    return "R" if odds + surer["R"] - surer["L"] >= 0 else "L"


def sureness(hand: HandReading) -> float:
    """Median over frames of the log density that the palm's stated uncertainty has at its middle."""
    seen = np.isfinite(hand.palm_cov_rad2).all((1, 2))
    if not seen.any():
        return -10.0  # far below any hand that was read
    return float(np.median(-0.5 * np.linalg.slogdet(hand.palm_cov_rad2[seen])[1]))
