"""The throwing arm drawn on a release frame.

Pixels: (0, 0) is the outer corner of the top left pixel; OpenCV counts from pixel centres, so 0.5 is
taken off.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from release.views.faces import scale_px_per_m
from release.views.result import ArmDrawing

Image = NDArray[np.uint8]

CREAM, BLACK = (255, 250, 235), (20, 20, 24)
FOREARM, PALM, THUMB_SIDE = (246, 168, 33), (64, 196, 255), (255, 120, 170)
SHIFT = 4  # OpenCV draws at 1/16 px
PALM_ARROW_M, THUMB_ARROW_M = 0.13, 0.09


def draw_arm(image: Image, drawing: ArmDrawing) -> Image:
    """Upper arm and forearm, hand points with their uncertainty, the way the palm faces and the thumb side.

    Args:
        image: Shape (height, width, 3), RGB.
        drawing: Points and palm in the same pixels.

    Returns:
        A new picture. An arrow's length shows how much of the direction lies in the picture: the shorter,
        the more it points at the camera or away from it.
    """
    out = np.ascontiguousarray(image).copy()
    points = drawing.points_px
    width_px = max(round(image.shape[0] / 240), 2)
    for names, colour in ((("shoulder", "elbow"), CREAM), (("elbow", "wrist"), FOREARM)):
        if all(name in points for name in names):
            _line(out, points[names[0]], points[names[1]], colour, width_px)
    for tip in ("index", "middle", "ring", "little"):
        if f"{tip}_mcp" in points and "wrist" in points:
            _line(out, points["wrist"], points[f"{tip}_mcp"], CREAM, max(width_px - 1, 1))
    for name, point in points.items():
        _point(out, point, drawing.points_sd_px.get(name, 0.0), width_px)
    if drawing.palm is not None and "middle_mcp" in points:
        _palm_axes(out, drawing, width_px)
    return out


def arm_close_up(
    image: Image, drawing: ArmDrawing, *, width_px: int, aspect: float = 1.2
) -> tuple[Image, ArmDrawing]:
    """The part of the picture round forearm and hand, enlarged, and the arm in its pixels.

    Args:
        image: Shape (height, width, 3).
        drawing: The arm in it.
        width_px: Width of the answer.
        aspect: Its width over its height.
    """
    shown = dict(drawing.points_px)
    if "ball" not in shown and "middle_mcp" in shown and "wrist" in shown:
        # One that has just left is not drawn: about as far beyond the knuckles as they are from the wrist.
        shown["ball"] = tuple(2 * np.array(shown["middle_mcp"]) - shown["wrist"])
    box = np.array([shown[n] for n in ("elbow", "wrist", "middle_mcp", "ball") if n in shown])
    low, high = box.min(axis=0), box.max(axis=0)
    margin = 0.2 * scale_px_per_m(drawing)
    height, width = image.shape[:2]
    tall = min(max(high[1] - low[1] + margin, (high[0] - low[0] + margin) / aspect), height, width / aspect)
    x = float(np.clip((low[0] + high[0] - tall * aspect) / 2, 0, max(width - tall * aspect, 0)))
    y = float(np.clip((low[1] + high[1] - tall) / 2, 0, max(height - tall, 0)))
    factor = width_px / (tall * aspect)
    # OpenCV counts from pixel centres
    place = np.array(
        [[factor, 0, factor * (0.5 - x) - 0.5], [0, factor, factor * (0.5 - y) - 0.5]], np.float64
    )
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    size = (width_px, round(width_px / aspect))
    close = cv2.warpAffine(image, place, size, flags=way, borderMode=cv2.BORDER_REPLICATE)
    moved = replace(
        drawing,
        points_px={n: ((u - x) * factor, (v - y) * factor) for n, (u, v) in drawing.points_px.items()},
        points_sd_px={n: sd * factor for n, sd in drawing.points_sd_px.items()},
        head_px=tuple(((u - x) * factor, (v - y) * factor) for u, v in drawing.head_px),
    )
    return np.asarray(close, np.uint8), moved


def _palm_axes(out: Image, drawing: ArmDrawing, width_px: int) -> None:
    assert drawing.palm is not None
    start = np.array(drawing.points_px["middle_mcp"])
    for column, colour, length_m in ((0, THUMB_SIDE, THUMB_ARROW_M), (2, PALM, PALM_ARROW_M)):
        end = start + length_m * scale_px_per_m(drawing) * drawing.palm[:2, column]
        for ink, extra in ((BLACK, 2), (colour, 0)):
            cv2.arrowedLine(
                out, _fixed(start), _fixed(end), ink, width_px + extra, cv2.LINE_AA, SHIFT, tipLength=0.25
            )


def _line(
    out: Image, a: tuple[float, float], b: tuple[float, float], colour: tuple[int, ...], width: int
) -> None:
    cv2.line(out, _fixed(a), _fixed(b), BLACK, width + 2, cv2.LINE_AA, SHIFT)
    cv2.line(out, _fixed(a), _fixed(b), colour, width, cv2.LINE_AA, SHIFT)


def _point(out: Image, point: tuple[float, float], sd_px: float, width: int) -> None:
    """A dot, and a thin ring at twice the standard uncertainty where that is larger than the dot."""
    radius = width + 1
    cv2.circle(out, _fixed(point), (radius + 1) << SHIFT, BLACK, -1, cv2.LINE_AA, SHIFT)
    cv2.circle(out, _fixed(point), radius << SHIFT, CREAM, -1, cv2.LINE_AA, SHIFT)
    if 2 * sd_px > radius + 1:
        cv2.circle(out, _fixed(point), round(2 * sd_px * 2**SHIFT), CREAM, 1, cv2.LINE_AA, SHIFT)


def _fixed(point: tuple[float, float] | NDArray[np.float64]) -> tuple[int, int]:
    return round((float(point[0]) - 0.5) * 2**SHIFT), round((float(point[1]) - 0.5) * 2**SHIFT)
