"""What is true of a rendered clip: joint centres, angles and pixels at release and in the frames round it.

In:   a throw, a camera, the true times of the frames.
Out:  plain values for NAME.truth.json, in the words of definitions: field frame, metres, degrees, pixels.

Left-handed throws are posed as their mirror picture; `mirrored` turns points back into the field.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.orientation.angles import unit
from release.workshop.thrown import Thrown

Array = NDArray[np.float64]

MIRROR = np.array([1.0, -1.0, 1.0])
POINTS = (
    *("shoulder", "elbow", "wrist"),
    *(
        f"{finger}_{end}"
        for finger in ("thumb", "index", "middle", "ring", "little")
        for end in ("mcp", "tip")
    ),
    "ball",
)
FRAMES_ROUND = 30
STEP_S = 1e-4  # of the central differences for rates


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """A pinhole: a field point X is seen at c = R X + t (x right, y down, z away), then through K."""

    K: Array  # shape (3, 3), px
    R: Array  # shape (3, 3)
    t: Array  # shape (3,)

    def pixel(self, points: Array) -> Array:
        """Where field points are seen, shape (..., 2); (0, 0) is the outer corner of the top left pixel."""
        c = points @ self.R.T + self.t
        return c[..., :2] / c[..., 2:] * self.K[[0, 1], [0, 1]] + self.K[:2, 2]

    @property
    def eye(self) -> Array:
        """Where it stands, shape (3,)."""
        return -self.R.T @ self.t


def looking(eye: Array, target: Array, focal_px: float, size: tuple[int, int], roll_deg: float = 0) -> Camera:
    """A camera at `eye` with `target` in the middle of its picture."""
    z = unit(target - eye)
    x = unit(np.cross(z, [0.0, 0.0, 1.0]))
    y = np.cross(z, x)
    c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    R = np.stack([c * x + s * y, c * y - s * x, z])
    K = np.array([[focal_px, 0, size[0] / 2], [0, focal_px, size[1] / 2], [0, 0, 1.0]])
    return Camera(K=K, R=R, t=-R @ eye)


def angles_deg(points: Mapping[str, Array], side: str) -> dict[str, Array]:
    """Every angle of definitions from field points, each (..., 3); a left arm is its mirror picture."""
    flip = MIRROR if side == "L" else 1.0
    p = {name: value * flip for name, value in points.items()}
    d_u, d_f = unit(p["elbow"] - p["shoulder"]), unit(p["wrist"] - p["elbow"])
    d_h = unit(p["middle_mcp"] - p["wrist"])
    across = p["index_mcp"] - p["little_mcp"]
    r_h = unit(across - _dot(across, d_h) * d_h)
    palm = np.cross(r_h, d_h)
    q = unit(-d_u + _dot(d_u, d_f) * d_f)
    r_p = r_h - _dot(r_h, d_f) * d_f
    v = p["ball"] - p["shoulder"]
    found = {
        "wrist_flexion": np.arctan2(-_dot(d_f, palm), _dot(d_f, d_h)),
        "wrist_deviation": np.arcsin(_dot(d_f, r_h)),
        "forearm_rotation": np.arctan2(_dot(r_p, np.cross(q, d_f)), _dot(r_p, q)),
        "elbow_flexion": np.arccos(np.clip(_dot(d_u, d_f), -1, 1)),
        "arm_angle": np.arctan2(v[..., 2:], -v[..., 1:2]),
        "palm_azimuth": np.arctan2(-palm[..., 1:2], palm[..., :1]),
        "palm_elevation": np.arcsin(np.clip(palm[..., 2:], -1, 1)),
    }
    return {name: np.degrees(value[..., 0]) for name, value in found.items()}


def field_points(thrown: Thrown, side: str, time_s: Array) -> dict[str, Array]:
    """Joint centres and the ball in the field at times since release, each (t, 3)."""
    points = thrown.posed(time_s).points
    flip = MIRROR if side == "L" else 1.0
    return {name: points[name] * flip for name in POINTS}


def truth_of(
    thrown: Thrown, side: str, camera: Camera, time_s: Array, exposure_s: float
) -> dict[str, object]:
    """The part of a truth file that the throw and the camera fix.

    Args:
        thrown: The throw, right-handed.
        side: R or L.
        camera: In the field.
        time_s: Shape (n,), middle of each frame's exposure since release.
        exposure_s: Of one frame.

    Returns:
        Release, `at_release`, `frames` and the rest, on the clock of the first frame.
    """
    near = np.array([-STEP_S, 0.0, STEP_S])
    points = field_points(thrown, side, near)
    angles = angles_deg(points, side)
    flip = MIRROR if side == "L" else 1.0
    ball_m_s = thrown.velocity_m_s() * flip
    blur = camera.pixel(field_points(thrown, side, np.linspace(-0.5, 0.5, 9) * exposure_s)["wrist"])
    inside = time_s[0] <= 0 <= time_s[-1]
    where = float(np.interp(0.0, time_s, np.arange(len(time_s))))
    around = np.flatnonzero(np.abs(np.arange(len(time_s)) - where) <= FRAMES_ROUND) if inside else []
    shown = field_points(thrown, side, time_s[around]) if len(around) else {}
    shown_angles = angles_deg(shown, side) if shown else {}
    hand = thrown.posed(near).points["ball"] * flip
    # Turning past +-180 between the two instants would look like a huge rate.
    rate = {n: ((a[2] - a[0] + 180) % 360 - 180) / (2 * STEP_S) for n, a in angles.items()}
    return {
        "handedness": side,
        "K": camera.K.tolist(),
        "R": camera.R.tolist(),
        "t": camera.t.tolist(),
        "hand_held": False,
        "release_in_clip": bool(inside),
        "release_time_s": round(float(-time_s[0]), 7) if inside else None,
        "release_frame": round(where, 4) if inside else None,
        "release_offset_outside_s": None if inside else round(float(-time_s[0]), 7),
        "ball_speed_m_s": round(float(np.linalg.norm(ball_m_s)), 3),
        "hand_speed_m_s": round(float(np.linalg.norm(hand[1] - hand[0]) / STEP_S), 3),
        "wrist_blur_px_at_release": round(float(np.linalg.norm(np.diff(blur, axis=0), axis=1).sum()), 2),
        "at_release": _moment(points, angles, camera, 1)
        | {
            "ball_velocity_m_s": _rounded(ball_m_s, 3),
            "angle_rate_deg_s": {n: round(float(r), 1) for n, r in rate.items()},
        },
        "frames": [
            {"frame": int(f), "time_s": round(float(time_s[f] - time_s[0]), 7)}
            | _moment(shown, shown_angles, camera, k)
            for k, f in enumerate(around)
        ],
    }


def _moment(points: Mapping[str, Array], angles: Mapping[str, Array], camera: Camera, k: int) -> dict:
    return {
        "world": {n: _rounded(p[k], 5) for n, p in points.items()},
        "pixel": {n: _rounded(camera.pixel(p[k]), 3) for n, p in points.items()},
        "angles": {n: round(float(a[k]), 3) for n, a in angles.items()},
    }


def _rounded(values: Array, digits: int) -> list[float]:
    return [round(float(v), digits) for v in values]


def _dot(a: Array, b: Array) -> Array:
    return (a * b).sum(-1, keepdims=True)
