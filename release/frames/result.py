"""What the frames stage hands on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """A run of decoded frames, upright, each known by its index in the clip."""

    index: NDArray[np.int64]  # shape (k,), increasing, 0-based in display order
    images: NDArray[np.uint8]  # shape (k, height, width, 3), RGB
    scale: float  # decoded pixels per full-resolution pixel: 1.0, or less for a coarse pass
