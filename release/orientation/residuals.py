"""What the readings say about a pose: whitened residuals and their slopes.

Blocks of residuals are whitened by the reading's own covariance, and each block is weighted down when it
lies far out (Student's t), so that one misread frame does not pull the arm.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.orientation import chain
from release.orientation.angles import unit
from release.orientation.chain import DOF, FOCAL, SHARED, STATION, Body, Posed
from release.orientation.kinematics import BALL_RADIUS_M
from release.orientation.window import READ_POINTS, SHOWN, ArmWindow, Pin, Station

Array = NDArray[np.float64]

# Errors of a network's readings in neighbouring frames are alike for about this long: measured on 39 renders
# of people kept out of training, for the blocks in their order: shoulder, elbow and wrist by the arm finder,
# seven points by the hand model, the ball's radius (taken as those), upper arm, forearm, palm.
ALIKE_S = np.array([0.028, 0.016, 0.016, *[0.016] * 7, 0.016, 0.024, 0.018, 0.009])
# How far directions err toward the camera or away from it, and in the picture, by the uncertainty that the
# networks state for both: root mean squares over 133 renders of people kept out of training.
LEAN_SD, ACROSS_SD = 1.8, 0.8
TAIL = 5.0  # degrees of freedom of Student's t: heavier tails than a normal distribution's
AT_ELBOW, AT_WRIST = READ_POINTS.index("elbow"), len(READ_POINTS) - 1 - READ_POINTS[::-1].index("wrist")
PIN_SD_PX = 1.0  # of a point that a person dragged into place; assumed, not measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Residuals of one kind of reading in k frames, d numbers each; zero where nothing was read."""

    residual: Array  # shape (k, d)
    own: Array  # shape (k, d, DOF)
    shared: Array  # shape (k, d, SHARED and STATION more for each station)
    worth: float = 1.0  # of each frame, as neighbours err alike
    firm: bool = False  # a person's word, which is believed however far out it lies

    def weighted(self) -> "Block":
        """The block after weighting each frame by Student's t."""
        if self.firm:
            return self
        far = np.sum(self.residual**2, axis=1)
        root = np.sqrt(self.worth * (TAIL + self.residual.shape[1]) / (TAIL + far))[:, None]
        return replace(
            self,
            residual=self.residual * root,
            own=self.own * root[..., None],
            shared=self.shared * root[..., None],
        )

    def cost(self) -> float:
        """Minus twice the log likelihood of Student's t, up to a constant."""
        far = np.sum(self.residual**2, axis=1)
        if self.firm:
            return float(np.sum(far))
        return float(self.worth * np.sum((TAIL + self.residual.shape[1]) * np.log1p(far / TAIL)))


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


def blocks(window: ArmWindow, posed: Posed, body: Body, worth: Array) -> list[Block]:
    """All readings of a window against a pose.

    Args:
        worth: See `worths`; in the order of what is answered, pins left out.
    """
    own, shared = chain.point_slopes(posed, body)
    width, turns = len(body.steps), None
    if window.station is not None:
        at = _columns(window.station)
        field_m, seen = posed.points_m, seen_from(window, posed, body)
        rotation, place = _stood(window.station, body)
        lever = np.cross((field_m - place)[:, :, None], np.eye(3))  # Y x e_j: a turn takes the scene back
        own = rotation @ own
        shared = np.concatenate(
            [rotation @ shared, (lever @ rotation.T).transpose(0, 1, 3, 2), _spread(-rotation, lever)], axis=3
        )
        posed, turns = seen, -rotation.T
        body = Body(steps=np.append(body.steps[:FOCAL], body.steps[at][-1]))
    found = _points(window, posed, body, own, shared)
    found += [_radius(window, posed, body, own, shared), *_directions(window, posed, body, turns)]
    found.append(_palm(window, posed, body, turns))
    read = [_whole(b, w) for b, w in zip(found, worth, strict=True)]
    read += [_pin(pin, window, posed, body, own, shared) for pin in window.pins]
    return read if window.station is None else [_widened(b, window.station, width) for b in read]


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


