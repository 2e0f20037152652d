"""The camera as far as the clip itself tells: its likely focal length, and how it looks at arm and hand."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.clip.result import Clip
from release.landmarks.view import view_rotation
from release.orientation.kinematics import BALL_RADIUS_M, FOREARM_M
from release.orientation.window import Views
from release.throw_search import Close

Array = NDArray[np.float64]

PHONE_FOCAL = 0.8  # focal length of a phone's main lens by the longer side of its picture, at least
LIKELY_DISTANCE_M = 4.5  # from the camera to the arm
FOCAL_LOG_SD = 0.5


def likely_focal(clip: Clip, close: Close) -> tuple[float, float]:
    """The likely focal length in px, and the uncertainty of its logarithm.

    A phone's main lens has a focal length of 0.8 of the longer side at least; one zoomed in on the arm is
    still some metres away, so the arm's size in px gives another lower bound. Common practice, no source.
    """
    longer = max(clip.width_px, clip.height_px)
    return max(PHONE_FOCAL * longer, px_per_m(close) * LIKELY_DISTANCE_M), FOCAL_LOG_SD


def px_per_m(close: Close) -> float:
    """How large a metre is at the arm, by the held ball, or by the longest forearm where none is seen."""
    radius = close.hand.ball_radius_px[close.hand.held_probability > 0.5]
    if np.isfinite(radius).any():
        return float(np.nanmedian(radius)) / BALL_RADIUS_M
    forearm = np.linalg.norm(close.arm.points_px[:, 2] - close.arm.points_px[:, 1], axis=-1)
    return float(np.nanquantile(forearm, 0.9)) / FOREARM_M


def views_of(clip: Clip, close: Close, focal_px: float, focal_log_sd: float) -> Views:
    """How the camera looks at what was read in each frame, and how that turns with its focal length."""
    centre = (clip.width_px / 2, clip.height_px / 2)

    def rotations(points_px: Array, focal: float) -> Array:
        return view_rotation(np.nan_to_num(points_px), focal, np.array(centre))

    def turn(points_px: Array) -> Array:
        moved = rotations(points_px, focal_px * np.exp(0.01)) @ rotations(points_px, focal_px).transpose(
            0, 2, 1
        )
        return Rotation.from_matrix(moved).as_rotvec() / 0.01

    return Views(
        arm=rotations(close.arm.view_px, focal_px),
        palm=rotations(close.hand.palm_view_px, focal_px),
        forearm=rotations(close.hand.forearm_view_px, focal_px),
        arm_turn=turn(close.arm.view_px),
        hand_turn=turn(close.hand.view_px),
        focal_px=focal_px,
        focal_log_sd=focal_log_sd,
        centre_px=centre,
    )
