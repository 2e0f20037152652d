"""The elbow's reader: forearm, upper arm and the elbow's place, out of a crop of their own.

A hand's crop holds the elbow at its edge and nothing of the upper arm; the arm finder's look is half as fine.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from release.landmarks.infer_network import calibration, points_in_picture, run
from release.landmarks.result import READ_PX
from release.landmarks.track import SURE, elbow_crop
from release.landmarks.view import Crop, Picture, cut

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ElbowReading:
    """What was read at the elbow in j of a clip's frames; uncertainties are calibrated."""

    rows: NDArray[np.int64]  # shape (j,), which of the frames
    elbow_px: Array  # shape (j, 2)
    elbow_cov_px2: Array  # shape (j, 2, 2)
    forearm: Array  # shape (j, 3), unit, elbow to wrist, view frame at view_px
    forearm_sd_deg: Array  # shape (j,), per tangent axis
    upper_arm: Array  # shape (j, 3), unit, shoulder to elbow, the same view frame
    upper_arm_sd_deg: Array  # shape (j,), per tangent axis
    view_px: Array  # shape (j, 2), the crop's centre


def read_elbow(
    images: Sequence[Picture] | NDArray[np.uint8],
    crops: Sequence[Crop],
    points: Array,
    rows: NDArray[np.int64],
) -> ElbowReading:
    """Look closely at the elbow.

    Args:
        images: k of them.
        crops: Of the hand in each.
        points: Shape (k, 12, 2), read in those crops, as shares of their sides.
        rows: Shape (i,), the frames to look at, one at least.

    Returns:
        The reading in those of them in which an arm was seen.
    """
    hand_px, elbow_px = READ_PX["hand"], READ_PX["elbow"]
    looks = [elbow_crop(crops[row], points[row] * hand_px, hand_px) for row in rows]
    cuts = [cut(images[row], look, elbow_px) for row, look in zip(rows, looks, strict=True)]
    read = run("elbow", np.stack(cuts))
    factor = calibration("elbow")
    axes = np.stack([look.axes() for look in looks])
    places, covs = points_in_picture("elbow", read, looks)
    found = ElbowReading(
        rows=rows,
        elbow_px=places[:, 0],
        elbow_cov_px2=covs[:, 0],
        forearm=np.einsum("kij,kj->ki", axes, read["direction"]),
        forearm_sd_deg=np.degrees(read["direction_sd"]) * factor["direction"],
        upper_arm=np.einsum("kij,kj->ki", axes, read["upper_arm"]),
        upper_arm_sd_deg=np.degrees(read["upper_arm_sd"]) * factor["upper_arm"],
        view_px=np.stack([look.centre_px for look in looks]),
    )
    seen = read["present"] > SURE
    return ElbowReading(**{f.name: getattr(found, f.name)[seen] for f in fields(ElbowReading)})
