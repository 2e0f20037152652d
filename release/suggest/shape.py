"""The ball's shape in words, against the pitcher's own fastball and arm angle.

The words are boxes in speed given up to the fastball and in break. So that a word means the same for a
side-armer, break is first turned to what it would be from a 45 degree arm angle: a lower arm tips the whole
picture toward the arm side (common practice, no source).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from release.suggest.result import Shape

USUAL_ARM_ANGLE_DEG = 45.0


def from_usual_arm(
    vertical_in: float, horizontal_in: float, arm_angle_deg: float | None
) -> tuple[float, float]:
    """Break as it would look from a 45 degree arm angle.

    Args:
        vertical_in: Induced vertical break.
        horizontal_in: Horizontal break, positive to the glove side.
        arm_angle_deg: 0 sidearm, 90 straight overhand; None leaves the break as it is.

    Returns:
        Vertical and horizontal break, turned about straight ahead.
    """
    if arm_angle_deg is None:
        return vertical_in, horizontal_in
    turn = np.radians(USUAL_ARM_ANGLE_DEG - arm_angle_deg)
    return (
        float(vertical_in * np.cos(turn) - horizontal_in * np.sin(turn)),
        float(horizontal_in * np.cos(turn) + vertical_in * np.sin(turn)),
    )


def words(
    mph_below_fastball: float,
    vertical_in: float,
    horizontal_in: float,
    shapes: Sequence[Shape],
    *,
    arm_angle_deg: float | None = None,
    near_in: float = 1.0,
    near_mph: float = 1.0,
) -> tuple[str, ...]:
    """Every word whose box holds the ball, or comes within `near_in` and `near_mph` of it.

    Returns:
        The words, best fitting first; two or more near a boundary; empty where none fits or a figure is NaN.
    """
    vertical_in, horizontal_in = from_usual_arm(vertical_in, horizontal_in, arm_angle_deg)
    ball = np.array([mph_below_fastball, vertical_in, horizontal_in])
    near = np.array([near_mph, near_in, near_in])
    if not np.isfinite(ball).all() or not shapes:
        return ()
    depth = np.array([_depth(ball, shape, near) for shape in shapes])
    order = np.argsort(-depth, kind="stable")
    return tuple(shapes[i].name for i in order if depth[i] >= -1)


def _depth(ball: NDArray[np.float64], shape: Shape, near: NDArray[np.float64]) -> float:
    """How far inside the box, in units of `near`; negative outside."""
    box = np.array([shape.mph_below_fastball, shape.induced_vertical_break_in, shape.horizontal_break_in])
    return float((np.minimum(ball - box[:, 0], box[:, 1] - ball) / near).min())
