"""Throws drawn from joint curves, with exact truth and simulated readings: no pictures, so cheap."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation
from scipy.stats import norm
from scipy.stats import t as student

from release.orientation import chain
from release.orientation.angles import across, field_angles_deg, joint_angles_deg, unit
from release.orientation.kinematics import BALL_RADIUS_M
from release.orientation.residuals import ACROSS_SD, LEAN_SD, project
from release.orientation.window import SHOWN, ArmWindow, as_right_arm


@dataclass(frozen=True, kw_only=True)
class Throw:
    """A right arm's motion; time 0 is release. Field frame, metres."""

    at_release_rad: np.ndarray  # elbow flexion, forearm rotation, wrist deviation, wrist flexion
    slot_deg: float
    lean_deg: float
    body: chain.Body

    def posed(self, t):
        """The arm at times t (k,), in the field frame."""
        return chain.place(self.pose(t), self.body)

    def pose(self, t):
        """Its place, turn and joints; these stay within their published limits."""
        elbow_0, roll_0, deviation_0, flexion_0 = self.at_release_rad
        ramp = np.tanh(t / 0.025)  # most of the motion falls in 50 ms
        bent, end = np.radians(100), elbow_0 - np.radians(8)  # 2,500 deg/s at most
        elbow = end + (bent - end) / (1 + (bent - elbow_0) / (elbow_0 - end) * np.exp(t / 0.009))
        roll = roll_0 + np.radians(25) * (ramp + 0.4 * np.tanh((t - 0.03) / 0.02) + 0.4 * np.tanh(1.5))
        flexion = flexion_0 + np.radians(35) * ramp
        deviation = deviation_0 + np.radians(6) * np.sin(t / 0.03)
        inward = np.radians(70) * np.tanh(t / 0.022)  # shoulder internal rotation, 3200 deg/s at release
        swing = np.radians(400) * t
        upper = Rotation.from_euler("ZY", [-75.0, -self.slot_deg], degrees=True)
        upper = Rotation.from_euler("XZ", [self.lean_deg, 0], degrees=True) * upper
        base = upper.as_matrix() @ np.array([[0, 0, 1], [0, -1, 0], [1, 0, 0]])  # columns bend, hinge, d_u
        turn = Rotation.from_rotvec(np.outer(swing, [0, 0, 1])) * Rotation.from_matrix(base)
        turn = turn * Rotation.from_rotvec(np.outer(inward, [0, 0, 1]))
        shoulder = np.array([1.1, -0.2, 1.35]) + np.outer(t, [2.0, 0.4, -0.5])
        joints = np.column_stack([elbow, roll, deviation, flexion])
        return chain.Pose(shoulder_m=shoulder, turn=turn.as_matrix(), joints=joints)


@dataclass(frozen=True, kw_only=True)
class Camera:
    rotation: np.ndarray  # field to camera axes
    offset_m: np.ndarray
    focal_px: float
    centre_px: tuple[float, float] = (640.0, 360.0)


def some_throw(rng):
    at_release = np.radians(rng.uniform([15, -60, -12, -35], [60, 40, 15, 25]))
    steps = rng.normal(size=chain.SHARED) * chain.shared_sd(0.0)
    return Throw(
        at_release_rad=at_release,
        slot_deg=rng.uniform(-20, 40),
        lean_deg=rng.uniform(-15, 15),
        body=chain.Body(steps=steps * 0.7),
    )


def some_camera(rng, *, azimuth_deg=None, hand_px=None):
    """A level camera on a circle round the release, looking at the arm."""
    azimuth = np.radians(rng.uniform(-180, 180) if azimuth_deg is None else azimuth_deg)
    far, hand = rng.uniform(4, 12), rng.uniform(25, 120) if hand_px is None else hand_px
    at = np.array([1.1, -0.4, 1.5])
    place = at + far * np.array([np.cos(azimuth), np.sin(azimuth), rng.uniform(-0.1, 0.1)])
    z = (at - place) / np.linalg.norm(at - place)
    x = np.cross(z, [0.0, 0.0, 1.0])
    x /= np.linalg.norm(x)
    rotation = np.stack([x, np.cross(z, x), z])
    return Camera(rotation=rotation, offset_m=-rotation @ place, focal_px=hand / 0.092 * far)


@dataclass(frozen=True, kw_only=True)
class Noise:
    """Errors of simulated readings; degrees are per axis, pixels a share of the hand's length."""

    palm_deg: float = 5.0
    forearm_deg: float = 4.0
    upper_arm_deg: float = 6.0
    points: float = 0.05
    arm_points: float = 0.15
    ball_radius: float = 0.05
    alike_s: float | np.ndarray = (
        0.004  # correlation time; or one for each of `residuals.blocks`, shape (14,)
    )
    tail: float = np.inf  # degrees of freedom of Student's t; half of the errors lie where they do without

    def times(self, factor):
        values = {
            n: factor * getattr(self, n) for n in self.__dataclass_fields__ if n not in ("alike_s", "tail")
        }
        return Noise(**values, alike_s=self.alike_s, tail=self.tail)


