"""How unlike the training pictures a picture is: how strange the hand network calls it.

It has learnt to tell throws from scenes without one, other parts of the body, strange hands, rain and dirt.
Its odds over held-back renders of throws are in the weights' card (`release.workshop.calibrate`).
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import logit

Array = NDArray[np.float64]
SUREST = 1e-6  # single precision knows no surer


def log_odds(probability: Array) -> Array:
    """Logarithm of the odds, same shape."""
    return logit(np.clip(probability, SUREST, 1 - SUREST))


def strangeness(strange: Array, usual: Array) -> Array:
    """Share of held-back renders of throws that were found less strange, 0 to 1, shape (k,).

    Args:
        strange: Shape (k,), probability that a picture is strange.
        usual: Quantiles of its log odds over those renders, evenly spaced from 0 to 1.
    """
    return np.interp(log_odds(strange), usual, np.linspace(0, 1, len(usual)))
