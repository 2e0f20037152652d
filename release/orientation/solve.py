"""Least squares of one arm over a window: Gauss-Newton with Levenberg's damping, robust weights."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from release.orientation import chain, motion
from release.orientation.bordered import Bordered, banded
from release.orientation.chain import DOF, JOINTS, Body, Pose, Posed
from release.orientation.residuals import blocks, seen_from
from release.orientation.window import ArmWindow

Array = NDArray[np.float64]

NAMES = ("residual", "own", "shared")
ENOUGH = 1e-4  # relative fall of the cost at which the fit has settled


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The arm that fits best, in the window's mirror if it is a left one."""

    pose: Pose
    body: Body
    cost: float  # minus twice the log posterior, up to a constant
    information: Bordered  # of all frames' steps (k * DOF) and, its border, the SHARED parameters


def solve(
    windows: Sequence[ArmWindow], pose: Pose, body: Body, *, inflation: Sequence[Array], rounds: int = 40
) -> Solution:
    """From a start to the nearest minimum.

    Args:
        windows: Of one right arm by one or more cameras, on one clock, each with a row for every frame of
            `pose`; rows of NaN are bridged. More than one need their stations.
        inflation: For each window, see `residuals.blocks`.
        rounds: The most steps taken.
    """
    damping, cost = 1e-3, _cost(windows, pose, body, inflation)
    for _ in range(rounds):
        information, gradient = _normal(windows, pose, body, inflation)
        while damping < 1e6:
            new_pose, new_body = _stepped(pose, body, information, gradient, damping)
            new_cost = _cost(windows, new_pose, new_body, inflation)
            if new_cost < cost:
                break
            damping *= 8
        else:
            break
        fall, pose, body, cost = cost - new_cost, new_pose, new_body, new_cost
        damping = max(damping / 8, 1e-9)
        if fall < ENOUGH * (1 + abs(cost)):
            break
    information, _ = _normal(windows, pose, body, inflation)
    return Solution(pose=pose, body=body, cost=cost, information=information)


def _stepped(
    pose: Pose, body: Body, information: Bordered, gradient: Array, damping: float
) -> tuple[Pose, Body]:
    step = -information.damped(damping).solve(gradient)
    shared = len(body.steps)
    return pose.moved(step[:-shared].reshape(-1, DOF)), body.moved(step[-shared:])


def _cost(windows: Sequence[ArmWindow], pose: Pose, body: Body, inflation: Sequence[Array]) -> float:
    posed = chain.place(pose, body)
    if any(seen_from(window, posed, body).points_m[..., 2].min() < 0.2 for window in windows):
        return np.inf  # behind the camera
    read = read_cost(windows, posed, body, inflation)
    changes, _ = motion.velocity_changes(pose, windows[0].time_s)
    beyond, _ = motion.beyond_limits(pose)
    prior = body.steps @ shared_precision(windows) @ body.steps
    return float(read + np.sum(changes**2) + np.sum(beyond**2) + prior)


def read_cost(windows: Sequence[ArmWindow], posed: Posed, body: Body, inflation: Sequence[Array]) -> float:
    """The part of the cost that the readings make: minus twice their log likelihood, up to a constant."""
    return sum(
        block.cost()
        for window, wide in zip(windows, inflation, strict=True)
        for block in blocks(window, posed, body, wide)
    )


def shared_precision(windows: Sequence[ArmWindow]) -> Array:
    """What is known of the shared parameters before any clip is seen: published bodies, cameras' marks."""
    stations = [w.station for w in windows if w.station is not None]
    body = np.diag(1 / chain.shared_sd(windows[0].focal_log_sd) ** 2)
    return block_diag(body, *(np.linalg.inv(station.covariance) for station in stations))


def _normal(
    windows: Sequence[ArmWindow], pose: Pose, body: Body, inflation: Sequence[Array]
) -> tuple[Bordered, Array]:
    """Gauss-Newton's information matrix and gradient."""
    posed = chain.place(pose, body)
    parts = [
        block.weighted()
        for window, wide in zip(windows, inflation, strict=True)
        for block in blocks(window, posed, body, wide)
    ]
    residual, own, shared = (np.concatenate([getattr(b, n) for b in parts], axis=1) for n in NAMES)
    own_t, flat = own.transpose(0, 2, 1), shared.reshape(-1, len(body.steps))
    precision = shared_precision(windows)
    tied, slope = _tied(pose, windows[0].time_s)
    tied[0] += own_t @ own
    slope += np.einsum("kij,kj->ki", own_t, residual)
    border = (own_t @ shared).reshape(-1, len(body.steps))
    information = Bordered(band=banded(tied), border=border, corner=flat.T @ flat + precision)
    shared_slope = flat.T @ residual.ravel() + precision @ body.steps
    return information, np.concatenate([slope.ravel(), shared_slope])


def _tied(pose: Pose, time_s: Array) -> tuple[Array, Array]:
    """What the motion says: blocks (3, k, DOF, DOF) for `banded`, and the gradient (k, DOF)."""
    k, joint = len(time_s), np.arange(DOF)[JOINTS]
    tied, slope = np.zeros((3, k, DOF, DOF)), np.zeros((k, DOF))
    changes, slopes = motion.velocity_changes(pose, time_s)
    for later in range(3):
        slope[later : later + k - 2] += np.einsum("kij,ki->kj", slopes[:, later], changes)
        for earlier in range(later + 1):
            block = slopes[:, later].transpose(0, 2, 1) @ slopes[:, earlier]
            tied[later - earlier, earlier : earlier + k - 2] += block
    beyond, wall = motion.beyond_limits(pose)
    tied[0][:, joint, joint] += wall**2
    slope[:, JOINTS] += wall * beyond
    return tied, slope
