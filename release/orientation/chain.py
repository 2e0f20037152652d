"""A right arm as one body: shoulder, elbow hinge, forearm rotation, wrist, rigid palm, held ball.

Ten degrees of freedom a frame: the shoulder's place (3), the upper arm's rotation (3, a small rotation
vector applied on the left), elbow flexion, forearm rotation, wrist deviation, wrist flexion (radians).
Shared by all frames: body size, segment lengths, places in the hand, the logarithm of the focal length.
Angles mean what angles.py measures, so nothing is converted at the end. Camera axes, metres.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.orientation import kinematics
from release.orientation.angles import across, cross, joint_angles_deg

Array = NDArray[np.float64]

DOF = 10
PLACE, TURN, ELBOW, ROLL, DEVIATION, FLEXION = slice(0, 3), slice(3, 6), 6, 7, 8, 9
JOINTS = slice(6, 10)
CHAIN_POINTS = ("shoulder", "elbow", "wrist", "index_mcp", "middle_mcp", "ring_mcp", "little_mcp", "ball")
SHARED = 16
SIZE, UPPER, FORE, KNUCKLES, BALL, FOCAL = 0, 1, 2, slice(3, 12), slice(12, 15), 15
STATION = 7  # further parameters for each camera with a station: turn (3), place (3), its own focal length

# The middle knuckle lies on the distal axis, and index and little equally far to the palm side: that is
# how the hand's axes are defined, and leaves nine of twelve coordinates free.
KNUCKLE_BASIS = np.zeros((4, 3, 9))
for _column, _places in enumerate(
    [[(0, 0)], [(0, 1)], [(0, 2), (3, 2)], [(1, 1)], [(2, 0)], [(2, 1)], [(2, 2)], [(3, 0)], [(3, 1)]]
):
    for _point, _axis in _places:
        KNUCKLE_BASIS[_point, _axis, _column] = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """What stays the same over a clip, as steps of SHARED parameters from the published body."""

    steps: Array  # shape (SHARED + STATION * stations,)

    @property
    def size(self) -> float:
        return float(np.exp(self.steps[SIZE]))

    @property
    def upper_m(self) -> float:
        return float(self.size * kinematics.UPPER_ARM_M * np.exp(self.steps[UPPER]))

    @property
    def fore_m(self) -> float:
        return float(self.size * kinematics.FOREARM_M * np.exp(self.steps[FORE]))

    @property
    def in_hand_m(self) -> Array:
        """Index, middle, ring, little knuckle and ball centre in hand axes, shape (5, 3)."""
        knuckles = kinematics.HAND_M + KNUCKLE_BASIS @ self.steps[KNUCKLES]
        return self.size * np.vstack([knuckles, kinematics.BALL_IN_HAND_M + self.steps[BALL]])

    def moved(self, step: Array) -> "Body":
        return Body(steps=self.steps + step)


def shared_sd(focal_sd: float) -> Array:
    """Standard deviations of the shared parameters before any clip is seen, shape (SHARED,)."""
    sd = np.empty(SHARED)
    sd[SIZE], sd[UPPER], sd[FORE] = kinematics.SIZE_SD, kinematics.LENGTH_SD, kinematics.LENGTH_SD
    sd[KNUCKLES], sd[BALL], sd[FOCAL] = kinematics.HAND_SD_M, kinematics.BALL_IN_HAND_SD_M, focal_sd
    return sd


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """The arm in k frames."""

    shoulder_m: Array  # shape (k, 3)
    turn: Array  # shape (k, 3, 3): columns the way the elbow bends at 0 flexion, the hinge, d_u
    joints: Array  # shape (k, 4): elbow flexion, forearm rotation, wrist deviation, wrist flexion

    def moved(self, step: Array) -> "Pose":
        """The pose after a step of shape (k, DOF)."""
        turned = Rotation.from_rotvec(step[:, TURN]).as_matrix() @ self.turn
        return replace(
            self,
            shoulder_m=self.shoulder_m + step[:, PLACE],
            turn=turned,
            joints=self.joints + step[:, JOINTS],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Posed:
    """Where a pose puts everything, with the axes that each degree of freedom turns about."""

    upper_arm: Array  # shape (k, 3), unit
    forearm: Array  # shape (k, 3), unit
    palm: Array  # shape (k, 3, 3), columns r_h, d_h, p
    points_m: Array  # shape (k, 8, 3), CHAIN_POINTS
    axes: Array  # shape (k, 7, 3): rotation axis of each degree of freedom but the shoulder's place


def place(pose: Pose, body: Body) -> Posed:
    """Forward kinematics.

    The four joints turn, in this order, about d_f x q, -d_f, p and r_h, each as the joints before it
    left them; that makes them the angles of the definitions for a right arm.
    """
    bend, upper_arm = pose.turn[:, :, 0], pose.turn[:, :, 2]
    elbow, roll, deviation, flexion = pose.joints.T[:, :, None]
    forearm = np.cos(elbow) * upper_arm + np.sin(elbow) * bend
    q = np.cos(elbow) * bend - np.sin(elbow) * upper_arm
    hinge = cross(forearm, q)
    r_0 = np.cos(roll) * q - np.sin(roll) * hinge
    p_0 = cross(r_0, forearm)
    r_h = np.cos(deviation) * r_0 + np.sin(deviation) * forearm
    d_1 = np.cos(deviation) * forearm - np.sin(deviation) * r_0
    d_h = np.cos(flexion) * d_1 + np.sin(flexion) * p_0
    palm = np.stack([r_h, d_h, cross(r_h, d_h)], axis=-1)
    at_elbow = pose.shoulder_m + body.upper_m * upper_arm
    at_wrist = at_elbow + body.fore_m * forearm
    in_hand = at_wrist[:, None] + body.in_hand_m @ palm.transpose(0, 2, 1)
    points = np.concatenate([np.stack([pose.shoulder_m, at_elbow, at_wrist], axis=1), in_hand], axis=1)
    turns = np.broadcast_to(np.eye(3), (len(forearm), 3, 3))
    axes = np.concatenate([turns, np.stack([hinge, -forearm, p_0, r_h], axis=1)], axis=1)
    return Posed(upper_arm=upper_arm, forearm=forearm, palm=palm, points_m=points, axes=axes)


# Which of the eight points each of the seven rotations moves, and the point it turns about.
_MOVES = np.array(
    [[0, 1, 1, 1, 1, 1, 1, 1]] * 3 + [[0, 0, 1, 1, 1, 1, 1, 1]] + [[0, 0, 0, 1, 1, 1, 1, 1]] * 3
)
_PIVOT = np.array([0, 0, 0, 1, 2, 2, 2])


def point_slopes(posed: Posed, body: Body) -> tuple[Array, Array]:
    """How the points move with every parameter (the geometric Jacobian of the chain).

    Returns:
        Shapes (k, 8, 3, DOF) and (k, 8, 3, SHARED), metres per radian, metre or unit of logarithm.
    """
    k = len(posed.forearm)
    own = np.zeros((k, 8, 3, DOF))
    own[:, :, :, PLACE] = np.eye(3)
    arm = posed.points_m[:, None] - posed.points_m[:, _PIVOT][:, :, None]  # (k, 7, 8, 3)
    turned = cross(posed.axes[:, :, None], arm) * _MOVES[None, :, :, None]
    own[:, :, :, 3:] = turned.transpose(0, 2, 3, 1)
    shared = np.zeros((k, 8, 3, SHARED))
    shared[..., SIZE] = posed.points_m - posed.points_m[:, :1]
    shared[:, 1:, :, UPPER] = body.upper_m * posed.upper_arm[:, None]
    shared[:, 2:, :, FORE] = body.fore_m * posed.forearm[:, None]
    shared[:, 3:7, :, KNUCKLES] = body.size * np.einsum("kij,pjc->kpic", posed.palm, KNUCKLE_BASIS)
    shared[:, 7, :, BALL] = body.size * posed.palm
    return own, shared


def quaternions(turn: Array) -> Array:
    """Unit quaternions (k, 4), scalar last and not below zero, of rotations (k, 3, 3) true to rounding."""
    return Rotation.from_matrix(turn, assume_valid=True).as_quat(canonical=True)


def pose_from_directions(wrist_m: Array, upper_arm: Array, forearm: Array, palm: Array, body: Body) -> Pose:
    """The pose whose segments lie along given directions; the inverse of `place`.

    Args:
        wrist_m, upper_arm, forearm: Shape (k, 3); palm: shape (k, 3, 3), a right hand's axes.
    """
    angles = joint_angles_deg(upper_arm, forearm, palm, "R")
    names = ("elbow_flexion", "forearm_rotation", "wrist_deviation", "wrist_flexion")
    joints = np.radians(np.stack([angles[name] for name in names], axis=-1))
    bend = across(forearm, upper_arm)
    turn = np.stack([bend, np.cross(upper_arm, bend), upper_arm], axis=-1)
    shoulder = wrist_m - body.fore_m * forearm - body.upper_m * upper_arm
    return Pose(shoulder_m=shoulder, turn=turn, joints=joints)
