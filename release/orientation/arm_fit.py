"""The arm at release: one kinematic chain fitted to all readings of a window.

In:   an ArmWindow and the release time on its clock.
Out:  the state of the arm there, with its covariance and rates; whether another arm fits as well.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from release.orientation import chain
from release.orientation.chain import CHAIN_POINTS, DOF, SHARED, Body, Pose
from release.orientation.motion import mean_velocity
from release.orientation.residuals import project
from release.orientation.solve import Problem, Solution, problem_of, solve
from release.orientation.start import bridged, starts
from release.orientation.window import PER_FRAME, ArmWindow, Pin, as_right_arm

Array = NDArray[np.float64]

CLOSE_COST = 9.0  # another start's minimum within this of the best (odds of 1 to 90) is carried along
FAR_COST = 10 * CLOSE_COST  # a trial this far above the best does not come so near any more
APART_RAD = np.radians(10.0)  # and only if its palm is turned by more than this
TRIAL_ROUNDS = 8
ARM_JOINTS = tuple(CHAIN_POINTS.index(name) for name in ("shoulder", "elbow", "wrist"))
LET_STAND_SD_PX = 3.0  # of a joint that a person saw drawn and did not move; assumed, not measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """Where a fit of nearly the same frames may begin: arms of a right arm's window, the likeliest first."""

    time_s: Array  # shape (k,), of the poses
    focal_px: float
    arms: tuple[tuple[Pose, Body], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedArm:
    """The throwing arm at release, as a right arm (left ones in the mirror), in camera axes."""

    pose: Pose  # one frame: the arm at release
    body: Body
    covariance: Array  # shape (DOF, DOF) of a step of that pose
    ball_cov_m2: Array  # shape (3, 3) of the ball's place, camera axes; body size and focal length included
    rate: Array  # shape (DOF,), per second: how a step grows with the release time
    path_m: Array  # shape (k, 8, 3): CHAIN_POINTS over the window
    path_s: Array  # shape (k,), on the window's clock
    release_s: float  # on that clock
    posed_px: Array  # shape (8, 2): CHAIN_POINTS in the picture, not mirrored
    other: "Pose | None"  # a second arm that fits nearly as well
    speed_m_s: float  # of the ball's place in the hand at release, on the window's clock
    begun: "Begun | None" = None  # where a fit of other frames may begin; None after several cameras

    @property
    def frames_m(self) -> Array:
        """The path in the frames that were read, shape (k - 1, 8, 3): without the release's own row."""
        return self.path_m[self.path_s != self.release_s]


def fit_arm(
    window: ArmWindow, release_s: float, *, two_ways: bool = True, begun: Begun | None = None
) -> FittedArm:
    """Fit the chain and evaluate it at release.

    Args:
        window: Readings, of a left or a right arm.
        release_s: On the window's clock; the arm is bridged between frames by the motion's own law.
        two_ways: Also try the readings mirrored in depth.
        begun: An earlier fit with its release elsewhere, to start from if its focal length was the same.
    """
    right, at = with_release(as_right_arm(window), release_s)
    if begun is not None and right.pins:
        right = _let_stand(right, begun)
    problem = problem_of([right])
    if begun is not None and begun.focal_px == window.focal_px:
        moved = [(bridged(pose, begun.time_s, right.time_s), body) for pose, body in begun.arms]
        best, others = _best_from(moved, problem, TRIAL_ROUNDS)
    else:
        best, others = _from_readings(right, problem, two_ways=two_ways)
    other = _other(problem, best, others, at)
    arm = evaluate(best, window, right.time_s, at, other)
    near = [best, *(trial for trial in others if trial.cost - best.cost <= FAR_COST)]
    arms = tuple((solution.pose, solution.body) for solution in near)
    return replace(arm, begun=Begun(time_s=right.time_s, focal_px=window.focal_px, arms=arms))


def _let_stand(right: ArmWindow, begun: Begun) -> ArmWindow:
    """The window with the joints that a person let stand, in a frame in which another point was moved.

    Who moves a knuckle has seen where wrist and elbow are drawn; without these the whole arm would follow.
    """
    pose, body = begun.arms[0]
    drawn_m = chain.place(bridged(pose, begun.time_s, right.time_s), body).points_m
    drawn_px = project(drawn_m, begun.focal_px * np.exp(body.steps[chain.FOCAL]), right.centre_px)
    moved = {(pin.row(right.time_s), pin.point) for pin in right.pins}
    stand = [
        Pin(
            time_s=float(right.time_s[at]),
            point=joint,
            place_px=(float(drawn_px[at, joint, 0]), float(drawn_px[at, joint, 1])),
            sd_px=LET_STAND_SD_PX,
        )
        for at in {at for at, _ in moved}
        for joint in ARM_JOINTS
        if (at, joint) not in moved
    ]
    return replace(right, pins=(*right.pins, *stand))


def best_solution(window: ArmWindow) -> Solution:
    """The likeliest arm in one window of a right arm."""
    return _from_readings(window, problem_of([window]), two_ways=True)[0]


def _from_readings(right: ArmWindow, problem: Problem, *, two_ways: bool) -> tuple[Solution, list[Solution]]:
    """The likeliest arm in one window of a right arm, and the unsettled trials from the other starts."""
    begun = list(starts(right)) if two_ways else [next(starts(right))]
    return _best_from(begun, problem, TRIAL_ROUNDS if two_ways else 1)


def _best_from(
    begun: Sequence[tuple[Pose, Body]], problem: Problem, rounds: int
) -> tuple[Solution, list[Solution]]:
    """The best of some arms after a few rounds, settled, and the others as they then were."""
    trials = [solve(problem, pose, body, rounds=rounds) for pose, body in begun]
    best, *others = sorted(trials, key=lambda s: s.cost)
    return solve(problem, best.pose, best.body), others


def evaluate(solution: Solution, window: ArmWindow, time_s: Array, at: int, other: Pose | None) -> FittedArm:
    """The fitted arm in row `at` of a solution on `time_s`; `window` as read, before any mirror."""
    path_m = chain.place(solution.pose, solution.body).points_m
    covariance, ball_cov_m2 = _covariances(solution, at)
    return FittedArm(
        pose=_frame(solution.pose, at),
        body=solution.body,
        covariance=covariance,
        ball_cov_m2=ball_cov_m2,
        rate=_rate(solution.pose, time_s, at),
        path_m=path_m,
        path_s=time_s,
        release_s=float(time_s[at]),
        posed_px=in_picture(path_m[at], solution.body, window),
        other=other,
        speed_m_s=_speed(solution, time_s, at),
    )


def with_release(window: ArmWindow, release_s: float) -> tuple[ArmWindow, int]:
    """The window with a row of its own, in which nothing was read, at the release."""
    at = int(np.searchsorted(window.time_s, release_s))
    lost = {
        name: np.insert(getattr(window, name), at, np.nan, axis=0) for name in PER_FRAME if name != "time_s"
    }
    time_s = np.insert(window.time_s, at, release_s)
    for k in range(1, len(time_s)):  # a release right on a frame still has its own moment
        time_s[k] = max(time_s[k], time_s[k - 1] + 1e-5)
    return replace(window, time_s=time_s, **lost), at


def _frame(pose: Pose, at: int) -> Pose:
    one = slice(at, at + 1)
    return Pose(shoulder_m=pose.shoulder_m[one], turn=pose.turn[one], joints=pose.joints[one])


def _covariances(solution: Solution, at: int) -> tuple[Array, Array]:
    """Of the pose in one row, shape (DOF, DOF), and of the ball's place there, shape (3, 3)."""
    own, shared = chain.point_slopes(chain.place(_frame(solution.pose, at), solution.body), solution.body)
    frames = len(solution.pose.joints) * DOF
    wanted = np.zeros((frames + len(solution.body.steps), DOF + 3))
    here = wanted[at * DOF : (at + 1) * DOF]
    here[:, :DOF], here[:, DOF:] = np.eye(DOF), own[0, 7].T
    wanted[frames : frames + SHARED, DOF:] = shared[0, 7].T
    covariance = solution.covariance(wanted)
    return covariance[:DOF, :DOF], covariance[DOF:, DOF:]


def _rate(pose: Pose, time_s: Array, at: int) -> Array:
    a, b = max(at - 1, 0), min(at + 1, len(time_s) - 1)
    return mean_velocity(_frame(pose, a), _frame(pose, b), float(time_s[b] - time_s[a]))


def _speed(solution: Solution, time_s: Array, at: int) -> float:
    """Speed of the held ball's place over the frames next to release."""
    a, b = max(at - 1, 0), min(at + 1, len(time_s) - 1)
    ball = chain.place(solution.pose, solution.body).points_m[:, 7]
    return float(np.linalg.norm(ball[b] - ball[a]) / (time_s[b] - time_s[a]))


def in_picture(points_m: Array, body: Body, window: ArmWindow) -> Array:
    """Where points of a fitted arm lie in the upright picture, not mirrored.

    Args:
        points_m: Shape (..., 3), camera axes, as `FittedArm.path_m`.
        body: The fitted arm's: it holds the focal length.
        window: What was fitted, as read.

    Returns:
        Shape (..., 2), px.
    """
    px = project(points_m, window.focal_px * np.exp(body.steps[chain.FOCAL]), window.centre_px)
    if window.side == "L":
        px[..., 0] = 2 * window.centre_px[0] - px[..., 0]
    return px


def _other(problem: Problem, best: Solution, trials: list[Solution], at: int) -> Pose | None:
    """The best of the other starts' minima, where it is close in cost and another arm at release."""
    for trial in trials:
        if trial.cost - best.cost > FAR_COST:
            return None
        settled = solve(problem, trial.pose, trial.body)
        pose = _frame(settled.pose, at)
        if settled.cost - best.cost < CLOSE_COST and _palm_apart(pose, _frame(best.pose, at)) > APART_RAD:
            return pose
    return None


def _palm_apart(a: Pose, b: Pose) -> float:
    body = Body(steps=np.zeros(SHARED))
    one, two = chain.place(a, body).palm[0], chain.place(b, body).palm[0]
    return float(np.arccos(np.clip((np.trace(one @ two.T) - 1) / 2, -1, 1)))
