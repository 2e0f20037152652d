"""What simpler readings of the same frames give: MediaPipe raw, MediaPipe smoothed, our hand model alone.

Each takes the frames and the release that the pipeline found, so only the reading differs.
"""

import cv2
import numpy as np
from scipy.signal import savgol_filter

from release.frames.decode import stream
from release.landmarks.infer_mediapipe import HAND_PX, hand_landmarks, pose_landmarks
from release.landmarks.view import view_rotation
from release.orientation.angles import joint_angles_deg, palm_frame, palm_turn_deg, unit
from release.orientation.window import read_twice
from release.pipeline import nearest_row

POSE_ARM = {"R": (12, 14, 16), "L": (11, 13, 15)}
CROP = 2.6  # of the hand's length, about what MediaPipe's own palm detector would cut
SMOOTH = {"window_length": 11, "polyorder": 3}  # passes about 40 Hz at 240 frames a second


def hand_model_alone(clip, close, release, to_field):
    """The networks' directions in the frames nearest to release."""
    at = nearest_row(close, release)
    arm_at = int(np.argmin(np.abs(close.arm.frame_index - release.frame_index)))
    focal = 1.0 * max(clip.width_px, clip.height_px)
    centre = (clip.width_px / 2, clip.height_px / 2)
    forearm_view = view_rotation(close.hand.forearm_view_px[at], focal, centre)
    palm_view = view_rotation(close.hand.palm_view_px[at], focal, centre)
    arm_view = view_rotation(close.arm.view_px[arm_at], focal, centre)
    beside = int(np.searchsorted(close.frame_index, close.arm.frame_index[arm_at]))
    elbow_view = view_rotation(close.hand.forearm_view_px[beside], focal, centre)
    upper_arm, _ = read_twice(
        ((elbow_view @ close.hand.upper_arm[beside])[None], close.hand.upper_arm_sd_deg[[beside]]),
        ((arm_view @ close.arm.upper_arm[arm_at])[None], close.arm.upper_arm_sd_deg[[arm_at]]),
    )
    return _angles(
        upper_arm[0],
        forearm_view @ close.hand.forearm[at],
        palm_view @ close.hand.palm[at],
        close.hand.side,
        to_field,
    )


def mediapipe(clip, close, release, to_field):
    """MediaPipe's 3D landmarks in the nearest frame, and smoothed over the frames round it."""
    side = close.hand.side
    at = nearest_row(close, release)
    rows = range(max(at - 8, 0), min(at + 9, len(close.frame_index)))
    whole = stream(clip, close.frame_index[rows.start : rows.stop])
    raw = [_mediapipe_frame(image, close, row, side) for row, (_, image) in zip(rows, whole, strict=True)]
    here = raw[at - rows[0]]
    if here is None:
        return {}, {}
    now = _angles(*here, side, to_field)
    known = [r for r in raw if r is not None]
    if len(known) < SMOOTH["window_length"]:
        return now, now
    where = sum(r is not None for r in raw[: at - rows[0]])
    upper, fore, palm = (
        savgol_filter(np.stack(v), axis=0, **SMOOTH)[where] for v in zip(*known, strict=True)
    )
    return now, _angles(unit(upper), unit(fore), _nearest_frame(palm), side, to_field)


def _mediapipe_frame(image, close, row, side):
    wrist, knuckle = close.hand.points_px[row, 1], close.hand.points_px[row, 3]
    pose = pose_landmarks(image)
    if pose is None or not np.isfinite([*wrist, *knuckle]).all():
        return None
    crop, turn = _cut(image, wrist, knuckle, side)
    hands = hand_landmarks(crop[None])
    world = hands.world_m[0] * ([1, 1, 1] if side == "R" else [-1, 1, 1])
    world = world @ turn.T
    palm = palm_frame(world[0], world[5], world[9], world[17], side)
    shoulder, elbow, hand = (pose.world_m[k] for k in POSE_ARM[side])
    return unit(elbow - shoulder), unit(hand - elbow), palm


def _cut(image, wrist, knuckle, side):
    """An upright right-hand crop, and the rotation that takes its axes back to the picture's."""
    along = knuckle - wrist
    size, angle = CROP * np.linalg.norm(along) * 2, np.arctan2(along[0], -along[1])
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    scale = size / HAND_PX
    middle = wrist + along * 0.9
    to_picture = np.column_stack([turn * scale, middle - turn @ [HAND_PX / 2, HAND_PX / 2] * scale])
    crop = cv2.warpAffine(
        image, to_picture, (HAND_PX, HAND_PX), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    if side == "L":
        crop = np.ascontiguousarray(crop[:, ::-1])
    back = np.eye(3)
    back[:2, :2] = turn
    return crop, back


def _nearest_frame(palm):
    """Proper axes again after each was smoothed by itself."""
    d_h = unit(palm[:, 1])
    r_h = unit(palm[:, 0] - (palm[:, 0] @ d_h) * d_h)
    p = np.cross(r_h, d_h)
    return np.stack([r_h, d_h, p if p @ palm[:, 2] > 0 else -p], axis=-1)


def _angles(upper, fore, palm, side, to_field):
    found = {n: float(v) for n, v in joint_angles_deg(upper, fore, palm, side).items()}
    target = to_field.T @ np.array([1.0, 0.0, 0.0])
    return found | {"palm_turn": float(palm_turn_deg(fore, palm, target, side))}
