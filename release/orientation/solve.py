"""Least squares of one arm over a window: Gauss-Newton with Levenberg's damping, robust weights."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from release.orientation import chain, motion
from release.orientation.chain import DOF, JOINTS, SHARED, Body, Pose
from release.orientation.residuals import Block, blocks
from release.orientation.window import ArmWindow

Array = NDArray[np.float64]

ENOUGH = 1e-4  # relative fall of the cost at which the fit has settled


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The arm that fits best, in the window's mirror if it is a left one."""

    pose: Pose
    body: Body
    cost: float  # minus twice the log posterior, up to a constant
    information: Array  # shape (k * DOF + SHARED,) squared, of all frames and the shared parameters


def solve(window: ArmWindow, pose: Pose, body: Body, *, inflation: float, rounds: int = 40) -> Solution:
    """From a start to the nearest minimum.

    Args:
        window: Of a right arm, with a row for every frame of `pose`; rows of NaN are bridged.
        inflation: See `residuals.blocks`.
        rounds: The most steps taken.
    """
    damping, cost = 1e-3, _cost(window, pose, body, inflation)
    for _ in range(rounds):
        information, gradient = _normal(window, pose, body, inflation)
        while damping < 1e6:
            new_pose, new_body = _stepped(pose, body, information, gradient, damping)
            new_cost = _cost(window, new_pose, new_body, inflation)
            if new_cost < cost:
                break
            damping *= 8
        else:
            break
        fall, pose, body, cost = cost - new_cost, new_pose, new_body, new_cost
        damping = max(damping / 8, 1e-9)
        if fall < ENOUGH * (1 + abs(cost)):
            break
    information, _ = _normal(window, pose, body, inflation)
    return Solution(pose=pose, body=body, cost=cost, information=information)


def _stepped(
    pose: Pose, body: Body, information: Array, gradient: Array, damping: float
) -> tuple[Pose, Body]:
    damped = information + damping * np.diag(np.diag(information))
    step = -cho_solve(cho_factor(damped, lower=True, check_finite=False), gradient, check_finite=False)
    return pose.moved(step[:-SHARED].reshape(-1, DOF)), body.moved(step[-SHARED:])


def _cost(window: ArmWindow, pose: Pose, body: Body, inflation: float) -> float:
    posed = chain.place(pose, body)
    if posed.points_m[..., 2].min() < 0.2:
        return np.inf  # behind the camera
    read = sum(block.cost() for block in blocks(window, posed, body, inflation))
    changes, _ = motion.velocity_changes(pose, window.time_s)
    beyond, _ = motion.beyond_limits(pose)
    prior = body.steps / chain.shared_sd(window.focal_log_sd)
    return float(read + np.sum(changes**2) + np.sum(beyond**2) + np.sum(prior**2))


def _normal(window: ArmWindow, pose: Pose, body: Body, inflation: float) -> tuple[Array, Array]:
    """Gauss-Newton's information matrix and gradient."""
    k = len(pose.shoulder_m)
    posed = chain.place(pose, body)
    own_own, own_shared = np.zeros((k, DOF, DOF)), np.zeros((k, DOF, SHARED))
    shared_shared, own_slope, shared_slope = np.zeros((SHARED, SHARED)), np.zeros((k, DOF)), np.zeros(SHARED)
    merged = _merged([b.weighted() for b in blocks(window, posed, body, inflation)])
    own_t = merged.own.transpose(0, 2, 1)
    own_own += own_t @ merged.own
    own_shared += own_t @ merged.shared
    flat = merged.shared.reshape(-1, SHARED)
    shared_shared += flat.T @ flat
    own_slope += np.einsum("kij,kj->ki", own_t, merged.residual)
    shared_slope += flat.T @ merged.residual.ravel()
    beyond, wall = motion.beyond_limits(pose)
    joint = np.arange(DOF)[JOINTS]
    own_own[:, joint, joint] += wall**2
    own_slope[:, JOINTS] += wall * beyond
    precision = 1 / chain.shared_sd(window.focal_log_sd) ** 2
    shared_shared += np.diag(precision)
    shared_slope += precision * body.steps
    return _assembled(pose, window.time_s, own_own, own_shared, shared_shared, own_slope, shared_slope)


def _merged(parts: list[Block]) -> Block:
    return Block(
        residual=np.concatenate([b.residual for b in parts], axis=1),
        own=np.concatenate([b.own for b in parts], axis=1),
        shared=np.concatenate([b.shared for b in parts], axis=1),
    )


def _assembled(
    pose: Pose,
    time_s: Array,
    own_own: Array,
    own_shared: Array,
    shared_shared: Array,
    own_slope: Array,
    shared_slope: Array,
) -> tuple[Array, Array]:
    """One matrix: a band of frames, tied to their neighbours by the motion, bordered by what they share."""
    k = len(time_s)
    matrix = np.zeros((k, DOF, k, DOF))
    frame = np.arange(k)
    matrix[frame, :, frame, :] = own_own
    changes, slopes = motion.velocity_changes(pose, time_s)
    slope = own_slope.copy()
    inner = np.arange(k - 2)
    for a in range(3):
        slope[a : a + k - 2] += np.einsum("kij,ki->kj", slopes[:, a], changes)
        for b in range(3):
            matrix[inner + a, :, inner + b, :] += slopes[:, a].transpose(0, 2, 1) @ slopes[:, b]
    border = own_shared.reshape(k * DOF, SHARED)
    band = matrix.reshape(k * DOF, k * DOF)
    information = np.block([[band, border], [border.T, shared_shared]])
    return information, np.concatenate([slope.ravel(), shared_slope])
