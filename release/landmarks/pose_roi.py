"""From MediaPipe's pose detector to the square its landmark model wants, and back.

In:   the detector's raw boxes and scores on a letterboxed 224 px picture.
Out:  a rotated square in picture pixels, (0, 0) the outer corner of the top left pixel.
Why:  the numbers are those of MediaPipe's own graphs (pose_detection_cpu, pose_landmark_cpu), so that
      LiteRT gives what the reference package gives; a test compares the two.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DETECTOR_PX = 224
STRIDES = (8, 16, 32, 32, 32)
LEAST_SCORE = 0.5
ROI_SCALE = 1.25  # of twice the distance from the hips' middle to the full-body circle point


def anchor_centres() -> Floats:
    """Centres of the 2254 anchors, shape (2254, 2), as shares of the picture; two a cell and layer."""
    layers = []
    for stride in STRIDES:
        cells = DETECTOR_PX // stride
        y, x = np.mgrid[0:cells, 0:cells]
        layers.append(np.repeat(np.stack([x, y], -1).reshape(-1, 2) + 0.5, 2, axis=0) / cells)
    return np.concatenate(layers)


def best_alignment(raw_boxes: Floats, raw_scores: Floats) -> Floats | None:
    """The surest person's two alignment points, as shares of the detector's picture.

    Boxes that overlap the surest one are averaged by score, as MediaPipe's weighted suppression does.

    Args:
        raw_boxes: Shape (2254, 12): x, y, width, height and four points, in detector pixels from the anchor.
        raw_scores: Shape (2254,), before the logistic.

    Returns:
        Shape (2, 2): the hips' middle and a point on the circle round the body; None where nobody is found.
    """
    score = 1 / (1 + np.exp(-np.clip(raw_scores, -100, 100)))
    keep = score >= LEAST_SCORE
    if not keep.any():
        return None
    anchors, raw, score = anchor_centres()[keep], raw_boxes[keep] / DETECTOR_PX, score[keep]
    middle, size = raw[:, :2] + anchors, raw[:, 2:4]
    corners = np.concatenate([middle - size / 2, middle + size / 2], axis=1)
    near = _overlap(corners[np.argmax(score)], corners) > 0.3
    points = raw[near, 4:8].reshape(-1, 2, 2) + anchors[near, None]
    return np.average(points, axis=0, weights=score[near])


def _overlap(box: Floats, boxes: Floats) -> Floats:
    low, high = np.maximum(box[:2], boxes[:, :2]), np.minimum(box[2:], boxes[:, 2:])
    shared = np.prod(np.clip(high - low, 0, None), axis=1)
    areas = np.prod(boxes[:, 2:] - boxes[:, :2], axis=1)
    return shared / (np.prod(box[2:] - box[:2]) + areas - shared)


def letterbox(width: int, height: int) -> tuple[float, float, float]:
    """Side, left margin and top margin, in picture pixels, of the square round the whole picture."""
    side = float(max(width, height))
    return side, (side - width) / 2, (side - height) / 2


def square_from_alignment(alignment_px: Floats) -> tuple[Floats, float, float]:
    """Centre (2,), side and clockwise turn in radians of the landmark model's square, in picture pixels."""
    centre, circle = alignment_px
    across = circle - centre
    turn_rad = np.pi / 2 - np.arctan2(-across[1], across[0])
    return centre, float(2 * np.hypot(*across) * ROI_SCALE), float(turn_rad)


def square_to_picture(centre_px: Floats, side_px: float, turn_rad: float, out_px: int) -> Floats:
    """Affine (2, 3) taking pixels of an out_px square (outer corner at 0) to picture pixels."""
    scale = side_px / out_px
    turn = np.array([[np.cos(turn_rad), -np.sin(turn_rad)], [np.sin(turn_rad), np.cos(turn_rad)]])
    return np.column_stack([turn * scale, centre_px - turn @ np.full(2, side_px / 2)])


def refined_by_heatmap(
    points: Floats, heatmap_logits: Floats, *, window: int = 7, least: float = 0.5
) -> Floats:
    """Move each point to the centroid of its heatmap near it, where the heatmap is sure enough.

    Args:
        points: Shape (n, 2), shares of the square.
        heatmap_logits: Shape (rows, columns, n).
        window: Cells across the window round the point.
        least: Highest probability in the window below which the point stays.
    """
    rows, columns, _ = heatmap_logits.shape
    refined = points.copy()
    for index, (x, y) in enumerate(points):
        column, row, half = int(x * columns), int(y * rows), (window - 1) // 2
        if not (0 <= column < columns and 0 <= row < rows):
            continue
        left, top = max(0, column - half), max(0, row - half)
        patch = heatmap_logits[top : row + half + 1, left : column + half + 1, index]
        sure = 1 / (1 + np.exp(-patch))
        if sure.max() >= least:
            y_cell, x_cell = np.mgrid[0 : patch.shape[0], 0 : patch.shape[1]]
            weight = sure / sure.sum()
            refined[index] = (
                (left + (x_cell * weight).sum()) / columns,
                (top + (y_cell * weight).sum()) / rows,
            )
    return refined
