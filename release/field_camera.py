"""Camera files and declared views, put to use on a clip; and the command that solves a camera file."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from release.camera.ball_speed import BallSpeed, ball_speed
from release.camera.drawing import draw_outline
from release.camera.matching import background_shift, carried_over, matches
from release.camera.read_camera import CameraFile, camera_of, read_camera, read_picture
from release.camera.result import FieldCamera, View
from release.camera.view import declared
from release.camera.write_camera import write_camera, write_picture
from release.clip.read import read_clip
from release.clip.result import Clip
from release.errors import CameraRefused, SettingUnknown
from release.frames.decode import decode
from release.orientation.arm_fit import FittedArm
from release.orientation.measure import Heading, refused
from release.orientation.place import heading_of, release_place
from release.orientation.result import FIELD_LENGTHS, Estimate
from release.seen_ball import Flown

Array = NDArray[np.float64]

UNKNOWN = "camera unknown: give a camera file with marks"
ONLY_A_VIEW = "a declared view tells no place: give a camera file with marks"
UNCHECKED = "whether the tripod was moved cannot be seen: too little of the background is recognised"
MOVED_DEG = 1.0  # the background's shift, as a turn of the camera, beyond which its file no longer holds
NUDGED_PX = 3.0
COMPARED_PX = 640  # longer side of the pictures compared: features enough, in a quarter of the time
FOCAL_FIXED = 1e-3  # while fitting the arm: what a camera leaves open is in its own covariance


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """What is known of where a clip's camera stands."""

    camera: FieldCamera | None = None
    view: View | None = None
    why_not: str = UNKNOWN  # why there is no camera
    said: tuple[str, ...] = ()  # what is to be looked at before the camera is believed

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

    def ball_speed(self, presentation_s: Array, flown: Flown) -> BallSpeed | None:
        """Of the ball in flight, for each second that the clip plays; None without a camera."""
        if self.camera is None:
            return None
        return ball_speed(self.camera, presentation_s[flown.frame_index], flown.centre_px, flown.radius_px)

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
        found = camera_of(file, (clip.width_px, clip.height_px), clip.focal_35mm)
    except CameraRefused as error:
        return Stand(view=view, why_not=str(error))
    return _still_there(file, found, clip, view)


def _still_there(file: CameraFile, camera: FieldCamera, clip: Clip, view: View | None) -> Stand:
    """The camera, unless the background shows that the tripod was moved since it was solved."""
    picture = read_picture(file)
    if picture is None:
        return Stand(camera=camera)
    frame = background(clip)
    height_px, width_px = frame.shape[:2]
    before = np.asarray(cv2.resize(picture, (width_px, height_px), interpolation=cv2.INTER_AREA), np.uint8)
    shift = background_shift(before, frame)
    if shift is None:
        return Stand(camera=camera, said=(UNCHECKED,))
    shift_px = shift.median_px * clip.width_px / width_px
    turned_deg = float(np.degrees(shift_px / camera.focal_px))
    if turned_deg > MOVED_DEG:
        off = f"{shift_px:.0f} px from where {file.path.name} has it"
        why = f"the tripod was moved: the background lies {off}"
        return Stand(view=view, why_not=why, said=(why,))
    if shift_px > NUDGED_PX:
        off = f"{shift_px:.0f} px ({turned_deg:.1f} degrees)"
        return Stand(camera=camera, said=(f"the tripod was nudged: the background is off by {off}",))
    return Stand(camera=camera)


def background(clip: Clip) -> NDArray[np.uint8]:
    """The clip's first frame, made small: what a tripod's place is known again by."""
    scale = min(COMPARED_PX / max(clip.width_px, clip.height_px), 1.0)
    return decode(clip, 0, 0, scale=scale).images[0]


def solve_camera_file(
    marks: Path, clip_path: Path, *, frame: int, close: Path | None, out: Path
) -> list[str]:
    """Solve a file of marks for a clip, write the camera and a picture to check it by, and say what it is.

    Args:
        marks: A camera.toml with marks.
        clip_path: The clip in which they were clicked, in frame `frame`.
        close: Another clip from the same tripod place, turned or zoomed: the camera written is that one's.
        out: Where the camera goes; its pictures lie beside it, `NAME.png` and `NAME.frame.png`.

    Raises:
        CameraRefused: The marks do not tell, or the second clip was not filmed from there.
        CameraUnreadable: The file cannot be used.
        ClipError: A clip cannot be read.
    """
    file = read_camera(marks)
    image, clip = _frame(clip_path, frame)
    camera = camera_of(replace(file, solved=None), (clip.width_px, clip.height_px), clip.focal_35mm)
    clicked = {m.name: m.px for m in file.marks}
    if close is not None:
        there = image
        image, clip = _frame(close, 0)
        camera = carried_over(camera, *matches(there, image), (clip.width_px, clip.height_px))
        file, clicked = replace(file, marks=()), {}
    plain = out.with_suffix(".frame.png")
    checked = out.with_suffix(".png")
    write_picture(plain, image)
    write_picture(checked, draw_outline(image, camera, file.field, clicked))
    write_camera(out, file, camera, plain.name)
    asked = "do the lines lie on the field, the level one on the horizon?"
    return [*_camera_lines(camera), f"written: {out}; look at {checked}: {asked}"]


def _frame(path: Path, index: int) -> tuple[NDArray[np.uint8], Clip]:
    clip = read_clip(path)
    if not 0 <= index < len(clip.presentation_s):
        raise SettingUnknown(f"frame {index} is not in {path.name}: it has {len(clip.presentation_s)}")
    return decode(clip, index, index).images[0], clip


def _camera_lines(camera: FieldCamera) -> list[str]:
    x, y, z = camera.position_m
    sd = np.sqrt(np.diag(camera.covariance))
    away = camera.rotation[2]
    facing = float(np.degrees(np.arctan2(away[1], away[0])))
    place = f"{x:+.2f} m toward home, {y:+.2f} m toward first base, {z:.2f} m up"
    longer = max(camera.size_px)
    spread = ", ".join(f"{100 * s:.0f}" for s in sd[3:6])
    view_deg = float(np.degrees(2 * np.arctan(longer / 2 / camera.focal_px)))
    return [
        f"camera {place} from the rubber's front middle (sd {spread} cm)",
        f"facing {facing:z.1f} degrees from the target line (+ toward first base), turn sd "
        f"{np.degrees(sd[:3].max()):.1f} degrees",
        f"field of view {view_deg:.1f} degrees over {longer} px (focal length {camera.focal_px:.0f} px, "
        f"sd {100 * sd[6]:.1f} %)",
        f"marks missed by {camera.reprojection_px:.1f} px (root mean square)",
    ]
