"""One arm fitted to what several cameras read of it, in the field, with the same chain as for one.

Each camera keeps what its marks leave open (turn, place, focal length) as shared parameters of the fit, held
by their covariance: two cameras that look at one arm also correct each other. Clocks differ by an offset,
found where the arm fits both best.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.camera.result import FieldCamera
from release.orientation import chain
from release.orientation.arm_fit import (
    TRIAL_ROUNDS,
    FittedArm,
    best_solution,
    evaluate,
    with_release,
)
from release.orientation.chain import FOCAL, SHARED, STATION, Body, Pose
from release.orientation.measure import Heading
from release.orientation.solve import Solution, problem_of, read_cost, solve
from release.orientation.start import bridged, starts
from release.orientation.window import PER_FRAME, READ_POINTS, ArmWindow, Station, as_right_arm

Array = NDArray[np.float64]

# What readings lose by being fitted together (minus twice a log likelihood, a frame): about 1 where they err
# as stated; 0.8 to 2.7 in eight rendered pairs of one throw, 6.7 to 14 in three of different throws (three
# more of those found no common clock): pair_clips.py, seed 9; the bench judges on another seed.
TOO_FAR = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """One arm by several cameras, in the first one's axes and on its clock."""

    arm: FittedArm  # its covariance is that in the field: the cameras' uncertainty is inside
    cameras: tuple[FieldCamera, ...]  # as the arm has settled them; nothing left uncertain
    cost: float  # of the fit together
    misfit: float  # what the readings lose by being fitted together, for each frame read

    @property
    def heading(self) -> Heading:
        return Heading(to_field=self.cameras[0].rotation.T, covariance_rad2=np.zeros((3, 3)))


def stationed(window: ArmWindow, camera: FieldCamera, number: int) -> ArmWindow:
    """The window with its camera's place; its focal length must be the camera's."""
    station = Station(
        number=number,
        rotation=camera.rotation,
        place_m=camera.position_m,
        covariance=camera.covariance + np.diag([1e-10] * 7),
    )
    return replace(window, station=station)


def shifted(window: ArmWindow, offset_s: float) -> ArmWindow:
    """The window on another clock, on which everything is later by the offset."""
    pins = tuple(replace(pin, time_s=pin.time_s + offset_s) for pin in window.pins)
    return replace(window, time_s=window.time_s + offset_s, pins=pins)


class Pair:
    """Two windows of one throw, fitted together at any offset of the second clock."""

    def __init__(self, windows: Sequence[ArmWindow], cameras: Sequence[FieldCamera], release_s: float):
        """Fit each window alone, which is where the fit together starts.

        Args:
            windows: Of one throw, each on its own clock.
            cameras: Where each camera stands, with the focal length its window was read with.
            release_s: On the first clock.
        """
        self.cameras, self.release_s = cameras, release_s
        self.windows = [
            as_right_arm(stationed(w, c, n)) for n, (w, c) in enumerate(zip(windows, cameras, strict=True))
        ]
        self.given = windows
        self.alone = [best_solution(replace(w, station=None)) for w in self.windows]
        self._best: tuple[Solution, Array] | None = None

    def let_go(self, release_s: float, offset_s: float) -> None:
        """From a release on the first clock on the ball is gone, whatever each clip by itself took it for."""
        self.release_s = release_s
        self.windows = [
            _let_go(window, release_s - later)
            for window, later in zip(self.windows, (0.0, offset_s), strict=True)
        ]
        self._best = None

    def fit(self, offset_s: float) -> tuple[Solution, list[ArmWindow], int]:
        """The arm at an offset of the second clock; starts from the best so far, or from each window alone.

        Returns:
            The solution in the field, its windows on one axis of moments, and the row of the release.
        """
        moved = [self.windows[0], shifted(self.windows[1], offset_s)]
        rows, at = _on_one_axis(moved, self.release_s)
        problem, begun = problem_of(rows), self._starts(rows[0].time_s, offset_s)
        if len(begun) > 1:
            tried = [solve(problem, *start, rounds=TRIAL_ROUNDS) for start in begun]
            nearest = min(tried, key=lambda s: s.cost)
            begun = [(nearest.pose, nearest.body)]
        best = solve(problem, *begun[0])
        if self._best is None or best.cost < self._best[0].cost:
            self._best = best, rows[0].time_s
        return best, rows, at

    def _starts(self, time_s: Array, offset_s: float) -> list[tuple[Pose, Body]]:
        if self._best is not None:
            best, best_s = self._best
            return [(bridged(best.pose, best_s, time_s), best.body)]
        begun = []
        for number, (solution, window) in enumerate(zip(self.alone, self.windows, strict=True)):
            for pose, own in [(solution.pose, solution.body), *starts(window)]:
                body = Body(steps=np.zeros(SHARED + STATION * len(self.windows)))
                body.steps[:FOCAL] = own.steps[:FOCAL]
                moments = window.time_s + (offset_s if number else 0.0)
                begun.append((bridged(_in_field(pose, window), moments, time_s), body))
        return begun

    def _apart(self, both: Solution, both_s: Array, number: int, offset_s: float) -> float:
        """What one window's readings cost with nothing else fitted, from its own best or the common arm."""
        window, alone = self.windows[number], self.alone[number]
        own = replace(window, station=None)
        moments = window.time_s + (offset_s if number else 0.0)
        pose = _in_axes(bridged(both.pose, both_s, moments), window)
        body = Body(steps=np.append(both.body.steps[:FOCAL], 0.0))
        best = min(alone, solve(problem_of([own]), pose, body), key=lambda s: s.cost)
        return read_cost([own], chain.place(best.pose, best.body), best.body)

    def together(self, offset_s: float) -> Together:
        """Everything at the offset found."""
        solution, rows, at = self.fit(offset_s)
        posed = chain.place(solution.pose, solution.body)
        read = read_cost(rows, posed, solution.body)
        apart = sum(self._apart(solution, rows[0].time_s, n, offset_s) for n in (0, 1))
        frames = sum(len(w.time_s) for w in self.windows)
        side = self.given[0].side
        cameras = tuple(_settled(camera, solution.body, side, n) for n, camera in enumerate(self.cameras))
        arm = evaluate(solution, rows[0], rows[0].time_s, at, None)
        return Together(
            arm=_in_camera(arm, cameras[0], self.given[0]),
            cameras=cameras,
            cost=solution.cost,
            misfit=(read - apart) / frames,
        )


