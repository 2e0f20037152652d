"""From a fitted arm to the figures at release, each with its uncertainty or the reason it has none."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.orientation import chain
from release.orientation.angles import (
    STRAIGHT_ELBOW_DEG,
    WRAPPED,
    Side,
    field_angles_deg,
    joint_angles_deg,
    wrap_deg,
)
from release.orientation.arm_fit import FittedArm
from release.orientation.chain import DOF, Body, Pose
from release.orientation.result import FIELD_ANGLES, JOINT_ANGLES, Estimate

Array = NDArray[np.float64]

UNMEASURABLE_DEG = 15.0  # a larger standard uncertainty is no measurement
Z95 = 1.959964
STEP = 1e-5  # rad or m, of the numerical slopes


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """How the camera stands to the field, as far as it is known."""

    to_field: Array  # shape (3, 3): camera axes to the field frame
    covariance_rad2: Array  # shape (3, 3), of a small rotation vector applied on the left, field frame


def angle_estimates(
    arm: FittedArm,
    side: Side,
    *,
    release_sd_s: float,
    heading: Heading | None,
    factors: Mapping[str, float],
) -> dict[str, Estimate]:
    """Every angle at release.

    Args:
        release_sd_s: Standard uncertainty of the release time; it counts through each angle's rate.
        heading: None where the camera's place is unknown: the field angles are then refused.
        factors: By figure: what held-back throws show its uncertainty is to be multiplied by; 1 if missing.
    """
    value, slope, turn_slope = _values_and_slopes(arm.pose, arm.body, side, heading)
    other = {} if arm.other is None else _angles(arm.other, arm.body, _to_right_field(side, heading))
    found: dict[str, Estimate] = {}
    for name in JOINT_ANGLES + FIELD_ANGLES:
        if name not in value:
            found[name] = refused("camera unknown: declare the view, or give a camera file with marks")
            continue
        variance = _spread(slope[name], arm.covariance)
        variance += (float(slope[name] @ arm.rate) * release_sd_s) ** 2
        if heading is not None and name in turn_slope:
            variance += _spread(turn_slope[name], _right_covariance(side, heading))
        found[name] = _estimate(
            name, value[name], factors.get(name, 1.0) * float(np.sqrt(variance)), other.get(name)
        )
    elbow = found["elbow_flexion"].value
    if elbow is not None and elbow < STRAIGHT_ELBOW_DEG:
        found["forearm_rotation"] = refused(
            f"elbow too straight ({elbow:.0f} degrees): forearm rotation has no zero"
        )
    return found


def fit_sd_deg(arm: FittedArm, side: Side, heading: Heading | None) -> dict[str, float]:
    """Standard uncertainty of every angle from the fit alone: nothing for time, camera or calibration."""
    value, slope, _ = _values_and_slopes(arm.pose, arm.body, side, heading)
    return {name: float(np.sqrt(_spread(slope[name], arm.covariance))) for name in value}


def _spread(slope: Array, covariance: Array) -> float:
    return float(slope @ covariance @ slope)


def refused(why: str) -> Estimate:
    """An estimate that is none."""
    return Estimate(value=None, sd=None, low=None, high=None, refused=why)


def _estimate(name: str, value: float, sd: float, other: float | None) -> Estimate:
    """An interval round the value, stretched over a second solution if there is one."""
    low, high = value - Z95 * sd, value + Z95 * sd
    if other is not None:
        shifted = value + (float(wrap_deg(np.array(other - value))) if name in WRAPPED else other - value)
        low, high = min(low, shifted - Z95 * sd), max(high, shifted + Z95 * sd)
        sd = max(sd, (high - low) / (2 * Z95))
    if not sd <= UNMEASURABLE_DEG:
        return refused(f"not measurable from here: standard uncertainty {min(sd, 180):.0f} degrees")
    return Estimate(value=value, sd=sd, low=low, high=high, refused=None)


def _to_right_field(side: Side, heading: Heading | None) -> Array | None:
    """Camera axes to the field frame for the arm as fitted: a left arm is fitted in a mirror."""
    if heading is None:
        return None
    if side == "R":
        return heading.to_field
    return np.diag([1.0, -1.0, 1.0]) @ heading.to_field @ np.diag([-1.0, 1.0, 1.0])


def _right_covariance(side: Side, heading: Heading) -> Array:
    # A mirror in y turns x and z back.
    turned = np.array([1.0, 1.0, 1.0] if side == "R" else [-1.0, 1.0, -1.0])
    return heading.covariance_rad2 * np.outer(turned, turned)


def _angles(pose: Pose, body: Body, to_field: Array | None) -> dict[str, float]:
    return {name: float(value[0]) for name, value in _angle_arrays(pose, body, to_field).items()}


def _angle_arrays(pose: Pose, body: Body, to_field: Array | None) -> dict[str, Array]:
    posed = chain.place(pose, body)
    angles = joint_angles_deg(posed.upper_arm, posed.forearm, posed.palm, "R")
    if to_field is None:
        return angles
    turned = np.broadcast_to(to_field, (len(posed.forearm), 3, 3)) if to_field.ndim == 2 else to_field
    forearm = np.einsum("kij,kj->ki", turned, posed.forearm)
    ball = np.einsum("kij,kj->ki", turned, posed.points_m[:, 7] - posed.points_m[:, 0])
    return angles | field_angles_deg(ball, forearm, turned @ posed.palm, "R")


def _values_and_slopes(
    pose: Pose, body: Body, side: Side, heading: Heading | None
) -> tuple[dict[str, float], dict[str, Array], dict[str, Array]]:
    """Angles, their slopes on the pose (DOF,) and on a turn of the camera (3,), degrees per unit."""
    to_field = _to_right_field(side, heading)
    middle = _angles(pose, body, to_field)
    moved = _repeated(pose, DOF).moved(STEP * np.eye(DOF))
    slope = _slopes(_angle_arrays(moved, body, to_field), middle)
    if to_field is None:
        return middle, slope, {}
    small = np.cross(np.eye(3)[:, None], np.eye(3)[None]).transpose(0, 2, 1)  # rotation generators
    turned = to_field + STEP * small @ to_field
    return middle, slope, _slopes(_angle_arrays(_repeated(pose, 3), body, turned), middle)


def _slopes(moved: Mapping[str, Array], middle: Mapping[str, float]) -> dict[str, Array]:
    return {name: wrap_deg(moved[name] - middle[name]) / STEP for name in middle}


def _repeated(pose: Pose, times: int) -> Pose:
    return Pose(
        shoulder_m=np.repeat(pose.shoulder_m, times, axis=0),
        turn=np.repeat(pose.turn, times, axis=0),
        joints=np.repeat(pose.joints, times, axis=0),
    )
