"""What the readings say about a pose: whitened residuals and their slopes.

Residuals are whitened by the reading's own covariance, and each kind of reading in each frame is weighted
down when it lies far out (Student's t), so that one misread frame does not pull the arm.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.orientation import chain
from release.orientation.angles import cross, unit
from release.orientation.chain import DOF, FOCAL, SHARED, STATION, Body, Posed, quaternions
from release.orientation.kinematics import BALL_RADIUS_M
from release.orientation.window import READ_POINTS, SHOWN, ArmWindow, Pin, Station

Array = NDArray[np.float64]

# Errors of a network's readings in neighbouring frames are alike for about this long: measured on 39 renders
# of people kept out of training, for the kinds of reading in their order: shoulder, elbow and wrist by the
# arm finder, seven points by the hand model, the ball's radius (taken as those), upper arm, forearm, palm.
ALIKE_S = np.array([0.028, 0.016, 0.016, *[0.016] * 7, 0.016, 0.024, 0.018, 0.009])
# How far directions err toward the camera or away from it, and in the picture, by the uncertainty that the
# networks state for both: root mean squares over 133 renders of people kept out of training.
LEAN_SD, ACROSS_SD = 1.8, 0.8
TAIL = 5.0  # degrees of freedom of Student's t: heavier tails than a normal distribution's
AT_ELBOW, AT_WRIST = READ_POINTS.index("elbow"), len(READ_POINTS) - 1 - READ_POINTS[::-1].index("wrist")


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What a window's readings come to whatever the pose: whitened, and zero where nothing was read."""

    window: ArmWindow
    worth: Array  # shape (14,), see `worths`
    points: Array  # shape (k, 10, 2, 2), whitens a place in px
    points_at: Array  # shape (k, 10, 2), of the principal point, whitened
    radius: Array  # shape (k,), whitens a radius in px
    radius_at: Array  # shape (k,), whitened
    directions: Array  # shape (2, k, 3, 3), whitens an error of the upper arm's and the forearm's direction
    directions_at: Array  # shape (2, k, 3), whitened
    directions_turn: Array  # shape (2, k, 3), whitened: per unit of the focal length's logarithm
    palm: Array  # shape (k, 3, 3), whitens a rotation vector
    palm_at: Array  # shape (k, 3, 3), a rotation
    palm_turn: Array  # shape (k, 3), as `hand_turn` of the window


@dataclass(frozen=True, slots=True, kw_only=True)
class Residuals:
    """What readings say against a pose, whitened: d numbers in each of k frames, of m kinds of reading.

    In the order of one window's shoulder, elbow and wrist, seven points by the hand model, the ball's radius,
    upper arm, forearm, palm and a person's points.
    """

    residual: Array  # shape (k, d)
    slope: Array  # shape (k, d, DOF + SHARED and STATION more for each station): own steps, then shared ones
    numbers: NDArray[np.int64]  # shape (m,), how many of the d belong to each kind
    worth: Array  # shape (m,), of each frame, as neighbours err alike
    firm: NDArray[np.bool_]  # shape (m,), a person's word, which is believed however far out it lies

    def of(self, kind: int) -> slice:
        """Which of the d numbers belong to one kind."""
        end = int(np.sum(self.numbers[: kind + 1]))
        return slice(end - int(self.numbers[kind]), end)

    def weighted(self) -> "Residuals":
        """The same after weighting each frame's reading of a kind by Student's t."""
        weight = self.worth * (TAIL + self.numbers) / (TAIL + self._far())
        root = np.repeat(np.sqrt(np.where(self.firm, 1.0, weight)), self.numbers, axis=1)
        return replace(self, residual=self.residual * root, slope=self.slope * root[..., None])

    def cost(self) -> float:
        """Minus twice the log likelihood of Student's t, up to a constant."""
        far = self._far()
        tailed = self.worth * (TAIL + self.numbers) * np.log1p(far / TAIL)
        return float(np.sum(np.where(self.firm, far, tailed)))

    def _far(self) -> Array:
        """Squared distance of each kind in each frame, shape (k, m)."""
        return np.add.reduceat(self.residual**2, np.cumsum(self.numbers) - self.numbers, axis=1)


