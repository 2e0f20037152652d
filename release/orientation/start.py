"""Where the fit starts: averaged readings and their mirror images in depth, or an earlier fit."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation, Slerp

from release.orientation.angles import unit
from release.orientation.chain import SHARED, Body, Pose, pose_from_directions
from release.orientation.kinematics import BALL_RADIUS_M, FOREARM_M
from release.orientation.window import ArmWindow

Array = NDArray[np.float64]

REACH_S = 0.008  # how far neighbours are averaged for a start: two frames at 240 per second


def starts(window: ArmWindow) -> Iterator[tuple[Pose, Body]]:
    """The readings as they are; then with the hand, the arm, or both turned over in depth.

    A nearly flat palm, and a segment of known length, look the same from the front when mirrored in the
    picture plane; the readings settle it unless they waver.
    """
    near = _nearness(window.time_s)
    upper_arm = _direction(near, window.upper_arm, window.upper_arm_sd_rad)
    forearm = _direction(near, window.forearm, window.forearm_sd_rad)
    palm = _rotation(near, window.palm, window.palm_cov_rad2)
    body = Body(steps=np.zeros(SHARED))
    wrist = _wrist(window, near)
    depth_flipped = np.array([1.0, 1.0, -1.0])
    for flip_arm, flip_hand in ((False, False), (False, True), (True, False), (True, True)):
        u, f, h = upper_arm, forearm, palm
        if flip_arm:
            u, f = u * depth_flipped, f * depth_flipped
        if flip_hand:
            r_h, d_h = h[:, :, 0] * depth_flipped, h[:, :, 1] * depth_flipped
            h = np.stack([r_h, d_h, np.cross(r_h, d_h)], axis=-1)
        yield pose_from_directions(wrist, u, f, h, body), body


def bridged(pose: Pose, time_s: Array, at_s: Array) -> Pose:
    """A pose at other moments, by straight lines between its own; held still beyond its ends."""
    inside = np.clip(at_s, time_s[0], time_s[-1])

    def between(values: Array) -> Array:
        return np.stack([np.interp(inside, time_s, column) for column in values.T], axis=-1)

    turn = Slerp(time_s, Rotation.from_matrix(pose.turn))(inside).as_matrix()
    return Pose(
        shoulder_m=between(pose.shoulder_m), turn=turn, joints=between(np.unwrap(pose.joints, axis=0))
    )


def _nearness(time_s: Array) -> Array:
    """Weights (k, k) of every frame in the average at every frame; wide enough to bridge gaps at 0."""
    apart = (time_s[:, None] - time_s[None, :]) / REACH_S
    return np.exp(-(apart**2) / 2) + 1e-6 / (1 + apart**2)


def _direction(near: Array, read: Array, sd: Array) -> Array:
    weight = np.where(np.all(np.isfinite(read), axis=1), 1 / sd**2, 0.0)
    return unit(near @ (np.nan_to_num(read) * np.nan_to_num(weight)[:, None]))


def _rotation(near: Array, read: Array, covariance: Array) -> Array:
    """Chordal mean of neighbouring rotations: the rotation nearest to the averaged matrix."""
    spread = np.trace(covariance, axis1=1, axis2=2)
    weight = np.nan_to_num(np.where(np.all(np.isfinite(read), axis=(1, 2)), 1 / spread, 0.0))
    mean = np.einsum("kl,lij->kij", near, np.nan_to_num(read) * weight[:, None, None])
    u, _, vt = np.linalg.svd(mean)
    sign = np.linalg.det(u @ vt)
    u[:, :, 2] *= sign[:, None]
    return u @ vt


def _wrist(window: ArmWindow, near: Array) -> Array:
    """The wrist's place: its pixel, at the distance that the ball's or the forearm's size tells."""
    px = window.points_px[:, 4]
    px = np.where(np.isfinite(px), px, window.points_px[:, 2])
    weight = np.all(np.isfinite(px), axis=1).astype(float)
    smooth = near @ (np.nan_to_num(px) * weight[:, None]) / (near @ weight)[:, None]
    distance = window.focal_px / _px_per_metre(window)
    ray = (smooth - np.array(window.centre_px)) / window.focal_px
    return np.column_stack([ray, np.ones(len(ray))]) * distance


def _px_per_metre(window: ArmWindow) -> float:
    if np.isfinite(window.ball_radius_px).sum() >= 3:
        return float(np.nanmedian(window.ball_radius_px)) / BALL_RADIUS_M
    shown = np.linalg.norm(window.points_px[:, 4] - window.points_px[:, 3], axis=1)
    return float(np.nanquantile(shown, 0.9)) / FOREARM_M  # the forearm seen most nearly from the side
