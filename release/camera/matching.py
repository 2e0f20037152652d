"""The same background in two pictures from one tripod: has it moved, and a camera carried to another zoom.

A camera that only turns and zooms maps its pictures onto each other by one homography, however deep the
scene; what moves by itself (the thrower) drops out as outliers.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from release.camera.result import FOCAL, TURN, FieldCamera
from release.errors import CameraRefused

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

FEWEST_MATCHES = 12
NEAR_PX = 3.0  # a match this near to the common mapping follows it, in the first of the two pictures
MOST_TRIED = 20_000  # mappings by four matches; where one match in five is right, one in 600 is by right ones
DISTINCT = 0.8  # a match counts where the second best is this much worse (Lowe 2004)
MATCH_SD_PX = 1.0  # of one matched feature; assumed
FEATURES = 3000
# An eighth of what SIFT asks by default: a background out of focus is soft. In two close renders, thrice
# zoomed, 33 and 21 features of the wide shot were found again; by the default none.
LEAST_CONTRAST = 0.005


def matches(a: Image, b: Image) -> tuple[Array, Array]:
    """Places of the same features in two pictures, each (n, 2); those that follow no common mapping dropped.

    Args:
        a, b: Shape (height, width, 3), of any sizes. Where the zoom differs, `a` is the wider one: it shows
            every feature's error the smaller.
    """
    finder = cv2.SIFT.create(FEATURES, contrastThreshold=LEAST_CONTRAST)
    (found_a, words_a), (found_b, words_b) = (
        finder.detectAndCompute(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), None) for picture in (a, b)
    )
    none = np.zeros((0, 2))
    if words_a is None or words_b is None or len(found_b) < 2:
        return none, none
    pairs = [p for p in cv2.BFMatcher().knnMatch(words_a, words_b, k=2) if len(p) == 2]
    kept = [m for m, second in pairs if m.distance < DISTINCT * second.distance]
    at_a = np.array([found_a[m.queryIdx].pt for m in kept]).reshape(-1, 2) + 0.5  # OpenCV counts from centres
    at_b = np.array([found_b[m.trainIdx].pt for m in kept]).reshape(-1, 2) + 0.5
    if len(kept) < 4:
        return none, none
    _, follows = cv2.findHomography(at_b, at_a, cv2.USAC_MAGSAC, NEAR_PX, maxIters=MOST_TRIED)
    if follows is None:
        return none, none
    kept_rows = follows.ravel() > 0
    return at_a[kept_rows], at_b[kept_rows]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """How far the background lies from where it lay."""

    median_px: float
    matched: int


def background_shift(a: Image, b: Image) -> Shift | None:
    """The background's shift between two pictures of one size; None where too little is recognised."""
    at_a, at_b = matches(a, b)
    if len(at_a) < FEWEST_MATCHES:
        return None
    return Shift(median_px=float(np.median(np.linalg.norm(at_b - at_a, axis=1))), matched=len(at_a))


def carried_over(
    camera: FieldCamera, there_px: Array, here_px: Array, size_px: tuple[int, int]
) -> FieldCamera:
    """The camera of another picture from the same tripod place, turned and zoomed differently.

    Args:
        camera: Of the picture in which the marks were clicked.
        there_px: Shape (n, 2), features in that picture; here_px: the same ones in the other picture.
        size_px: Of the other picture.

    Raises:
        CameraRefused: Too few features, or not the same place.
    """
    if len(there_px) < FEWEST_MATCHES:
        raise CameraRefused(
            f"only {len(there_px)} features of the background are the same in both pictures",
            "Take the wide shot from the same tripod place and in the same light, or click marks in this one",
        )
    off = (there_px - np.array(camera.centre_px)) / camera.focal_px
    rays = np.column_stack([off, np.ones(len(off))])
    centre = np.array(size_px) / 2

    def missed(step: Array) -> Array:
        turned = rays @ Rotation.from_rotvec(step[:3]).as_matrix().T
        px = turned[:, :2] / np.maximum(turned[:, 2:], 0.05) * camera.focal_px * np.exp(step[3]) + centre
        return ((px - here_px) / sd_px).ravel()

    spread = [np.linalg.norm(px - px.mean(axis=0), axis=1).mean() for px in (there_px, here_px)]
    zoom = spread[1] / spread[0]
    sd_px = MATCH_SD_PX * max(zoom, 1.0)  # a feature's error in the wide picture is enlarged in the close one
    begin = np.array([0.0, 0.0, 0.0, np.log(zoom)])
    found = least_squares(missed, begin, loss="soft_l1", x_scale=[0.1, 0.1, 0.1, 0.3])
    miss_px = float(np.median(np.linalg.norm(missed(found.x).reshape(-1, 2), axis=1))) * sd_px
    if miss_px > NEAR_PX * max(zoom, 1.0):
        raise CameraRefused(
            f"turning and zooming do not explain the second picture: features are {miss_px:.0f} px off",
            "The wide shot must come from the same tripod place, not moved between",
        )
    slopes = np.asarray(found.jac)
    own = np.linalg.inv(slopes.T @ slopes)
    rotation = Rotation.from_rotvec(found.x[:3]).as_matrix() @ camera.rotation
    to_own = np.zeros((7, 4))
    to_own[TURN, :3] = -rotation.T  # a turn of the rays in camera axes turns the camera back in the field
    to_own[FOCAL, 3] = 1.0
    return replace(
        camera,
        rotation=rotation,
        focal_px=float(camera.focal_px * np.exp(found.x[3])),
        size_px=size_px,
        covariance=camera.covariance + to_own @ own @ to_own.T,
        source="carried over",
    )
