"""Where the ball leaves in the field, and how surely: release height, side and extension."""

import numpy as np
from numpy.typing import NDArray

from release.camera.result import FOCAL, PLACE, TURN, FieldCamera
from release.orientation import chain
from release.orientation.angles import Side
from release.orientation.arm_fit import FittedArm
from release.orientation.measure import Z95, Heading, refused
from release.orientation.result import FIELD_LENGTHS, Estimate

Array = NDArray[np.float64]

UNMEASURABLE_M = 0.3  # a larger standard uncertainty is no measurement
# Of the focal length's logarithm. With more left open, a change of distance is no longer in proportion: of
# 400 simulated cameras 95 % intervals of the ball's place held in 95 % up to here, in 83 % beyond 0.4.
OPEN_LENS = 0.3


def heading_of(camera: FieldCamera, hand_turn: Array) -> Heading:
    """The heading that a camera gives.

    Args:
        hand_turn: Shape (3,), camera axes: how directions read at the hand turn with the logarithm of the
            focal length (`ArmWindow.hand_turn`); a wrong focal length and a wrong turn go together.
    """
    to_field = camera.rotation.T
    slope = np.zeros((3, 7))
    slope[:, TURN] = np.eye(3)
    slope[:, FOCAL] = to_field @ hand_turn
    return Heading(to_field=to_field, covariance_rad2=slope @ camera.covariance @ slope.T)


def release_place(
    arm: FittedArm, side: Side, camera: FieldCamera, *, release_sd_s: float
) -> dict[str, Estimate]:
    """Height, side (+ arm side) and extension of the ball's centre at release, metres.

    Args:
        arm: Fitted with the camera's own focal length held fixed: its uncertainty is in the camera's.
        release_sd_s: Standard uncertainty of the release time; it counts through the ball's speed.
    """
    lens_sd = float(np.sqrt(camera.covariance[FOCAL, FOCAL]))
    if lens_sd > OPEN_LENS:
        why = f"the marks leave the focal length open by {100 * lens_sd:.0f} %: give the field of view"
        return dict.fromkeys(FIELD_LENGTHS, refused(why))
    flip = np.diag([-1.0 if side == "L" else 1.0, 1.0, 1.0])  # a left arm is fitted in a mirror
    to_field = camera.rotation.T @ flip
    posed = chain.place(arm.pose, arm.body)
    seen = posed.points_m[0, 7]
    lever = to_field @ seen
    slope = np.zeros((3, 7))
    slope[:, TURN] = np.cross(np.eye(3), lever).T
    slope[:, PLACE] = np.eye(3)
    slope[:, FOCAL] = to_field @ [0.0, 0.0, seen[2]]  # the farther, the longer the lens is taken to be
    own, _ = chain.point_slopes(posed, arm.body)
    run = to_field @ own[0, 7] @ arm.rate * release_sd_s
    covariance = (
        slope @ camera.covariance @ slope.T + to_field @ arm.ball_cov_m2 @ to_field.T + np.outer(run, run)
    )
    place = lever + camera.position_m
    other = place
    if arm.other is not None:
        other = to_field @ chain.place(arm.other, arm.body).points_m[0, 7] + camera.position_m
    across = 1.0 if side == "L" else -1.0
    return {
        name: _estimate(float(place[k] * sign), float(np.sqrt(covariance[k, k])), float(other[k] * sign))
        for name, k, sign in (("release_height", 2, 1.0), ("release_side", 1, across), ("extension", 0, 1.0))
    }


def _estimate(value: float, sd: float, other: float) -> Estimate:
    low, high = min(value, other) - Z95 * sd, max(value, other) + Z95 * sd
    sd = max(sd, (high - low) / (2 * Z95))
    if not sd <= UNMEASURABLE_M:
        return refused(f"not measurable from here: standard uncertainty {100 * min(sd, 9):.0f} cm")
    return Estimate(value=value, sd=sd, low=low, high=high, refused=None)
