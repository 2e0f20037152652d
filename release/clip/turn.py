"""The display matrix of a video track as quarter turns and a mirror."""

import numpy as np
from numpy.typing import NDArray


def turns_and_mirror(matrix: NDArray[np.int32]) -> tuple[int, bool]:
    """Quarter turns counter-clockwise, then a flip left to right, that bring a decoded picture upright.

    Args:
        matrix: Shape (3, 3), rows (a, b, u), (c, d, v), (x, y, w) as stored: a stored point (p, q), q down,
            is shown at (a p + c q + x, b p + d q + y) (ISO/IEC 14496-12, section 6.2.2).

    Returns:
        Turns 0 to 3 as `numpy.rot90` counts them, and whether to flip.
    """
    (a, b), (c, d) = matrix[:2, :2].astype(float)
    mirrored = a * d - b * c < 0
    right_x, right_y = (-a if mirrored else a), b  # where the stored picture's right goes, before the flip
    return round(np.degrees(np.arctan2(-right_y, right_x)) / 90) % 4, bool(mirrored)