def joined(parts: Sequence[Residuals]) -> Residuals:
    """Those of several windows of the same moments, one after the other."""
    if len(parts) == 1:
        return parts[0]
    wide = {n: np.concatenate([getattr(p, n) for p in parts], axis=1) for n in ("residual", "slope")}
    kinds = {n: np.concatenate([getattr(p, n) for p in parts]) for n in ("numbers", "worth", "firm")}
    return Residuals(**wide, **kinds)


def worths(window: ArmWindow, alike_s: Array) -> Array:
    """What a frame of each kind of reading is worth, shape (14,), where neighbouring frames err alike.

    A first-order autoregression with correlation rho = exp(-dt / alike_s) carries (1 + rho) / (1 - rho) times
    less information a frame than independent errors; dt is between the frames in which that was read.
    """
    others = (window.ball_radius_px, window.upper_arm[:, 0], window.forearm[:, 0], window.palm[:, 0, 0])
    read = np.isfinite(np.column_stack([window.points_px[..., 0], *others]))
    every = np.median(np.diff(window.time_s))
    apart_s = [np.median(np.diff(window.time_s[r])) if r.sum() > 1 else every for r in read.T]
    rho = np.exp(-np.array(apart_s) / alike_s)
    return (1 - rho) / (1 + rho)


def whitened(window: ArmWindow, worth: Array) -> Readings:
    """A window's readings, ready to be held against poses.

    Args:
        worth: See `worths`.
    """
    off_px = window.points_px - np.array(window.centre_px)
    points = _where_read(off_px, _root(window.points_cov_px2))
    radius = _where_read(window.ball_radius_px[:, None], 1 / window.ball_radius_sd_px[:, None, None])[:, 0, 0]
    directions = [
        _where_read(read, _told_apart(read, _sight(window, at)) / sd[:, None, None])
        for read, sd, at in (
            (window.upper_arm, window.upper_arm_sd_rad, AT_ELBOW),
            (window.forearm, window.forearm_sd_rad, AT_WRIST),
        )
    ]
    turned = np.cross([window.arm_turn, window.hand_turn], [window.upper_arm, window.forearm])
    lost = ~np.all(np.isfinite(window.palm), axis=(1, 2))
    palm = np.where(lost[:, None, None], np.eye(3), window.palm)
    return Readings(
        window=window,
        worth=worth,
        points=points,
        points_at=_apply(points, np.nan_to_num(off_px)),
        radius=radius,
        radius_at=np.nan_to_num(window.ball_radius_px) * radius,
        directions=np.stack(directions),
        directions_at=_apply(np.stack(directions), np.nan_to_num([window.upper_arm, window.forearm])),
        directions_turn=_apply(np.stack(directions), np.nan_to_num(turned)),
        palm=_where_read(window.palm[:, :, 0], _root(window.palm_cov_rad2)),
        palm_at=Rotation.from_matrix(palm).as_matrix(),  # networks answer in single precision
        palm_turn=np.where(lost[:, None], 0.0, window.hand_turn),
    )