def _spread(matrix: Array, like: Array) -> Array:
    return np.broadcast_to(matrix, like.shape)


def _widened(block: Block, station: Station, width: int) -> Block:
    """A block on the shared parameters of one camera, on those of all."""
    first = _columns(station).start
    shared = np.zeros((*block.shared.shape[:2], width))
    shared[..., :FOCAL] = block.shared[..., :FOCAL]
    shared[..., first : first + 6] = block.shared[..., SHARED:]
    shared[..., first + 6] = block.shared[..., FOCAL]
    return replace(block, shared=shared)


def _whole(block: Block, worth: float) -> Block:
    """Zero where nothing was read."""
    read = (
        np.all(np.isfinite(block.residual), axis=1)[:, None]
        & np.all(np.isfinite(block.own), axis=(1, 2))[:, None]
    )
    return Block(
        residual=np.where(read, block.residual, 0.0),
        own=np.where(read[..., None], block.own, 0.0),
        shared=np.where(read[..., None], block.shared, 0.0),
        worth=float(worth),
    )


def project(points_m: Array, focal_px: float, centre_px: tuple[float, float]) -> Array:
    """Pixels (..., 2) of points (..., 3) in camera axes."""
    return points_m[..., :2] / points_m[..., 2:] * focal_px + np.array(centre_px)


def _points(window: ArmWindow, posed: Posed, body: Body, own: Array, shared: Array) -> list[Block]:
    focal = window.focal_px * np.exp(body.steps[FOCAL])
    seen, own, shared = posed.points_m[:, SHOWN], own[:, SHOWN], shared[:, SHOWN]
    z = seen[..., 2]
    per_metre = np.zeros((*z.shape, 2, 3))
    per_metre[..., 0, 0] = per_metre[..., 1, 1] = focal / z
    per_metre[..., 2] = -focal * seen[..., :2] / z[..., None] ** 2
    predicted = project(seen, focal, window.centre_px)
    whiten = np.linalg.inv(np.linalg.cholesky(_plain(window.points_cov_px2)))
    slope = whiten @ per_metre
    residual = np.einsum("kpij,kpj->kpi", whiten, predicted - window.points_px)
    own_px, shared_px = slope @ own, slope @ shared
    shared_px[..., FOCAL] += np.einsum("kpij,kpj->kpi", whiten, predicted - np.array(window.centre_px))
    return [
        Block(residual=residual[:, p], own=own_px[:, p], shared=shared_px[:, p]) for p in range(len(SHOWN))
    ]


def _pin(pin: Pin, window: ArmWindow, posed: Posed, body: Body, own: Array, shared: Array) -> Block:
    """A person's point in its frame; zero in all others."""
    at, k = int(np.argmin(np.abs(window.time_s - pin.time_s))), len(window.time_s)
    focal = window.focal_px * np.exp(body.steps[FOCAL])
    seen = posed.points_m[at, pin.point]
    predicted = project(seen, focal, window.centre_px)
    slope = np.zeros((2, 3))
    slope[0, 0] = slope[1, 1] = focal / seen[2]
    slope[:, 2] = -focal * seen[:2] / seen[2] ** 2
    block = Block(
        residual=np.zeros((k, 2)),
        own=np.zeros((k, 2, DOF)),
        shared=np.zeros((k, 2, shared.shape[-1])),
        firm=True,
    )
    block.residual[at] = (predicted - np.array(pin.place_px)) / PIN_SD_PX
    block.own[at] = slope @ own[at, pin.point] / PIN_SD_PX
    block.shared[at] = slope @ shared[at, pin.point] / PIN_SD_PX
    block.shared[at, :, FOCAL] += (predicted - np.array(window.centre_px)) / PIN_SD_PX
    return block


