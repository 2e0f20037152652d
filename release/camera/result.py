"""What the camera stage hands on.

Field frame: origin at the middle of the rubber's front edge, x to the plate, y to first base, z up, metres.
Camera axes: x right, y down, z away. Pixels: (0, 0) is the outer corner of the top left pixel.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
View = Literal["behind", "open side", "closed side", "front"]

TURN, PLACE, FOCAL = slice(0, 3), slice(3, 6), 6  # of FieldCamera.covariance


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCamera:
    """Where a camera stands in the field frame: a field point X is seen at rotation (X - position_m).

    The lens is a pinhole without distortion: phones correct their own pictures.
    """

    rotation: Array  # shape (3, 3), field to camera axes
    position_m: Array  # shape (3,)
    focal_px: float
    size_px: tuple[int, int]  # of the upright picture; the optical axis meets its middle
    covariance: Array  # shape (7, 7): TURN in rad (small turn of the camera in field axes), PLACE, log FOCAL
    reprojection_px: float  # root mean square over the marks; NaN where carried over
    source: Literal["marks", "carried over"]

    def __post_init__(self) -> None:
        if self.rotation.shape != (3, 3) or self.covariance.shape != (7, 7) or not self.focal_px > 0:
            raise ValueError(f"not a camera: {self}")

    @property
    def centre_px(self) -> tuple[float, float]:
        return self.size_px[0] / 2, self.size_px[1] / 2

    def pixel(self, field_m: Array) -> Array:
        """Where field points (..., 3) are seen, (..., 2); NaN for those behind the camera."""
        seen = (field_m - self.position_m) @ self.rotation.T
        far = np.where(seen[..., 2:] > 0, seen[..., 2:], np.nan)
        return seen[..., :2] / far * self.focal_px + np.array(self.centre_px)
