"""Least squares of one arm over a window: Gauss-Newton with Levenberg's damping, robust weights."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from release.orientation import chain, motion
from release.orientation.bordered import Bordered, banded
from release.orientation.chain import DOF, JOINTS, Body, Pose, Posed
from release.orientation.residuals import (
    ALIKE_S,
    Readings,
    Residuals,
    against,
    joined,
    seen_from,
    whitened,
    worths,
)
from release.orientation.window import ArmWindow

Array = NDArray[np.float64]

INDEPENDENT_S = 1e-9  # errors alike for so long are alike in no two frames
BEHIND_M = 0.2  # an arm with a point nearer to a camera than this, or behind it, is none
ENOUGH = 1e-4  # relative fall of the cost at which the fit has settled


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The arm that fits best, in the window's mirror if it is a left one."""

    pose: Pose
    body: Body
    cost: float  # minus twice the log posterior, up to a constant
    information: Bordered  # of all frames' steps (k * DOF) and, its border, the SHARED parameters
    read: Residuals  # the readings as weighted in it
    alike: Array  # shape (m, k, k): how the errors of one kind of reading in two frames go together

    def covariance(self, wanted: Array) -> Array:
        """Covariance (m, m) of m figures of the arm, given their slopes on all steps, shape (n, m).

        The fit takes neighbouring frames for independent and worth less, which is right for what changes
        slowly and too wide for a fast arm: here their errors count as alike as they are.
        """
        effect, k = self.information.solve(wanted), self.alike.shape[-1]
        own, shared = effect[: k * DOF].reshape(k, DOF, -1), effect[k * DOF :]
        covariance = wanted.T @ effect
        for kind, (worth, alike) in enumerate(zip(self.read.worth, self.alike, strict=True)):
            slope = self.read.slope[:, self.read.of(kind)]
            told = slope[..., :DOF] @ own + slope[..., DOF:] @ shared
            together = np.tensordot(worth * alike - np.eye(k), told, 1)
            covariance += np.tensordot(told, together, ((0, 1), (0, 1)))
        return covariance


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """What stays the same while the arm is looked for."""

    readings: Sequence[Readings]
    time_s: Array  # shape (k,)
    precision: Array  # of the shared parameters
    alike: Array  # see `Solution`


def problem_of(windows: Sequence[ArmWindow], alike_s: Array = ALIKE_S) -> Problem:
    """The arm's readings as they are solved for, once for all starts.

    Args:
        windows: Of one right arm by one or more cameras, on one clock, each with a row for every frame of
            the arm looked for; rows of NaN are bridged. More than one need their stations.
        alike_s: For how long each kind of reading errs alike, see `residuals.worths`.
    """
    return Problem(
        readings=[whitened(window, worths(window, alike_s)) for window in windows],
        time_s=windows[0].time_s,
        precision=shared_precision(windows),
        alike=_alike(windows, alike_s),
    )


def solve(problem: Problem, pose: Pose, body: Body, *, rounds: int = 40) -> Solution:
    """From a start to the nearest minimum, in so many steps at most."""
    damping, best = 1e-3, _tried(problem, pose, body)
    for _ in range(rounds):
        information, gradient, _ = _normal(problem, best)
        while damping < 1e6:
            new = _tried(problem, *_stepped(best.pose, best.body, information, gradient, damping))
            if new.cost < best.cost:
                break
            damping *= 8
        else:
            break
        fall, best = best.cost - new.cost, new
        damping = max(damping / 8, 1e-9)
        if fall < ENOUGH * (1 + abs(best.cost)):
            break
    information, _, read = _normal(problem, best)
    return Solution(
        pose=best.pose,
        body=best.body,
        cost=best.cost,
        information=information,
        read=read,
        alike=problem.alike,
    )


def _alike(windows: Sequence[ArmWindow], alike_s: Array) -> Array:
    """Correlations of each reading's errors between frames, in the order of `Residuals`."""
    time_s = windows[0].time_s
    lasts_s = [s for w in windows for s in (*alike_s, *[INDEPENDENT_S] * len(w.pins))]
    return np.exp(-np.abs(time_s[:, None] - time_s) / np.array(lasts_s)[:, None, None])


