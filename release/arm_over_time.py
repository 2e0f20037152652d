"""The fitted arm frame by frame round release, as it goes into the research export."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.drawn_arm import angles_deg
from release.orientation.arm_fit import FittedArm, in_picture
from release.orientation.window import ArmWindow

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmOverTime:
    """CHAIN_POINTS and joint angles in the k frames that the arm was fitted to."""

    frame_index: NDArray[np.int64]  # shape (k,)
    time_s: Array  # shape (k,), true time, 0 at release
    points_px: Array  # shape (k, 8, 2), upright picture
    angles_deg: Mapping[str, Array]  # JOINT_ANGLES, each of shape (k,)


def arm_over_time(fitted: FittedArm, window: ArmWindow, frame_index: NDArray[np.int64]) -> ArmOverTime:
    """The arm in every frame of the window.

    Args:
        fitted: The arm.
        window: What it was fitted to.
        frame_index: Shape (k,), the frame of each row of the window.
    """
    return ArmOverTime(
        frame_index=frame_index,
        time_s=window.time_s - fitted.release_s,
        points_px=in_picture(fitted.frames_m, fitted.body, window),
        angles_deg=angles_deg(fitted.frames_m),
    )
