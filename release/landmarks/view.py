"""Cutting a crop out of a picture, and taking what was read there back.

Pixels: (0, 0) is the outer corner of the top left pixel. A crop is a square with its own up; a left hand's
crop is mirrored, so that the hand model sees right hands only.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from release.frames.result import RgbSource, Square

Array = NDArray[np.float64]
MIRROR = np.array([-1.0, 1.0, 1.0])
BESIDE_PX = 8  # so much more than a crop is taken of a picture, for what is sampled between its pixels
EVERY_PX = 32  # such parts begin and end at a multiple of this: each new size takes time to make ready for
MOST_SHRINK = 2.0  # beyond that, sampling between four pixels skips some: the picture is halved first


def view_rotation(point_px: Array, focal_px: float, principal_px: Array) -> Array:
    """Rotation from the view frame of a point to camera axes: the least turn that takes z to its ray.

    Args:
        point_px: Shape (..., 2).
        focal_px: Focal length.
        principal_px: Shape (2,), where the optical axis meets the picture.

    Returns:
        Shape (..., 3, 3); NaN in gives NaN out.
    """
    off = (np.asarray(point_px, float) - principal_px) / focal_px
    z = np.concatenate([off, np.ones((*off.shape[:-1], 1))], axis=-1)
    z /= np.linalg.norm(z, axis=-1, keepdims=True)
    # Rodrigues' formula about z x ray, with the sine and cosine read off the ray itself.
    x, y, c = z[..., 0], z[..., 1], z[..., 2]
    k = 1 / (1 + c)
    rows = [
        [1 - x * x * k, -x * y * k, x],
        [-x * y * k, 1 - y * y * k, y],
        [-x, -y, c],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """A square piece of a picture."""

    centre_px: Array  # shape (2,)
    side_px: float
    up_rad: float  # the crop's up, clockwise from the picture's up
    mirrored: bool  # left to right, inside the crop

    def matrix(self, out_px: int) -> Array:
        """Affine (2, 3) from crop places, pixels of an `out_px` square, to picture places."""
        scale, half = self.side_px / out_px, out_px / 2
        c, s = scale * np.cos(self.up_rad), scale * np.sin(self.up_rad)
        right, down = (-c, -s) if self.mirrored else (c, s)  # where the crop's x leads in the picture
        x, y = self.centre_px
        # Written out: it is asked for several times a crop, and small arrays take longer than their numbers.
        return np.array([[right, -s, x - (right - s) * half], [down, c, y - (down + c) * half]])

    def to_picture(self, points: Array, out_px: int) -> Array:
        """Places in the crop, shape (..., 2), to places in the picture."""
        m = self.matrix(out_px)
        return points @ m[:, :2].T + m[:, 2]

    def spread_to_picture(self, cov: Array, out_px: int) -> Array:
        """Covariances of places, shape (..., 2, 2), likewise."""
        turn = self.matrix(out_px)[:, :2]
        return turn @ cov @ turn.T

    def reach_px(self) -> float:
        """How far it reaches to the sides of its centre, in the picture."""
        return self.side_px / 2 * (abs(math.cos(self.up_rad)) + abs(math.sin(self.up_rad)))

    def axes(self) -> Array:
        """Directions (3, 3) read in the crop to the view frame of its centre."""
        c, s = np.cos(self.up_rad), np.sin(self.up_rad)
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        return turn * MIRROR if self.mirrored else turn


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A frame held small, with a square of it sharper."""

    small: RgbSource
    scale: float  # of its pixels per full-resolution pixel
    square: Square
    sharp: RgbSource

    def for_crop(self, crop: Crop) -> tuple[NDArray[np.uint8], Crop]:
        """What the crop takes in, of the sharp square where that holds it as far as it is in the picture;
        else of the whole. Shape (height, width, 3 or 4), of which a fourth says nothing.
        """
        square, reach_px = self.square, crop.reach_px()
        first, after = (square.left, square.top), (square.right, square.bottom)
        # The picture's size is known to half a pixel of the small one only.
        slack = 0.5 / self.scale
        axes = zip(crop.centre_px.tolist(), first, after, self.small.size, strict=True)
        # Axis by axis: it is asked for three times a frame, and arrays of two take longer than their numbers.
        inside = all(
            low <= max(at - reach_px, 0) and min(at + reach_px, n / self.scale) <= high + slack
            for at, low, high, n in axes
        )
        source, corner, scale = self.small, (0, 0), [self.scale] * 2
        if inside:
            source, corner = self.sharp, first
            scale = [n / (high - low) for n, low, high in zip(source.size, first, after, strict=True)]
        side_px = crop.side_px * sum(scale) / 2
        x, y = (by * (at - low) for at, low, by in zip(crop.centre_px.tolist(), corner, scale, strict=True))
        reach_px = reach_px * side_px / crop.side_px + BESIDE_PX
        (left, right), (top, bottom) = (
            _edges(at - reach_px, at + reach_px, n) for at, n in zip((x, y), source.size, strict=True)
        )
        part = source.rgb_of(left, top, right, bottom)
        return part, replace(crop, centre_px=np.array([x - left, y - top]), side_px=side_px)


def _edges(low: float, high: float, size: int) -> tuple[int, int]:
    """Where a part begins and ends that takes in all from `low` to `high`, within the picture."""
    first = min(max(int(low), 0), size - 1) // EVERY_PX * EVERY_PX
    return first, min(max(-(-int(high) // EVERY_PX) * EVERY_PX, first + EVERY_PX), size)


Picture = NDArray[np.uint8] | Held  # an array: shape (height, width, 3), RGB, full resolution


def cut(image: Picture, crop: Crop, out_px: int) -> NDArray[np.uint8]:
    """The crop as an (out_px, out_px, 3) picture; outside the picture its edge goes on."""
    import cv2

    if isinstance(image, Held):
        image, crop = image.for_crop(crop)
    m = crop.matrix(out_px)
    shrink = crop.side_px / out_px
    if shrink > MOST_SHRINK:
        x, y = crop.centre_px
        reach = int(0.75 * crop.side_px) + 8
        # Two by two from the same pixel on, wherever the picture's edge lies.
        left, top = (max(int(at) - reach, (int(at) - reach) % 2) for at in (x, y))
        part = image[top : int(y) + reach, left : int(x) + reach]
        if part.size:
            image, by = halved(part, shrink)
            m[:, 2] -= [left, top]
            m /= by
    m = np.column_stack([m[:, :2], m @ [0.5, 0.5, 1.0] - 0.5])  # OpenCV counts from pixel centres
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    square = cv2.warpAffine(image, m, (out_px, out_px), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    if square.shape[2] == 4:
        square = cv2.cvtColor(square, cv2.COLOR_RGBA2RGB)
    return np.asarray(square, np.uint8)


def halved(image: NDArray[np.uint8], shrink: float) -> tuple[NDArray[np.uint8], int]:
    """A picture that is to be made smaller, halved until MOST_SHRINK of that is left at most.

    Means of two by two pixels take a tenth of the time of means of other areas.

    Args:
        image: Shape (height, width) or (height, width, channels).
        shrink: How many times smaller it is to be.

    Returns:
        The picture, less a last row or column that has no partner, and how many times smaller it is.
    """
    import cv2

    by = 1
    while shrink / by > MOST_SHRINK and min(image.shape[:2]) > 1:
        width, height = image.shape[1] // 2, image.shape[0] // 2
        pairs = image[: 2 * height, : 2 * width]
        image = np.asarray(cv2.resize(pairs, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
        by *= 2
    return image, by