def _stepped(
    pose: Pose, body: Body, information: Bordered, gradient: Array, damping: float
) -> tuple[Pose, Body]:
    step = -information.damped(damping).solve(gradient)
    shared = len(body.steps)
    return pose.moved(step[:-shared].reshape(-1, DOF)), body.moved(step[-shared:])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tried:
    """An arm, with what readings and motion say to it."""

    pose: Pose
    body: Body
    cost: float  # infinite behind a camera
    read: Residuals
    changes: tuple[Array, Array]  # see `motion.velocity_changes`
    beyond: tuple[Array, Array]  # see `motion.beyond_limits`


def _tried(problem: Problem, pose: Pose, body: Body) -> _Tried:
    posed, windows = chain.place(pose, body), [readings.window for readings in problem.readings]
    changes, beyond = motion.velocity_changes(pose, problem.time_s), motion.beyond_limits(pose)
    read = joined([against(readings, posed, body) for readings in problem.readings])
    prior = body.steps @ problem.precision @ body.steps
    cost = float(read.cost() + np.sum(changes[0] ** 2) + np.sum(beyond[0] ** 2) + prior)
    if any(seen_from(window, posed, body).points_m[..., 2].min() < BEHIND_M for window in windows):
        cost = np.inf
    return _Tried(pose=pose, body=body, cost=cost, read=read, changes=changes, beyond=beyond)


def read_cost(windows: Sequence[ArmWindow], posed: Posed, body: Body) -> float:
    """The part of the cost that the readings make: minus twice their log likelihood, up to a constant."""
    return sum(against(whitened(w, worths(w, ALIKE_S)), posed, body).cost() for w in windows)


def shared_precision(windows: Sequence[ArmWindow]) -> Array:
    """What is known of the shared parameters before any clip is seen: published bodies, cameras' marks."""
    stations = [w.station for w in windows if w.station is not None]
    body = np.diag(1 / chain.shared_sd(windows[0].focal_log_sd) ** 2)
    return block_diag(body, *(np.linalg.inv(station.covariance) for station in stations))


def _normal(problem: Problem, tried: _Tried) -> tuple[Bordered, Array, Residuals]:
    """Gauss-Newton's information matrix and gradient, and the weighted readings that made them."""
    read = tried.read.weighted()
    slope_t = read.slope.transpose(0, 2, 1)
    told, pulled = slope_t @ read.slope, (slope_t @ read.residual[..., None])[..., 0]
    tied, slope = _tied(tried)
    tied[0] += told[:, :DOF, :DOF]
    slope += pulled[:, :DOF]
    information = Bordered(
        band=banded(tied),
        border=told[:, :DOF, DOF:].reshape(slope.size, -1),
        corner=told[:, DOF:, DOF:].sum(axis=0) + problem.precision,
    )
    shared_slope = pulled[:, DOF:].sum(axis=0) + problem.precision @ tried.body.steps
    return information, np.concatenate([slope.ravel(), shared_slope]), read


def _tied(tried: _Tried) -> tuple[Array, Array]:
    """What the motion says: blocks (3, k, DOF, DOF) for `banded`, and the gradient (k, DOF)."""
    (changes, slopes), (beyond, wall) = tried.changes, tried.beyond
    k, joint = len(wall), np.arange(DOF)[JOINTS]
    tied, slope = np.zeros((3, k, DOF, DOF)), np.zeros((k, DOF))
    for later in range(3):
        later_t = slopes[:, later].transpose(0, 2, 1)
        slope[later : later + k - 2] += (later_t @ changes[..., None])[..., 0]
        for earlier in range(later + 1):
            tied[later - earlier, earlier : earlier + k - 2] += later_t @ slopes[:, earlier]
    tied[0][:, joint, joint] += wall**2
    slope[:, JOINTS] += wall * beyond
    return tied, slope