def _let_go(window: ArmWindow, release_s: float) -> ArmWindow:
    gone = window.time_s > release_s
    points, radius = window.points_px.copy(), window.ball_radius_px.copy()
    points[gone, READ_POINTS.index("ball")] = radius[gone] = np.nan
    return replace(window, points_px=points, ball_radius_px=radius)


def _on_one_axis(windows: Sequence[ArmWindow], release_s: float) -> tuple[list[ArmWindow], int]:
    """Every window with a row for each moment of any, and for the release; NaN where it read nothing."""
    moments = np.concatenate([w.time_s for w in windows])
    owner = np.concatenate([np.full(len(w.time_s), n) for n, w in enumerate(windows)])
    order = np.argsort(moments, kind="stable")
    time_s = moments[order]
    for k in range(1, len(time_s)):  # frames of two cameras at one moment
        time_s[k] = max(time_s[k], time_s[k - 1] + 1e-5)
    found, at = [], 0
    for number, window in enumerate(windows):
        lost = {
            name: _scattered(getattr(window, name), owner[order] == number)
            for name in PER_FRAME
            if name != "time_s"
        }
        wide, at = with_release(replace(window, time_s=time_s, **lost), release_s)
        found.append(wide)
    return found, at


def _scattered(values: Array, mine: NDArray[np.bool_]) -> Array:
    out = np.full((len(mine), *values.shape[1:]), np.nan)
    out[mine] = values
    return out


def _in_field(pose: Pose, window: ArmWindow) -> Pose:
    station = window.station
    assert station is not None
    to_field = station.rotation.T
    return Pose(
        shoulder_m=pose.shoulder_m @ to_field.T + station.place_m,
        turn=to_field @ pose.turn,
        joints=pose.joints,
    )


def _in_axes(pose: Pose, window: ArmWindow) -> Pose:
    """The other way: from the field to the camera's axes."""
    station = window.station
    assert station is not None
    return Pose(
        shoulder_m=(pose.shoulder_m - station.place_m) @ station.rotation.T,
        turn=station.rotation @ pose.turn,
        joints=pose.joints,
    )


def _settled(camera: FieldCamera, body: Body, side: str, number: int) -> FieldCamera:
    """One of the cameras after the steps that the fit took for it (in the mirror for a left arm)."""
    flip = np.array([-1.0, 1.0, -1.0, 1.0, -1.0, 1.0, 1.0]) if side == "L" else np.ones(7)
    steps = body.steps[SHARED:].reshape(-1, STATION)[number] * flip
    turn = Rotation.from_rotvec(steps[:3]).as_matrix()
    return replace(
        camera,
        rotation=camera.rotation @ turn.T,
        position_m=camera.position_m + steps[3:6],
        focal_px=float(camera.focal_px * np.exp(steps[6])),
        covariance=np.zeros((7, 7)),
    )


def _in_camera(arm: FittedArm, camera: FieldCamera, given: ArmWindow) -> FittedArm:
    """An arm fitted in the field (a left one in its mirror), in the camera's axes."""
    left = given.side == "L"
    rotation = (
        camera.rotation * np.array([[-1.0], [1.0], [1.0]]) * [1.0, -1.0, 1.0] if left else camera.rotation
    )
    place = camera.position_m * [1.0, -1.0, 1.0] if left else camera.position_m
    turned = np.eye(chain.DOF)
    turned[chain.PLACE, chain.PLACE] = turned[chain.TURN, chain.TURN] = rotation
    path_m = (arm.path_m - place) @ rotation.T
    pose = Pose(
        shoulder_m=(arm.pose.shoulder_m - place) @ rotation.T,
        turn=rotation @ arm.pose.turn,
        joints=arm.pose.joints,
    )
    seen = chain.place(pose, arm.body).points_m[0]
    px = seen[:, :2] / seen[:, 2:] * camera.focal_px + np.array(given.centre_px)
    if left:
        px[:, 0] = 2 * given.centre_px[0] - px[:, 0]
    return replace(
        arm,
        pose=pose,
        covariance=turned @ arm.covariance @ turned.T,
        ball_cov_m2=rotation @ arm.ball_cov_m2 @ rotation.T,
        rate=turned @ arm.rate,
        path_m=path_m,
        posed_px=px,
    )
