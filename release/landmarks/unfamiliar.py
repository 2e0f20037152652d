"""How unlike the training pictures a picture is: how much the hand model doubts that it sees a throwing arm.

It has learnt to tell arms from scenes and things that are none; its doubt over held-back renders is in the
weights' card (`release.workshop.calibrate`). How far its features lie from theirs tells less: those of a
drawn stick lay among them.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SUREST = 1e-6  # single precision knows no surer


def doubt(present: Array) -> Array:
    """Log odds that no throwing arm is there, from the probability (k,) that one is."""
    present = np.clip(present, SUREST, 1 - SUREST)
    return np.log((1 - present) / present)


def strangeness(present: Array, usual: Array) -> Array:
    """Share of held-back renders that were doubted less, 0 to 1, shape (k,).

    Args:
        present: Shape (k,), probability that a throwing arm is there.
        usual: Quantiles of `doubt` over held-back renders, evenly spaced from 0 to 1.
    """
    return np.interp(doubt(present), usual, np.linspace(0, 1, len(usual)))
