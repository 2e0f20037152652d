"""How unlike the training pictures a picture is: the distance of its features from theirs.

The features' mean and spread over training renders, and the quantiles of the distance over held-back ones,
are packaged beside the weights (`release.workshop.calibrate`).
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def distances(features: Array, mean: Array, whiten: Array) -> Array:
    """Mahalanobis distance of each row of features, shape (k,)."""
    return np.linalg.norm((features - mean) @ whiten, axis=1)


def strangeness(features: Array, known: Mapping[str, Array]) -> Array:
    """Share of held-back renders that were less far from the training pictures, 0 to 1, shape (k,).

    Args:
        features: Shape (k, f).
        known: `mean`, `whiten` and `quantiles`, as packaged.
    """
    far = distances(features, known["mean"], known["whiten"])
    return np.interp(far, known["quantiles"], np.linspace(0, 1, len(known["quantiles"])))
