"""How a camera stands that was only told by a plain word, with its horizon level.

In:   the view, and the throwing arm (a right-hander's chest turns to third base: the open side).
Out:  camera axes to the field, and how far that may be off.
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from release.camera.result import View

Array = NDArray[np.float64]

# Standard uncertainties of a tripod set up by eye. Common practice, no source: a place called "the
# side" lies within 25 degrees of it, a phone's level is good to a degree or two, its tip to some degrees.
HEADING_SD_DEG, PITCH_SD_DEG, ROLL_SD_DEG = 12.0, 5.0, 2.0


def facing_deg(view: View, side: Literal["R", "L"]) -> float:
    """Where the camera looks, seen from above: 0 to the plate, 90 to first base."""
    open_side = 90.0 if side == "R" else -90.0
    return {"behind": 0.0, "front": 180.0, "open side": open_side, "closed side": -open_side}[view]


def declared(view: View, side: Literal["R", "L"]) -> tuple[Array, Array]:
    """Camera axes to the field (3, 3), and the covariance (3, 3) in rad^2 of a small turn in field axes."""
    way = np.radians(facing_deg(view, side))
    away, up = np.array([np.cos(way), np.sin(way), 0.0]), np.array([0.0, 0.0, 1.0])
    right = np.cross(away, up)
    to_field = np.column_stack([right, -up, away])
    sd = np.radians([PITCH_SD_DEG, HEADING_SD_DEG, ROLL_SD_DEG])  # about right, down and away
    return to_field, to_field @ np.diag(sd**2) @ to_field.T
