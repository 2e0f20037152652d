"""The field's outline drawn over a frame, so that a wrong camera is seen at once.

Pixels: (0, 0) is the outer corner of the top left pixel; OpenCV counts from pixel centres.
"""

from collections.abc import Mapping
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from release.camera.field import Field, outline_m
from release.camera.result import FieldCamera

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

LINE, CLICKED = (255, 214, 64), (64, 220, 255)
SHIFT = 4  # OpenCV draws at 1/16 px
NAME_PX = 13  # height of a written name
FARTHEST_PX = 20_000.0  # what lies farther out is not drawn


def draw_outline(
    image: Image, camera: FieldCamera, field: Field, clicked_px: Mapping[str, tuple[float, float]]
) -> Image:
    """Rubber, plate, mound, target line, an upright and the horizon as seen; crosses where marks are clicked.

    Args:
        image: Shape (height, width, 3), RGB.
        clicked_px: Places in this picture, by the mark's name.

    Returns:
        A new picture.
    """
    out = np.ascontiguousarray(image).copy()
    width = max(round(image.shape[0] / 360), 1)
    for line in outline_m(field, camera.position_m):
        fine = _fine(line)
        px = camera.pixel(fine)
        for a, b in pairwise(px):
            if np.isfinite([a, b]).all() and np.abs([a, b]).max() < FARTHEST_PX:
                _stroke(out, a, b, LINE, width)
    row = -np.inf
    for name, (x, y) in sorted(clicked_px.items(), key=lambda mark: mark[1][1]):
        at = np.array([x, y])
        for way in ([6.0, 6.0], [6.0, -6.0]):
            _stroke(out, at - np.array(way), at + np.array(way), CLICKED, width)
        row = max(y - 5, row + NAME_PX)  # names of marks close together stand below each other
        cv2.putText(
            out, name, (round(x + 9), round(row)), cv2.FONT_HERSHEY_SIMPLEX, 0.4, CLICKED, 1, cv2.LINE_AA
        )
    return out


def _fine(line: Array) -> Array:
    """The same line with points close together: a long one may begin behind the camera."""
    at = np.linspace(0, len(line) - 1, max(200, len(line)))
    return np.column_stack([np.interp(at, np.arange(len(line)), line[:, k]) for k in range(3)])


def _stroke(out: Image, a: Array, b: Array, colour: tuple[int, int, int], width: int) -> None:
    ends = [(round((x - 0.5) * 2**SHIFT), round((y - 0.5) * 2**SHIFT)) for x, y in (a, b)]
    cv2.line(out, ends[0], ends[1], colour, width, cv2.LINE_AA, SHIFT)
