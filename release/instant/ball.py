"""When the ball leaves the hand, from how surely each frame shows it held.

In:   the calibrated probability, frame by frame, that the ball touches the hand.
Out:  the release as a fractional frame index with its standard uncertainty.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SURE = 0.02  # no single frame is believed further than this


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change from held to gone."""

    frame_index: float
    sd_frames: float
    before: float  # mean probability of held in the frames before, 1 in a clear case
    after: float  # the same after, 0 in a clear case


def leaving(frame_index: Array, held: Array) -> Change:
    """The moment of change that explains the frames best.

    Every gap between two frames is weighed by the probability of all frames before it being held and all
    after it gone; the release lies evenly in its gap. A calibrated probability of a half in one frame so
    moves the answer to that frame, and the spread over gaps gives the uncertainty.

    Args:
        frame_index: Shape (k,), increasing.
        held: Shape (k,), probabilities; NaN counts as a half.
    """
    p = np.clip(np.nan_to_num(held, nan=0.5), SURE, 1 - SURE)
    log_likelihood = np.concatenate([[0], np.cumsum(np.log(p))]) + np.concatenate(
        [np.cumsum(np.log(1 - p)[::-1])[::-1], [0]]
    )
    edges = np.concatenate(
        [[2 * frame_index[0] - frame_index[1]], frame_index, [2 * frame_index[-1] - frame_index[-2]]]
    )
    weight = np.exp(log_likelihood - log_likelihood.max()) * np.diff(edges)
    weight /= weight.sum()
    middle, width = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    mean = float(weight @ middle)
    variance = float(weight @ ((middle - mean) ** 2 + width**2 / 12))
    before, after = held[frame_index < mean], held[frame_index >= mean]
    return Change(
        frame_index=mean, sd_frames=float(np.sqrt(variance)), before=_mean(before), after=_mean(after)
    )


def _mean(values: Array) -> float:
    values = values[np.isfinite(values)]
    return float(values.mean()) if len(values) else float("nan")
