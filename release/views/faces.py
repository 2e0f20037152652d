"""Faces made unreadable in a picture that leaves the logbook.

A face finder misses faces that are blurred, turned away or cut by the edge, and a picture round the
release may hold others beside the athlete. So nothing is looked for: everything is made coarse except
the throwing hand, the ball and the forearm, and the part of these that lies where the head can be is
made coarse as well.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from release.views.result import ArmDrawing

# Lengths of an adult, metres: Winter's segment table (0.186 and 0.146 of 1.8 m), hand to knuckle from memory.
UPPER_ARM_M, FOREARM_M, WRIST_TO_KNUCKLE_M = 0.335, 0.263, 0.09
FACE_HEIGHT_M = 0.23
FACE_CELLS = 4  # a face is left with this many grey cells from chin to crown: nobody is known by them
HAND_CLEAR_M = 0.17  # kept sharp round the middle of the hand
FOREARM_CLEAR_M = 0.065  # kept sharp on either side of the forearm
HEAD_REACH_M = 0.38  # no part of the head is further from the shoulder centre than this
HEAD_RADIUS_M = 0.16

Image = NDArray[np.uint8]


def hide_faces(image: Image, drawing: ArmDrawing | None) -> Image:
    """The picture with everything made coarse that is not the throwing forearm, hand or ball.

    Args:
        image: Shape (height, width, 3).
        drawing: The arm in it; None makes the whole picture coarse.

    Returns:
        A new picture of the same shape.
    """
    height, width = image.shape[:2]
    if drawing is None or "wrist" not in drawing.points_px:
        return _coarse(image, cell_px=max(height, width) / 24)
    px_per_m = scale_px_per_m(drawing)
    coarse = _coarse(image, cell_px=max(FACE_HEIGHT_M * px_per_m / FACE_CELLS, 8.0))
    clear = cv2.GaussianBlur(_clear_part(height, width, drawing, px_per_m), (0, 0), 0.012 * px_per_m + 0.5)
    share = clear[..., None].astype(np.float64) / 255
    return np.round(share * image + (1 - share) * coarse).astype(np.uint8)


def scale_px_per_m(drawing: ArmDrawing) -> float:
    """Pixels of a metre at the arm: the largest that any segment shows, since turning only shortens them."""
    lengths = (
        ("shoulder", "elbow", UPPER_ARM_M),
        ("elbow", "wrist", FOREARM_M),
        ("wrist", "middle_mcp", WRIST_TO_KNUCKLE_M),
    )
    points = drawing.points_px
    seen = [
        float(np.hypot(*np.subtract(points[a], points[b]))) / length_m
        for a, b, length_m in lengths
        if a in points and b in points
    ]
    return max(seen, default=400.0)


def _coarse(image: Image, *, cell_px: float) -> Image:
    height, width = image.shape[:2]
    cells = max(round(width / cell_px), 2), max(round(height / cell_px), 2)
    small = cv2.resize(image, cells, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC), np.uint8)


def _clear_part(height: int, width: int, drawing: ArmDrawing, px_per_m: float) -> Image:
    mask = np.zeros((height, width), np.uint8)
    points = drawing.points_px
    if "elbow" in points:
        ends = [_whole(points[name]) for name in ("elbow", "wrist")]
        cv2.line(mask, ends[0], ends[1], 255, _at_least_1(2 * FOREARM_CLEAR_M * px_per_m))
    if "shoulder" in points:
        cv2.circle(mask, _whole(points["shoulder"]), _at_least_1(HEAD_REACH_M * px_per_m), 0, -1)
    hand = points.get("middle_mcp", points["wrist"])
    cv2.circle(mask, _whole(hand), _at_least_1(HAND_CLEAR_M * px_per_m), 255, -1)
    for head in drawing.head_px:
        cv2.circle(mask, _whole(head), _at_least_1(HEAD_RADIUS_M * px_per_m), 0, -1)
    return mask


def _whole(point: tuple[float, float]) -> tuple[int, int]:
    return round(point[0] - 0.5), round(point[1] - 0.5)


def _at_least_1(length_px: float) -> int:
    return max(round(length_px), 1)