def against(readings: Readings, posed: Posed, body: Body) -> Residuals:
    """All readings of a window against a pose."""
    window, turns, focal = readings.window, None, FOCAL
    moved = np.concatenate(chain.point_slopes(posed, body), axis=3)
    if window.station is not None:
        at = _columns(window.station)
        focal, field_m, posed = at.stop - 1, posed.points_m, seen_from(window, posed, body)
        rotation, place = _stood(window.station, body)
        lever = cross((field_m - place)[:, :, None], np.eye(3))  # Y x e_j: a turn takes the scene back
        more = np.zeros((*moved.shape[:3], len(body.steps) - SHARED))
        moved, turns = np.concatenate([rotation @ moved, more], axis=3), -rotation.T
        moved[..., DOF + at.start : DOF + at.start + 3] = (lever @ rotation.T).transpose(0, 1, 3, 2)
        moved[..., DOF + at.start + 3 : DOF + at.start + 6] = -rotation
    by = _By(turns=turns, turn_at=DOF + focal - 6, focal_at=DOF + focal, focal=float(body.steps[focal]))
    parts = [_points(readings, posed, moved, by), _radius(readings, posed, moved, by)]
    parts += [_directions(readings, posed, moved, by), _palm(readings, posed, moved, by)]
    parts += [_pin(pin, window, posed, moved, by) for pin in window.pins]
    pins = len(window.pins)
    return Residuals(
        residual=np.concatenate([residual for residual, _ in parts], axis=1),
        slope=np.concatenate([slope for _, slope in parts], axis=1),
        numbers=np.array([*[2] * len(SHOWN), 1, 3, 3, 3, *[2] * pins]),
        worth=np.append(readings.worth, np.ones(pins)),
        firm=np.arange(len(readings.worth) + pins) >= len(readings.worth),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _By:
    """The shared parameters of one camera, by their places among all steps of a frame."""

    turns: Array | None  # shape (3, 3), how directions turn with the camera; None without a station
    turn_at: int  # the first of the camera's own, with a station
    focal_at: int
    focal: float  # the step of the focal length's logarithm


Part = tuple[Array, Array]  # residuals (k, d) and slopes (k, d, DOF and shared)


def seen_from(window: ArmWindow, posed: Posed, body: Body) -> Posed:
    """The arm in the axes of the window's camera; as it is where the camera has no station."""
    if window.station is None:
        return posed
    rotation, place = _stood(window.station, body)
    return Posed(
        upper_arm=posed.upper_arm @ rotation.T,
        forearm=posed.forearm @ rotation.T,
        palm=rotation @ posed.palm,
        points_m=(posed.points_m - place) @ rotation.T,
        axes=posed.axes @ rotation.T,
    )


def _columns(station: Station) -> slice:
    first = SHARED + STATION * station.number
    return slice(first, first + STATION)


def _stood(station: Station, body: Body) -> tuple[Array, Array]:
    """Rotation and place of a camera after the steps taken so far."""
    steps = body.steps[_columns(station)]
    turn = Rotation.from_rotvec(steps[:3]).as_matrix()
    return station.rotation @ turn.T, station.place_m + steps[3:6]


def project(points_m: Array, focal_px: float, centre_px: tuple[float, float]) -> Array:
    """Pixels (..., 2) of points (..., 3) in camera axes."""
    return points_m[..., :2] / points_m[..., 2:] * focal_px + np.array(centre_px)


def _points(readings: Readings, posed: Posed, moved: Array, by: _By) -> Part:
    seen, whiten = posed.points_m[:, SHOWN], readings.points
    per_metre = readings.window.focal_px * np.exp(by.focal) / seen[..., 2:]
    off = _apply(whiten, seen[..., :2] * per_metre)  # from the principal point
    slope = np.concatenate([whiten * per_metre[..., None], -(off / seen[..., 2:])[..., None]], axis=-1)
    slope = slope @ moved[:, SHOWN]
    slope[..., by.focal_at] += off
    k = len(seen)
    return (off - readings.points_at).reshape(k, -1), slope.reshape(k, -1, moved.shape[-1])


def _pin(pin: Pin, window: ArmWindow, posed: Posed, moved: Array, by: _By) -> Part:
    """A person's point in its frame; zero in all others."""
    at = pin.row(window.time_s)
    focal = window.focal_px * np.exp(by.focal)
    seen = posed.points_m[at, pin.point]
    predicted = project(seen, focal, window.centre_px)
    per_metre = np.zeros((2, 3))
    per_metre[0, 0] = per_metre[1, 1] = focal / seen[2]
    per_metre[:, 2] = -focal * seen[:2] / seen[2] ** 2
    residual, slope = np.zeros((len(moved), 2)), np.zeros((len(moved), 2, moved.shape[-1]))
    residual[at] = (predicted - np.array(pin.place_px)) / pin.sd_px
    slope[at] = per_metre @ moved[at, pin.point] / pin.sd_px
    slope[at, :, by.focal_at] += (predicted - np.array(window.centre_px)) / pin.sd_px
    return residual, slope


def _radius(readings: Readings, posed: Posed, moved: Array, by: _By) -> Part:
    """The held ball's known size tells its distance."""
    z = posed.points_m[:, 7, 2]
    radius = readings.window.focal_px * np.exp(by.focal) * BALL_RADIUS_M / z * readings.radius
    slope = -(radius / z)[:, None] * moved[:, 7, 2]
    slope[:, by.focal_at] += radius
    return (radius - readings.radius_at)[:, None], slope[:, None]


def _directions(readings: Readings, posed: Posed, moved: Array, by: _By) -> Part:
    residual, slope = [], []
    for n, (predicted, last) in enumerate(((posed.upper_arm, 3), (posed.forearm, 4))):
        whiten, turned = readings.directions[n], readings.directions_turn[n]
        own = np.zeros((len(whiten), 3, moved.shape[-1]))
        own[:, :, 3 : 3 + last] = whiten @ cross(posed.axes[:, :last], predicted[:, None]).transpose(0, 2, 1)
        own[:, :, by.focal_at] = -turned
        if by.turns is not None:
            by_turn = cross(by.turns, predicted[:, None]).transpose(0, 2, 1)
            own[:, :, by.turn_at : by.turn_at + 3] = whiten @ by_turn
        residual.append(_apply(whiten, predicted) - readings.directions_at[n] - by.focal * turned)
        slope.append(own)
    return np.concatenate(residual, axis=1), np.concatenate(slope, axis=1)


def _sight(window: ArmWindow, point: int) -> Array:
    """Unit vectors (k, 3) toward a point as it was read; along the optical axis where it was not."""
    off = np.nan_to_num((window.points_px[:, point] - np.array(window.centre_px)) / window.focal_px)
    return unit(np.column_stack([off, np.ones(len(off))]))


def _told_apart(read: Array, sight: Array) -> Array:
    """Weights (k, 3, 3) of a direction's error: little along the line of sight, much across the picture."""
    lean = unit(sight - np.sum(sight * read, axis=1, keepdims=True) * read)
    across = np.cross(read, lean)
    return (
        np.einsum("ki,kj->kij", read, read)
        + np.einsum("ki,kj->kij", lean, lean) / LEAN_SD
        + np.einsum("ki,kj->kij", across, across) / ACROSS_SD
    )


def _palm(readings: Readings, posed: Posed, moved: Array, by: _By) -> Part:
    """Twice the vector part of the quaternion that separates the palms: the angle, for small ones."""
    turn, whiten = readings.palm_turn, readings.palm
    read = Rotation.from_rotvec(by.focal * turn).as_matrix() @ readings.palm_at
    apart = quaternions(posed.palm @ read.transpose(0, 2, 1))
    vector, scalar = apart[:, :3], apart[:, 3]
    slope = np.zeros((len(turn), 3, moved.shape[-1]))
    axes = posed.axes
    slope[:, :, 3:DOF] = (scalar[:, None, None] * axes + cross(axes, vector[:, None])).transpose(0, 2, 1)
    if by.turns is not None:
        by_turn = scalar[:, None, None] * by.turns + cross(by.turns, vector[:, None])
        slope[:, :, by.turn_at : by.turn_at + 3] = by_turn.transpose(0, 2, 1)
    slope[:, :, by.focal_at] = -(scalar[:, None] * turn + cross(vector, turn))
    return _apply(whiten, 2 * vector), whiten @ slope


def _apply(matrix: Array, vector: Array) -> Array:
    return (matrix @ vector[..., None])[..., 0]


def _root(covariance: Array) -> Array:
    """What whitens errors of these covariances; the identity where there is none."""
    lost = ~np.all(np.isfinite(covariance), axis=(-1, -2))
    plain = np.where(lost[..., None, None], np.eye(covariance.shape[-1]), covariance)
    return np.asarray(np.linalg.inv(np.linalg.cholesky(plain)), float)


def _where_read(read: Array, whiten: Array) -> Array:
    """Zero where anything of a reading (..., d) or of what whitens it (..., d, d) is not finite."""
    known = np.all(np.isfinite(read), axis=-1) & np.all(np.isfinite(whiten), axis=(-1, -2))
    return np.where(known[..., None, None], whiten, 0.0)
