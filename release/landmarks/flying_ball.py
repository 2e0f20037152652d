"""Small round things that move against what stands still: the ball in flight, among others.

In:   pictures of one camera, the size of the ball in them.
Out:  for each picture the places that look most like a ball on its way.
"""

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from release.landmarks.view import halved

Array = NDArray[np.float64]

RADIUS_PX = 4.0  # pictures are made so small that the ball has this radius: small spots are found as surely
SPOTS = 24  # at most so many a picture
LEAST_CONTRAST = 3.0  # grey levels of 255 above what lies round the spot
AWAY = 37.0  # radii that the fastest ball flies in 27 ms: 1.35 m
STILL_OF = 25  # about so many of the pictures tell what stands still


def box_round(points_px: Array, radius_px: float, width_px: int, height_px: int) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of what a ball may fly through in its first frames, within the picture.

    Args:
        points_px: Shape (n, 2), of the hand; NaN where not seen.
        radius_px: Of the ball.
    """
    seen = points_px[np.isfinite(points_px).all(axis=1)]
    low, high = np.quantile(seen, [0.05, 0.95], axis=0)  # a few points may be misread
    size = np.array([width_px, height_px])
    left, top = np.clip(low - AWAY * radius_px, 0, size - 1).astype(int)
    right, bottom = np.clip(high + AWAY * radius_px, [left + 1, top + 1], size).astype(int)
    return int(left), int(top), int(right), int(bottom)


def moving_spots(
    images: Iterable[NDArray[np.uint8]], radius_px: float, box: tuple[int, int, int, int]
) -> list[Array]:
    """Where each picture differs from what stands still by a spot of the ball's size.

    What stands still is the median of the pictures; the difference is seen through a difference of
    Gaussians, which answers most to a disc of the ball's radius (Lindeberg 1998, from memory).

    Args:
        images: Shape (height, width), brightness.
        radius_px: Of the ball.
        box: Left, top, right, bottom of the part that is looked at, px.

    Returns:
        k arrays of shape (n, 2), px, the strongest first.
    """
    left, top, right, bottom = box
    scale = min(RADIUS_PX / radius_px, 1.0)
    small = np.stack([_shrunk(image[top:bottom, left:right], scale) for image in images])
    still = median_picture(small[:: max(len(small) // STILL_OF, 1)])
    return [
        _spots(grey.astype(np.float32), still, radius_px * scale) / scale + np.array([left, top], float)
        for grey in small
    ]


def median_picture(pictures: NDArray[np.uint8]) -> NDArray[np.float32]:
    """The median of each pixel, shape (height, width), of k pictures, shape (k, height, width).

    By exchanging whole pictures' minima and maxima until the lower half is in order: the same as np.median
    in a tenth of its time.
    """
    order = list(pictures)
    for settled in range(len(order) // 2 + 1):
        for k in range(len(order) - 1, settled, -1):
            before, after = order[k - 1 : k + 1]
            order[k - 1], order[k] = np.minimum(before, after), np.maximum(before, after)
    low, high = order[(len(order) - 1) // 2], order[len(order) // 2]
    return np.asarray((low.astype(np.float32) + high) / 2, np.float32)


def _shrunk(grey: NDArray[np.uint8], scale: float) -> NDArray[np.uint8]:
    height, width = (max(round(n * scale), 1) for n in grey.shape)
    grey, _ = halved(grey, 1 / scale)
    return np.asarray(cv2.resize(grey, (width, height), interpolation=cv2.INTER_LINEAR), np.uint8)


def _spots(grey: NDArray[np.float32], still: NDArray[np.float32], radius_px: float) -> Array:
    changed = cv2.absdiff(grey, still)
    disc = cv2.GaussianBlur(changed, (0, 0), 0.6 * radius_px) - cv2.GaussianBlur(
        changed, (0, 0), 1.4 * radius_px
    )
    peak = (disc == cv2.dilate(disc, np.ones((3, 3), np.uint8))) & (disc > LEAST_CONTRAST)
    y, x = np.divmod(np.flatnonzero(peak), peak.shape[1])  # twice as quick as np.nonzero
    strongest = np.argsort(-disc[y, x])[:SPOTS]
    return np.column_stack([x[strongest], y[strongest]]).astype(float) + 0.5
