"""Readings of one clip beside its truth, frame by frame."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from scipy.spatial.transform import Rotation

from release.landmarks.result import HAND_POINTS, ArmReading, HandReading
from release.landmarks.view import view_rotation
from release.orientation.window import read_twice

KNUCKLES = ("wrist", "index_mcp", "middle_mcp", "ring_mcp", "little_mcp")


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Errors of one clip; per-frame arrays share their length, NaN where nothing was answered."""

    palm_px: float  # wrist to middle knuckle at release
    palm_deg: np.ndarray
    palm_squared: np.ndarray  # squared error over stated variance
    forearm_deg: np.ndarray
    forearm_squared: np.ndarray
    upper_arm_deg: np.ndarray
    knuckles_percent: np.ndarray  # mean of wrist and knuckles, of the palm's true length in the picture
    wrist_squared: np.ndarray
    ball_diameters: np.ndarray
    held: np.ndarray
    held_said: np.ndarray
    from_release: np.ndarray
    strange: np.ndarray  # beyond the 98th percentile of held-back renders, or no hand seen
    lost: np.ndarray  # nothing answered, or the wrist a palm or more off
    arm_right: (
        np.ndarray
    )  # own length: frames within 80 ms, hand in the picture; side right, wrist within half a palm

    PER_FRAME: ClassVar = (
        *("palm_deg", "palm_squared", "forearm_deg", "forearm_squared", "upper_arm_deg"),
        *(
            "knuckles_percent",
            "wrist_squared",
            "ball_diameters",
            "held",
            "held_said",
            "from_release",
            "strange",
        ),
    )


def unit(v):
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def true_directions(truth):
    """Palm (k, 3, 3), forearm and upper arm (k, 3) in camera axes, as definitions say."""
    R = np.array([f.get("R", truth.get("R")) for f in truth["frames"]])
    world = {n: np.array([f["world"][n] for f in truth["frames"]]) for n in truth["frames"][0]["world"]}
    d_h = unit(world["middle_mcp"] - world["wrist"])
    across = world["index_mcp"] - world["little_mcp"]
    r_h = unit(across - (across * d_h).sum(1, keepdims=True) * d_h)
    p = np.cross(r_h, d_h) if truth["handedness"] == "R" else np.cross(d_h, r_h)
    palm = R @ np.stack([r_h, d_h, p], axis=2)
    arm = [unit(world[b] - world[a]) for a, b in (("elbow", "wrist"), ("shoulder", "elbow"))]
    return palm, *(np.einsum("kij,kj->ki", R, d) for d in arm)


def angle_deg(a, b):
    return np.degrees(np.arccos(np.clip((a * b).sum(-1), -1, 1)))


def judged(truth, arm: ArmReading, hand: HandReading, near_frames: int, arm_s: float) -> Judged:
    """Errors of the frames near release that have the hand in the picture."""
    at = np.array([f["frame"] for f in truth["frames"]])
    since = at - truth["release_frame"]
    K = np.array(truth["K"])
    pixel = {n: np.array([f["pixel"][n] for f in truth["frames"]], float) for n in KNUCKLES}
    hand_px = np.stack([pixel["wrist"], pixel["middle_mcp"]])
    inside = ((hand_px > 0) & (hand_px < [truth["width"], truth["height"]])).all((0, 2))
    near = (np.abs(since) <= near_frames) & inside
    ball = np.array([f["pixel"].get("ball") or [np.nan, np.nan] for f in truth["frames"]], float)
    palm_px = np.linalg.norm(pixel["middle_mcp"] - pixel["wrist"], axis=1)
    length_px = np.full_like(palm_px, np.max(palm_px))  # foreshortening would inflate a share of itself
    palm, forearm, upper_arm = true_directions(truth)
    forearm_turn = view_rotation(hand.forearm_view_px, K[0, 0], K[:2, 2])
    palm_turn = view_rotation(hand.palm_view_px, K[0, 0], K[:2, 2])
    palm_error = _turns(palm_turn @ hand.palm, palm, same_side=hand.side == truth["handedness"])
    # The stated covariance is in the view frame: take the error there.
    in_view = np.einsum("kji,kj->ki", palm_turn, palm_error)
    inverse = np.linalg.inv(np.where(np.isfinite(hand.palm_cov_rad2), hand.palm_cov_rad2, np.eye(3)))
    forearm_deg = angle_deg(np.einsum("kij,kj->ki", forearm_turn, hand.forearm), forearm)
    arm_turn = view_rotation(arm.view_px, K[0, 0], K[:2, 2])
    upper_read, _ = read_twice(
        (np.einsum("kij,kj->ki", forearm_turn, hand.upper_arm), hand.upper_arm_sd_deg),
        (np.einsum("kij,kj->ki", arm_turn, arm.upper_arm), arm.upper_arm_sd_deg),
    )
    upper_deg = angle_deg(upper_read, upper_arm)
    read = {n: hand.points_px[:, HAND_POINTS.index(n)] for n in (*KNUCKLES, "ball")}
    off = np.stack([np.linalg.norm(read[n] - pixel[n], axis=1) for n in KNUCKLES])
    wrist_off = read["wrist"] - pixel["wrist"]
    wrist_cov = hand.points_cov_px2[:, HAND_POINTS.index("wrist")]
    wrist_inverse = np.linalg.inv(np.where(np.isfinite(wrist_cov), wrist_cov, np.eye(2)))
    focal_over_depth = length_px / 0.09  # px a metre where the palm lies flat; a palm of 0.09 m
    arm_near = (np.abs(_seconds(truth, at)) <= arm_s) & inside
    right = np.full(len(at), hand.side == truth["handedness"])
    close = np.linalg.norm(arm.points_px[:, 2] - pixel["wrist"], axis=1) <= 0.5 * length_px
    return Judged(
        palm_px=float(palm_px[np.argmin(np.abs(since))]),
        palm_deg=np.degrees(np.linalg.norm(palm_error, axis=1))[near],
        palm_squared=np.einsum("ki,kij,kj->k", in_view, inverse, in_view)[near],
        forearm_deg=forearm_deg[near],
        forearm_squared=((forearm_deg / hand.forearm_sd_deg) ** 2)[near],
        upper_arm_deg=upper_deg[near],
        knuckles_percent=100 * (off.mean(0) / length_px)[near],
        wrist_squared=np.einsum("ki,kij,kj->k", wrist_off, wrist_inverse, wrist_off)[near],
        ball_diameters=(np.linalg.norm(read["ball"] - ball, axis=1) / (0.0732 * focal_over_depth))[near],
        held=(since <= 0).astype(float)[near],
        held_said=hand.held_probability[near],
        from_release=since[near],
        strange=((hand.unfamiliarity > 0.98) | ~np.isfinite(hand.held_probability)).astype(float)[near],
        lost=(~(off[0] < length_px))[near],
        arm_right=(right & close & (arm.found_probability > 0.5))[arm_near],
    )


def _turns(read, true, *, same_side):
    """Rotation vectors (k, 3) from the read frames to the true ones, NaN where nothing was read.

    A hand read as the other one is half a turn off: no rotation makes it right.
    """
    known = np.isfinite(read).all((1, 2))
    if not same_side:
        return np.where(known[:, None], [np.pi, 0.0, 0.0], np.nan)
    found = np.full((len(read), 3), np.nan)
    if known.any():
        found[known] = Rotation.from_matrix(true[known] @ read[known].swapaxes(1, 2)).as_rotvec()
    return found


def _seconds(truth, at):
    return np.array(truth["frame_time_s"])[at] - truth["release_time_s"]
