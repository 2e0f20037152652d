"""What the landmarks stage hands on.

Pixels are full-resolution, upright; (0, 0) is the outer corner of the top left pixel.

Directions and rotations are given in the *view frame* of their crop: z along the ray from the camera
through the crop's centre, x and y nearest to the picture's right and down. A direction seen in the
view frame needs no focal length; `view_rotation` in `landmarks/view.py` takes it to camera axes.
"""

from dataclasses import dataclass, fields, replace
from typing import Literal, TypeVar, get_args

import numpy as np
from numpy.typing import NDArray

HAND_POINTS = (
    "elbow",
    "wrist",
    "index_mcp",
    "middle_mcp",
    "ring_mcp",
    "little_mcp",
    "thumb_tip",
    "index_tip",
    "middle_tip",
    "ring_tip",
    "little_tip",
    "ball",
)
ARM_POINTS = ("shoulder", "elbow", "wrist")

Side = Literal["R", "L"]
Kind = Literal["hand", "detail", "elbow", "arm"]  # of network, and of what it reads
KINDS: tuple[Kind, ...] = get_args(Kind)
# Side of the square picture that each reads. The smaller one finds arms as well for 0.69 of the work.
READ_PX: dict[Kind, int] = {"hand": 192, "detail": 192, "elbow": 192, "arm": 160}


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmReading:
    """The throwing arm in k frames, from the arm finder."""

    frame_index: NDArray[np.int64]  # shape (k,)
    points_px: NDArray[np.float64]  # shape (k, 3, 2), ARM_POINTS; NaN where not found
    points_cov_px2: NDArray[np.float64]  # shape (k, 3, 2, 2)
    upper_arm: NDArray[np.float64]  # shape (k, 3), unit, shoulder to elbow, view frame at view_px
    upper_arm_sd_deg: NDArray[np.float64]  # shape (k,), per tangent axis
    view_px: NDArray[np.float64]  # shape (k, 2), the point whose ray is the view frame's z
    right_probability: NDArray[np.float64]  # shape (k,), that the throwing arm is the right one
    found_probability: NDArray[np.float64]  # shape (k,), that a throwing arm is in the picture


@dataclass(frozen=True, slots=True, kw_only=True)
class HandReading:
    """The throwing hand in k frames, from the hand model; covariances are calibrated."""

    frame_index: NDArray[np.int64]  # shape (k,)
    side: Side
    points_px: NDArray[np.float64]  # shape (k, 12, 2), HAND_POINTS; NaN where lost
    points_cov_px2: NDArray[np.float64]  # shape (k, 12, 2, 2)
    ball_radius_px: NDArray[np.float64]  # shape (k,)
    ball_radius_sd_px: NDArray[np.float64]  # shape (k,)
    # Shape (k, 3, 3): columns r_h, d_h, p of definitions.md, view frame at palm_view_px.
    palm: NDArray[np.float64]
    palm_cov_rad2: NDArray[np.float64]  # shape (k, 3, 3), of the small rotation vector applied on the left
    palm_view_px: NDArray[np.float64]  # shape (k, 2), as view_px
    forearm: NDArray[np.float64]  # shape (k, 3), unit, elbow to wrist, view frame at forearm_view_px
    forearm_sd_deg: NDArray[np.float64]  # shape (k,), per tangent axis
    upper_arm: NDArray[np.float64]  # shape (k, 3), the same view frame; NaN where the elbow was not looked at
    upper_arm_sd_deg: NDArray[np.float64]  # shape (k,), per tangent axis
    forearm_view_px: NDArray[np.float64]  # shape (k, 2), as view_px
    view_px: NDArray[np.float64]  # shape (k, 2), the point whose ray is the view frame's z
    held_probability: NDArray[np.float64]  # shape (k,), the ball touches the hand
    unfamiliarity: NDArray[np.float64]  # shape (k,), 0..1 quantile among training pictures
    second_opinion_deg: NDArray[np.float64]  # shape (k,), palm angle to MediaPipe's hand; NaN without one
    second_opinion_sd_deg: NDArray[np.float64]  # shape (k,), combined standard uncertainty of that angle


READ = (
    *("points_px", "points_cov_px2", "upper_arm", "upper_arm_sd_deg", "forearm", "forearm_sd_deg", "palm"),
    *("palm_cov_rad2", "ball_radius_px", "ball_radius_sd_px", "held_probability", "second_opinion_deg"),
)
Reading = TypeVar("Reading", ArmReading, HandReading)


def only(reading: Reading, which: NDArray[np.bool_]) -> Reading:
    """The same with nothing read but in some of its frames, shape (k,)."""

    def seen(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(which.reshape(-1, *[1] * (values.ndim - 1)), values, np.nan)

    names = [f.name for f in fields(reading) if f.name in READ]
    return replace(reading, **{name: seen(getattr(reading, name)) for name in names})
