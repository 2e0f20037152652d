"""What is known of any throwing arm's motion: joint limits and how fast joints can be accelerated."""

import numpy as np
from numpy.typing import NDArray

from release.orientation import kinematics
from release.orientation.angles import cross
from release.orientation.chain import DOF, JOINTS, PLACE, TURN, Pose, quaternions

Array = NDArray[np.float64]

WALLS_RAD = np.radians(
    [
        kinematics.ELBOW_FLEXION_DEG,
        kinematics.FOREARM_ROTATION_DEG,
        kinematics.WRIST_DEVIATION_DEG,
        kinematics.WRIST_FLEXION_DEG,
    ]
)


def velocity_changes(pose: Pose, time_s: Array) -> tuple[Array, Array]:
    """Change of velocity at every inner frame, whitened, and its slopes.

    A joint driven by white acceleration of spectral density D changes its mean velocity between two
    neighbouring intervals of h1 and h2 by a variance of D (h1 + h2) / 2, slow motion counted right.
    Fitting readings of noise s at intervals dt under this passes about (D / (s^2 dt))^(1/4) rad/s.

    Returns:
        residual (k - 2, DOF) and slopes (k - 2, 3, DOF, DOF) on the frames k, k + 1 and k + 2.
    """
    h = np.diff(time_s)
    velocity, before, after = _velocities(pose, h)
    sd = np.sqrt(kinematics.acceleration_density() * (h[:-1] + h[1:])[:, None] / 2)
    residual = (velocity[1:] - velocity[:-1]) / sd
    slopes = np.stack([-before[:-1], before[1:] - after[:-1], after[1:]], axis=1) / sd[:, None, :, None]
    return residual, slopes


def _velocities(pose: Pose, h: Array) -> tuple[Array, Array, Array]:
    """Mean velocity between neighbours (k - 1, DOF), and its slopes on the earlier and the later frame."""
    eye = np.eye(DOF)
    before, after = -eye / h[:, None, None], eye / h[:, None, None]
    between = quaternions(pose.turn[1:] @ pose.turn[:-1].transpose(0, 2, 1))
    vector, scalar = between[:, :3], between[:, 3]
    crossed = cross(np.eye(3)[None], vector[:, None]).transpose(0, 2, 1)
    straight = scalar[:, None, None] * np.eye(3)
    after[:, TURN, TURN] = (straight + crossed) / h[:, None, None]
    before[:, TURN, TURN] = -(straight - crossed) / h[:, None, None]
    velocity = np.empty((len(h), DOF))
    velocity[:, PLACE] = np.diff(pose.shoulder_m, axis=0) / h[:, None]
    velocity[:, TURN] = 2 * vector / h[:, None]
    velocity[:, JOINTS] = np.diff(pose.joints, axis=0) / h[:, None]
    return velocity, before, after


def mean_velocity(earlier: Pose, later: Pose, apart_s: float) -> Array:
    """Mean velocity (DOF,) from one single-frame pose to another."""
    both = Pose(
        shoulder_m=np.concatenate([earlier.shoulder_m, later.shoulder_m]),
        turn=np.concatenate([earlier.turn, later.turn]),
        joints=np.concatenate([earlier.joints, later.joints]),
    )
    return _velocities(both, np.array([apart_s]))[0][0]


def beyond_limits(pose: Pose) -> tuple[Array, Array]:
    """How far each joint is beyond its limits in soft-wall units, and its slope; both (k, 4)."""
    sd = np.radians(kinematics.LIMIT_SD_DEG)
    low, high = WALLS_RAD.T
    over, under = pose.joints > high, pose.joints < low
    residual = np.where(over, pose.joints - high, np.where(under, pose.joints - low, 0.0)) / sd
    return residual, (over | under) / sd