def _radius(window: ArmWindow, posed: Posed, body: Body, own: Array, shared: Array) -> Block:
    """The held ball's known size tells its distance."""
    z = posed.points_m[:, 7, 2]
    radius = window.focal_px * np.exp(body.steps[FOCAL]) * BALL_RADIUS_M / z
    slope = -radius / z / window.ball_radius_sd_px
    shared = slope[:, None] * shared[:, 7, 2]
    shared[:, FOCAL] += radius / window.ball_radius_sd_px
    return Block(
        residual=((radius - window.ball_radius_px) / window.ball_radius_sd_px)[:, None],
        own=(slope[:, None] * own[:, 7, 2])[:, None],
        shared=shared[:, None],
    )


def _directions(window: ArmWindow, posed: Posed, body: Body, turns: Array | None) -> list[Block]:
    found = []
    for predicted, read, sd, turn, last, at in (
        (posed.upper_arm, window.upper_arm, window.upper_arm_sd_rad, window.arm_turn, 3, AT_ELBOW),
        (posed.forearm, window.forearm, window.forearm_sd_rad, window.hand_turn, 4, AT_WRIST),
    ):
        whiten = _told_apart(read, _sight(window, at)) / sd[:, None, None]
        own = np.zeros((len(sd), 3, DOF))
        moved = np.cross(posed.axes[:, :last], predicted[:, None]).transpose(0, 2, 1)
        own[:, :, 3 : 3 + last] = whiten @ moved
        shared = _no_slopes(len(sd), turns)
        shared[:, :, FOCAL] = -_apply(whiten, np.cross(turn, read))
        if turns is not None:
            by_turn = np.cross(turns, predicted[:, None]).transpose(0, 2, 1)
            shared[:, :, SHARED : SHARED + 3] = whiten @ by_turn
        turned = read + body.steps[FOCAL] * np.cross(turn, read)
        found.append(Block(residual=_apply(whiten, predicted - turned), own=own, shared=shared))
    return found


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


def _no_slopes(k: int, turns: Array | None) -> Array:
    return np.zeros((k, 3, SHARED if turns is None else SHARED + 6))


def _palm(window: ArmWindow, posed: Posed, body: Body, turns: Array | None) -> Block:
    """Twice the vector part of the quaternion that separates the palms: the angle, for small ones."""
    lost = ~np.all(np.isfinite(window.palm), axis=(1, 2))
    read = np.where(lost[:, None, None], np.eye(3), window.palm)
    turn = np.where(lost[:, None], 0.0, window.hand_turn)
    read = Rotation.from_rotvec(body.steps[FOCAL] * turn).as_matrix() @ read
    apart = Rotation.from_matrix(posed.palm @ read.transpose(0, 2, 1)).as_quat(canonical=True)
    vector, scalar = apart[:, :3], apart[:, 3]
    axes = posed.axes.transpose(0, 2, 1)  # (k, 3, 7)
    whiten = np.linalg.inv(np.linalg.cholesky(_plain(window.palm_cov_rad2)))
    own = np.zeros((len(turn), 3, DOF))
    own[:, :, 3:] = scalar[:, None, None] * axes + np.cross(posed.axes, vector[:, None]).transpose(0, 2, 1)
    shared = _no_slopes(len(turn), turns)
    if turns is not None:
        by_turn = scalar[:, None, None] * turns.T + np.cross(turns, vector[:, None]).transpose(0, 2, 1)
        shared[:, :, SHARED : SHARED + 3] = by_turn
    shared[:, :, FOCAL] = -(scalar[:, None] * turn + np.cross(vector, turn))
    residual = np.where(lost[:, None], np.nan, 2 * vector)
    return Block(residual=_apply(whiten, residual), own=whiten @ own, shared=whiten @ shared)


def _apply(matrix: NDArray[np.floating], vector: Array) -> Array:
    return np.einsum("kij,kj->ki", matrix, vector)


def _plain(covariance: Array) -> Array:
    """Covariances with the identity where there is none: those readings are NaN anyway."""
    lost = ~np.all(np.isfinite(covariance), axis=(-1, -2))
    return np.where(lost[..., None, None], np.eye(covariance.shape[-1]), covariance)
