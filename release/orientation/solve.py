"""Least squares of one arm over a window: Gauss-Newton with Levenberg's damping, robust weights."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from release.orientation import chain, motion
from release.orientation.bordered import Bordered, banded
from release.orientation.chain import DOF, JOINTS, Body, Pose, Posed
from release.orientation.residuals import ALIKE_S, Block, blocks, seen_from, worths
from release.orientation.window import ArmWindow

Array = NDArray[np.float64]

NAMES = ("residual", "own", "shared")
INDEPENDENT_S = 1e-9  # errors alike for so long are alike in no two frames
ENOUGH = 1e-4  # relative fall of the cost at which the fit has settled


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The arm that fits best, in the window's mirror if it is a left one."""

    pose: Pose
    body: Body
    cost: float  # minus twice the log posterior, up to a constant
    information: Bordered  # of all frames' steps (k * DOF) and, its border, the SHARED parameters
    read: Sequence[Block]  # the readings as weighted in it
    alike: Array  # shape (len(read), k, k): how the errors of a reading in two frames go together

    def covariance(self, wanted: Array) -> Array:
        """Covariance (m, m) of m figures of the arm, given their slopes on all steps, shape (n, m).

        The fit takes neighbouring frames for independent and worth less, which is right for what changes
        slowly and too wide for a fast arm: here their errors count as alike as they are.
        """
        effect, k = self.information.solve(wanted), self.alike.shape[-1]
        own, shared = effect[: k * DOF].reshape(k, DOF, -1), effect[k * DOF :]
        covariance = wanted.T @ effect
        for block, alike in zip(self.read, self.alike, strict=True):
            told = block.own @ own + block.shared @ shared
            together = np.tensordot(block.worth * alike - np.eye(k), told, 1)
            covariance += np.tensordot(told, together, ((0, 1), (0, 1)))
        return covariance


def solve(
    windows: Sequence[ArmWindow], pose: Pose, body: Body, *, alike_s: Array = ALIKE_S, rounds: int = 40
) -> Solution:
    """From a start to the nearest minimum.

    Args:
        windows: Of one right arm by one or more cameras, on one clock, each with a row for every frame of
            `pose`; rows of NaN are bridged. More than one need their stations.
        alike_s: For how long each kind of reading errs alike, see `residuals.worths`.
        rounds: The most steps taken.
    """
    worth = [worths(window, alike_s) for window in windows]
    damping, cost = 1e-3, _cost(windows, pose, body, worth)
    for _ in range(rounds):
        information, gradient, _ = _normal(windows, pose, body, worth)
        while damping < 1e6:
            new_pose, new_body = _stepped(pose, body, information, gradient, damping)
            new_cost = _cost(windows, new_pose, new_body, worth)
            if new_cost < cost:
                break
            damping *= 8
        else:
            break
        fall, pose, body, cost = cost - new_cost, new_pose, new_body, new_cost
        damping = max(damping / 8, 1e-9)
        if fall < ENOUGH * (1 + abs(cost)):
            break
    information, _, read = _normal(windows, pose, body, worth)
    return Solution(
        pose=pose, body=body, cost=cost, information=information, read=read, alike=_alike(windows, alike_s)
    )


def _alike(windows: Sequence[ArmWindow], alike_s: Array) -> Array:
    """Correlations of each reading's errors between frames, in the order of `residuals.blocks`."""
    time_s = windows[0].time_s
    lasts_s = [s for w in windows for s in (*alike_s, *[INDEPENDENT_S] * len(w.pins))]
    return np.exp(-np.abs(time_s[:, None] - time_s) / np.array(lasts_s)[:, None, None])


def _stepped(
    pose: Pose, body: Body, information: Bordered, gradient: Array, damping: float
) -> tuple[Pose, Body]:
    step = -information.damped(damping).solve(gradient)
    shared = len(body.steps)
    return pose.moved(step[:-shared].reshape(-1, DOF)), body.moved(step[-shared:])


def _cost(windows: Sequence[ArmWindow], pose: Pose, body: Body, worth: Sequence[Array]) -> float:
    posed = chain.place(pose, body)
    if any(seen_from(window, posed, body).points_m[..., 2].min() < 0.2 for window in windows):
        return np.inf  # behind the camera
    read = _read_cost(windows, posed, body, worth)
    changes, _ = motion.velocity_changes(pose, windows[0].time_s)
    beyond, _ = motion.beyond_limits(pose)
    prior = body.steps @ shared_precision(windows) @ body.steps
    return float(read + np.sum(changes**2) + np.sum(beyond**2) + prior)


def read_cost(windows: Sequence[ArmWindow], posed: Posed, body: Body) -> float:
    """The part of the cost that the readings make: minus twice their log likelihood, up to a constant."""
    return _read_cost(windows, posed, body, [worths(window, ALIKE_S) for window in windows])


def _read_cost(windows: Sequence[ArmWindow], posed: Posed, body: Body, worth: Sequence[Array]) -> float:
    return sum(block.cost() for block in _blocks(windows, posed, body, worth))


def _blocks(
    windows: Sequence[ArmWindow], posed: Posed, body: Body, worth: Sequence[Array]
) -> Iterator[Block]:
    for window, each in zip(windows, worth, strict=True):
        yield from blocks(window, posed, body, each)


def shared_precision(windows: Sequence[ArmWindow]) -> Array:
    """What is known of the shared parameters before any clip is seen: published bodies, cameras' marks."""
    stations = [w.station for w in windows if w.station is not None]
    body = np.diag(1 / chain.shared_sd(windows[0].focal_log_sd) ** 2)
    return block_diag(body, *(np.linalg.inv(station.covariance) for station in stations))


def _normal(
    windows: Sequence[ArmWindow], pose: Pose, body: Body, worth: Sequence[Array]
) -> tuple[Bordered, Array, list[Block]]:
    """Gauss-Newton's information matrix and gradient, and the weighted readings that made them."""
    posed = chain.place(pose, body)
    parts = [block.weighted() for block in _blocks(windows, posed, body, worth)]
    residual, own, shared = (np.concatenate([getattr(b, n) for b in parts], axis=1) for n in NAMES)
    own_t, flat = own.transpose(0, 2, 1), shared.reshape(-1, len(body.steps))
    precision = shared_precision(windows)
    tied, slope = _tied(pose, windows[0].time_s)
    tied[0] += own_t @ own
    slope += np.einsum("kij,kj->ki", own_t, residual)
    border = (own_t @ shared).reshape(-1, len(body.steps))
    information = Bordered(band=banded(tied), border=border, corner=flat.T @ flat + precision)
    shared_slope = flat.T @ residual.ravel() + precision @ body.steps
    return information, np.concatenate([slope.ravel(), shared_slope]), parts


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
