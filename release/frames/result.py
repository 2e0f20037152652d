"""What the frames stage hands on."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Square:
    """Where a frame is wanted sharper than the whole of it: full-resolution pixels, upright."""

    left: int
    top: int
    right: int  # the first column outside
    bottom: int  # the first row outside
    scale: float  # decoded pixels per full-resolution pixel


class RgbSource(Protocol):
    """A picture that is held in less than its RGB takes."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, upright."""
        ...

    def rgb(self) -> NDArray[np.uint8]:
        """Upright, shape (height, width, 3)."""
        ...

    def grey(self) -> NDArray[np.uint8]:
        """Brightness alone, 0 to 255, upright, shape (height, width)."""
        ...

    def rgb_of(self, left: int, top: int, right: int, bottom: int) -> NDArray[np.uint8]:
        """A part of it, upright, of the shape (height, width, 3 or 4): a fourth channel says nothing."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """A run of decoded frames, upright, each known by its index in the clip."""

    index: NDArray[np.int64]  # shape (k,), increasing, 0-based in display order
    images: NDArray[np.uint8]  # shape (k, height, width, 3), RGB
    scale: float  # decoded pixels per full-resolution pixel: 1.0, or less
