"""The arm finder: shoulder, elbow, wrist and side of the throwing arm in whole frames."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from release.landmarks.infer_network import calibration, points_in_picture, run
from release.landmarks.result import READ_PX, ArmReading
from release.landmarks.track import ARM_WIDTH
from release.landmarks.unfamiliar import log_odds
from release.landmarks.view import Crop, cut, halved

Array = NDArray[np.float64]
ARM_PX = READ_PX["arm"]
FOUND = 0.5
STEADY = 5  # looks at the whole steady the place of the next closer one
LIKELY_JUMP = 0.7  # a point further from its neighbours in time than this share of the arm is doubted


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeLook:
    """What was read in a whole frame: the arm's place, roughly."""

    points: Array  # shape (3, 2), pixels of the picture given
    present: float
    right: float


def read_arm(images: NDArray[np.uint8], frame_index: NDArray[np.int64], scale: float) -> ArmReading:
    """Find the throwing arm in each frame: once in the whole frame, once closer.

    Args:
        images: Shape (k, height, width, 3), RGB, upright.
        frame_index: Shape (k,).
        scale: Pixels of `images` per full-resolution pixel.
    """
    looks = _whole_looks(images)
    return _look_closer(images, frame_index, scale, looks, _closer(looks, images.shape[2::-1][:2]))


def follow_arm(
    image: NDArray[np.uint8], frame_index: int, scale: float, looks: list[WholeLook]
) -> ArmReading:
    """The same in the next of many frames, before those after it are there.

    Args:
        looks: Those before; this one is added.
    """
    looks += _whole_looks(image[None])
    crop = _closer(looks[-STEADY:], image.shape[1::-1])[-1:]
    return _look_closer(image[None], np.array([frame_index]), scale, looks[-1:], crop)


def _whole_looks(images: NDArray[np.uint8]) -> list[WholeLook]:
    height, width = images.shape[1:3]
    whole = Crop(
        centre_px=np.array([width / 2, height / 2]),
        side_px=float(max(width, height)),
        up_rad=0.0,
        mirrored=False,
    )
    read = run("arm", np.stack([_letterboxed(image) for image in images]))
    points = whole.to_picture(read["points"] * ARM_PX, ARM_PX)
    each = zip(points, read["present"], read["right"], strict=True)
    return [WholeLook(points=p, present=float(found), right=float(right)) for p, found, right in each]


def _look_closer(
    images: NDArray[np.uint8],
    frame_index: NDArray[np.int64],
    scale: float,
    looks: Sequence[WholeLook],
    crops: Sequence[Crop],
) -> ArmReading:
    read = run("arm", np.stack([cut(image, crop, ARM_PX) for image, crop in zip(images, crops, strict=True)]))
    factor = calibration("arm")
    places, covs = points_in_picture("arm", read, crops)
    return ArmReading(
        frame_index=np.asarray(frame_index),
        points_px=places / scale,
        points_cov_px2=covs / scale**2,
        upper_arm=read["direction"],
        upper_arm_sd_deg=np.degrees(read["direction_sd"]) * factor.get("direction", 1.0),
        view_px=places[:, 1] / scale,
        right_probability=_side(np.array([look.right for look in looks]), read["right"]),
        found_probability=np.minimum([look.present for look in looks], read["present"]),
    )


def _letterboxed(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The whole frame in the middle of a black square."""
    height, width = image.shape[:2]
    shrink = ARM_PX / max(height, width)
    size = (max(round(width * shrink), 1), max(round(height * shrink), 1))
    image, _ = halved(image, 1 / shrink)
    small = cv2.resize(image, size, interpolation=cv2.INTER_LINEAR)
    square = np.zeros((ARM_PX, ARM_PX, 3), np.uint8)
    top, left = (ARM_PX - size[1]) // 2, (ARM_PX - size[0]) // 2
    square[top : top + size[1], left : left + size[0]] = small
    return square


def _closer(looks: Sequence[WholeLook], size: tuple[int, ...]) -> list[Crop]:
    """A square round the arm in each frame, its place steadied by the frames beside it."""
    points, present = np.stack([look.points for look in looks]), np.array([look.present for look in looks])
    centre = points.mean(axis=1)
    reach = np.linalg.norm(np.diff(points, axis=1), axis=-1).sum(axis=1)
    sure = present > FOUND
    if not sure.any():
        sure = present >= present.max()
    usual = float(np.quantile(reach[sure], 0.75))
    side = float(np.clip(ARM_WIDTH * usual, 32, 1.2 * max(size)))
    steady = _steadied(centre, sure, LIKELY_JUMP * usual)
    return [Crop(centre_px=c, side_px=side, up_rad=0.0, mirrored=False) for c in steady]


def _steadied(places: Array, sure: NDArray[np.bool_], jump: float) -> Array:
    """Places (k, 2), each number where it is sure and near its neighbours' median; between those, a line."""
    at = np.arange(len(places))
    known = at[sure]
    nearest = known[np.argsort(abs(known - at[:, None]), axis=1)[:, :5]]
    middle = np.median(places[nearest], axis=1)
    good = sure[:, None] & (np.abs(places - middle) <= jump)
    lines = zip(places.T, middle.T, good.T, strict=True)
    return np.stack([np.interp(at, at[g], v[g]) if g.any() else m for v, m, g in lines], axis=1)


def _side(first: Array, second: Array) -> Array:
    """Both looks weigh alike, on the scale of log odds."""
    return np.asarray(expit((log_odds(first) + log_odds(second)) / 2))
