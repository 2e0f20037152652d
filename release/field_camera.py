"""Camera files and declared views, put to use on a clip."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from release.camera.read_camera import camera_of, read_camera
from release.camera.result import FieldCamera, View
from release.camera.view import declared
from release.clip.result import Clip
from release.errors import CameraRefused
from release.orientation.arm_fit import FittedArm
from release.orientation.measure import Heading, refused
from release.orientation.place import heading_of, release_place
from release.orientation.result import FIELD_LENGTHS, Estimate

Array = NDArray[np.float64]

UNKNOWN = "camera unknown: give a camera file with marks"
ONLY_A_VIEW = "a declared view tells no place: give a camera file with marks"
FOCAL_FIXED = 1e-3  # while fitting the arm: what a camera leaves open is in its own covariance


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """What is known of where a clip's camera stands."""

    camera: FieldCamera | None = None
    view: View | None = None
    why_not: str = UNKNOWN  # why there is no camera

    @property
    def focal(self) -> tuple[float, float] | None:
        """Focal length in px and the uncertainty of its logarithm, where the camera is known."""
        return None if self.camera is None else (self.camera.focal_px, FOCAL_FIXED)

    def heading(self, side: Literal["R", "L"], hand_turn: Array) -> Heading | None:
        """How the camera is turned; None where neither camera nor view is known."""
        if self.camera is not None:
            return heading_of(self.camera, hand_turn)
        if self.view is None:
            return None
        to_field, covariance = declared(self.view, side)
        return Heading(to_field=to_field, covariance_rad2=covariance)

    def lengths(self, arm: FittedArm, side: Literal["R", "L"], *, release_sd_s: float) -> dict[str, Estimate]:
        """Release height, side and extension, or why there are none."""
        if self.camera is None:
            return dict.fromkeys(FIELD_LENGTHS, refused(self.why_not))
        return release_place(arm, side, self.camera, release_sd_s=release_sd_s)


def stand_of(clip: Clip, *, view: View | None, camera: Path | None) -> Stand:
    """Where a clip's camera stands, by its camera file or else by the declared view.

    Marks that do not tell are no reason to leave the joint angles unmeasured: the reason is kept instead.

    Raises:
        CameraUnreadable: The file cannot be used.
    """
    if camera is None:
        return Stand(view=view, why_not=UNKNOWN if view is None else ONLY_A_VIEW)
    file = read_camera(camera)
    view = view or file.view
    if file.solved is None and not file.marks:
        return Stand(view=view, why_not=UNKNOWN if view is None else ONLY_A_VIEW)
    try:
        return Stand(camera=camera_of(file, (clip.width_px, clip.height_px)))
    except CameraRefused as error:
        return Stand(view=view, why_not=str(error))