def readings(throw, camera, noise, rng, *, fps=240.0, reach_s=0.085, phase=0.3, side="R", focal_log_sd=0.0):
    """An ArmWindow of a throw as networks with that noise would read it, on a clock with release at 0."""
    t = (np.arange(-np.ceil(reach_s * fps), np.ceil(reach_s * fps)) + phase) / fps
    posed = throw.posed(t)
    points = posed.points_m @ camera.rotation.T + camera.offset_m
    px = project(points, camera.focal_px, camera.centre_px)[:, SHOWN]
    hand_px = camera.focal_px * 0.092 / points[:, 2, 2]
    rough = np.array([noise.arm_points] * 3 + [noise.points * 2] + [noise.points] * 6)
    sd = rough[None] * hand_px[:, None]
    held = t < 0

    for_points, for_radius, for_upper_arm, for_forearm, for_palm = np.split(
        np.broadcast_to(noise.alike_s, 14), [10, 11, 12, 13]
    )

    def errors(alike_s, *shape):
        return tailed(alike(rng, (len(t), *shape), t, alike_s), noise.tail)

    px_read = px + sd[..., None] * errors(for_points[:, None], 10, 2)
    px_read[~held, 9] = np.nan
    radius = camera.focal_px * BALL_RADIUS_M / points[:, 7, 2]
    turned = Rotation.from_rotvec(np.radians(noise.palm_deg) * errors(for_palm, 3)).as_matrix()
    window = ArmWindow(
        side="R",
        time_s=t,
        points_px=px_read,
        points_cov_px2=sd[..., None, None] ** 2 * np.eye(2),
        upper_arm=nudged(
            posed.upper_arm @ camera.rotation.T, noise.upper_arm_deg, errors(for_upper_arm, 2), points[:, 1]
        ),
        upper_arm_sd_rad=np.full(len(t), np.radians(noise.upper_arm_deg)),
        forearm=nudged(
            posed.forearm @ camera.rotation.T, noise.forearm_deg, errors(for_forearm, 2), points[:, 2]
        ),
        forearm_sd_rad=np.full(len(t), np.radians(noise.forearm_deg)),
        palm=turned @ camera.rotation @ posed.palm,
        palm_cov_rad2=np.tile(np.radians(noise.palm_deg) ** 2 * np.eye(3), (len(t), 1, 1)),
        ball_radius_px=np.where(held, radius * (1 + noise.ball_radius * errors(for_radius[0])), np.nan),
        ball_radius_sd_px=noise.ball_radius * radius,
        arm_turn=np.zeros((len(t), 3)),
        hand_turn=np.zeros((len(t), 3)),
        focal_px=camera.focal_px,
        focal_log_sd=max(focal_log_sd, 1e-3),
        centre_px=camera.centre_px,
    )
    return window if side == "R" else mirrored(window)


def mirrored(window):
    """The same pictures in a mirror: of a left arm."""
    from dataclasses import replace

    return replace(as_right_arm(replace(window, side="L")), side="L")


def truth_deg(throw, camera):
    """Every angle at release; the target is +x of the field."""
    posed = throw.posed(np.zeros(1))
    angles = joint_angles_deg(posed.upper_arm, posed.forearm, posed.palm, "R")
    ball = posed.points_m[:, 7] - posed.points_m[:, 0]
    angles |= field_angles_deg(ball, posed.forearm, posed.palm, "R")
    return {name: float(value[0]) for name, value in angles.items()}


def alike(rng, shape, t, alike_s):
    """Errors of unit variance, correlated exp(-dt / alike_s) along the first axis; alike_s > 0."""
    errors = rng.normal(size=shape)
    for k in range(1, len(t)):
        rho = np.exp(-(t[k] - t[k - 1]) / alike_s)
        errors[k] = rho * errors[k - 1] + np.sqrt(1 - rho**2) * errors[k]
    return errors


def tailed(errors, freedom):
    """Normal errors of unit variance given the tails of Student's t, each as far out among all as before."""
    if np.isinf(freedom):
        return errors
    return student.ppf(norm.cdf(errors), freedom) * norm.ppf(0.75) / student.ppf(0.75, freedom)


def nudged(direction, sd_deg, errors, seen_m):
    """Off along the line of sight and across it by as much as the fit takes the networks to be."""
    lean = across(unit(seen_m), direction)
    off = np.stack([LEAN_SD * lean, ACROSS_SD * np.cross(direction, lean)], axis=1)
    return unit(direction + np.radians(sd_deg) * np.einsum("ki,kij->kj", errors, off))
