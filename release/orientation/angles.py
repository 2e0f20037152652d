"""Every angle of the throwing arm at one instant, from directions or points.

In:   arrays (..., 3) in one right-handed frame; `side` is "R" or "L", the throwing arm.
Out:  degrees; clinical zero and sign, the same for both arms; NaN in gives NaN out.

These are projections of one axis on another, not the Z-X-Y Euler angles of the ISB recommendation
(Wu et al., 2005, J Biomech 38:981-992): for a wrist extended 30 and deviated 8 the two agree within
three degrees, for 40 and 35 they do not.
"""

from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Side = Literal["R", "L"]

STRAIGHT_ELBOW_DEG = 8.0  # below it the elbow's bending plane, the zero of forearm rotation, is lost
NEXT, BEFORE = np.array([1, 2, 0]), np.array([2, 0, 1])  # of three axes; lists are read anew each time
WRAPPED = ("wrist_flexion", "forearm_rotation", "palm_turn", "arm_angle", "palm_azimuth")


def unit(vector: Array) -> Array:
    """Unit vectors along the last axis; NaN for a vector of no length."""
    length = np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.divide(vector, length, out=np.full_like(vector, np.nan, dtype=float), where=length > 0)


def cross(a: Array, b: Array) -> Array:
    """`np.cross` of vectors (..., 3) to the last digit, of few of them in a fraction of its time."""
    return a[..., NEXT] * b[..., BEFORE] - a[..., BEFORE] * b[..., NEXT]


def across(vector: Array, axis: Array) -> Array:
    """The part of `vector` perpendicular to the unit `axis`, normalised."""
    return unit(vector - _dot(vector, axis)[..., None] * axis)


def palm_frame(wrist: Array, index_mcp: Array, middle_mcp: Array, little_mcp: Array, side: Side) -> Array:
    """Axes of the hand from four joint centres.

    Args:
        wrist, index_mcp, middle_mcp, little_mcp: Shape (..., 3), any length unit.

    Returns:
        Shape (..., 3, 3): columns r_h (toward the thumb side), d_h (distal), p (the way the palm faces).
        A rotation for a right arm; for a left arm its determinant is -1.
    """
    d_h = unit(middle_mcp - wrist)
    r_h = across(index_mcp - little_mcp, d_h)
    return np.stack([r_h, d_h, _sign(side) * np.cross(r_h, d_h)], axis=-1)


def joint_angles_deg(upper_arm: Array, forearm: Array, palm: Array, side: Side) -> dict[str, Array]:
    """Wrist flexion and deviation, forearm rotation and elbow flexion.

    Args:
        upper_arm, forearm: Unit vectors pointing distally, shape (..., 3).
        palm: Columns r_h, d_h, p as of `palm_frame`, shape (..., 3, 3).

    Returns:
        Each of shape (...): wrist_flexion (+ toward the palm), wrist_deviation (+ ulnar),
        forearm_rotation (+ pronated; NaN at a straight elbow) and elbow_flexion (0 straight).
    """
    r_h, d_h, p = np.moveaxis(palm, -1, 0)
    q = across(-upper_arm, forearm)
    r_p = across(r_h, forearm)
    turn = np.arctan2(_dot(np.cross(q, r_p), forearm), _dot(q, r_p))
    bend = np.arctan2(np.linalg.norm(np.cross(upper_arm, forearm), axis=-1), _dot(upper_arm, forearm))
    angles = {
        "wrist_flexion": np.arctan2(-_dot(forearm, p), _dot(forearm, d_h)),
        "wrist_deviation": np.arcsin(np.clip(_dot(forearm, r_h), -1, 1)),
        "forearm_rotation": -_sign(side) * turn,
        "elbow_flexion": bend,
    }
    return {name: np.degrees(value) for name, value in angles.items()}


def palm_turn_deg(forearm: Array, palm: Array, target: Array, side: Side) -> Array:
    """Turn of the palm about the forearm: 0 faces the target, + pronated; needs no shoulder.

    Args:
        target: Direction to the target, shape (..., 3), same frame as the others.
    """
    t, p_f = across(target, forearm), across(palm[..., 2], forearm)
    return np.degrees(-_sign(side) * np.arctan2(_dot(np.cross(t, p_f), forearm), _dot(t, p_f)))


def field_angles_deg(shoulder_to_ball: Array, forearm: Array, palm: Array, side: Side) -> dict[str, Array]:
    """The angles that need the field frame (x to the plate, y to the pitcher's left, z up).

    Args:
        shoulder_to_ball: Shape (..., 3), any length unit.
        forearm, palm: As for `joint_angles_deg`, in the field frame.
    """
    arm_side = np.array([1.0, -_sign(side), 1.0])  # y counted toward the throwing arm
    v, p = shoulder_to_ball * arm_side, palm[..., 2] * arm_side
    target = np.broadcast_to(np.array([1.0, 0.0, 0.0]), forearm.shape)
    return {
        "palm_turn": palm_turn_deg(forearm, palm, target, side),
        "arm_angle": np.degrees(np.arctan2(v[..., 2], v[..., 1])),
        "palm_azimuth": np.degrees(np.arctan2(p[..., 1], p[..., 0])),
        "palm_elevation": np.degrees(np.arcsin(np.clip(p[..., 2], -1, 1))),
        "forearm_elevation": np.degrees(np.arcsin(np.clip(forearm[..., 2], -1, 1))),
    }


def angles_of_points_deg(points: Mapping[str, Array], side: Side) -> dict[str, Array]:
    """All angles from joint centres and the ball in the field frame.

    Args:
        points: shoulder, elbow, wrist, index_mcp, middle_mcp, little_mcp and ball, each (..., 3).
    """
    palm = palm_frame(points["wrist"], points["index_mcp"], points["middle_mcp"], points["little_mcp"], side)
    upper_arm = unit(points["elbow"] - points["shoulder"])
    forearm = unit(points["wrist"] - points["elbow"])
    joint = joint_angles_deg(upper_arm, forearm, palm, side)
    return joint | field_angles_deg(points["ball"] - points["shoulder"], forearm, palm, side)


def wrap_deg(difference: Array) -> Array:
    """The same angle in [-180, 180)."""
    return (np.asarray(difference) + 180.0) % 360.0 - 180.0


def _sign(side: Side) -> float:
    return 1.0 if side == "R" else -1.0


def _dot(a: Array, b: Array) -> Array:
    return np.sum(a * b, axis=-1)
