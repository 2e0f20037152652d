"""A contact sheet of training pictures with their labels drawn on them, to be looked at."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from release.landmarks.result import HAND_POINTS, Kind
from release.workshop.crops import render_many
from release.workshop.result import Crops

COLUMNS, COUNT, ENLARGED = 8, 40, 2
AXIS_COLOURS = ((60, 60, 255), (60, 220, 60), (255, 120, 60))  # r_h red, d_h green, p blue (BGR)
POINT_COLOUR, BALL_COLOUR = (0, 255, 255), (255, 0, 255)
GREY = 0.15  # behind the pictures, linear light


def write_sheet(baked: Path, out: Path, seed: int, *, kind: Kind) -> None:
    """Render some training pictures and write them as one PNG."""
    crops = render_many(baked, COUNT, seed, kind=kind, kept_out=False, workers=1)
    tiles = [_labelled(crops, k) for k in range(len(crops))]
    rows = [np.hstack(tiles[k : k + COLUMNS]) for k in range(0, len(tiles), COLUMNS)]
    cv2.imwrite(str(out), np.vstack(rows))


def _labelled(crops: Crops, k: int) -> NDArray[np.uint8]:
    coded = crops.image[k].astype(float) / 255
    shown = np.sqrt(coded[..., :3] ** 2 + (1 - coded[..., 3:]) * GREY)
    tile = np.ascontiguousarray(shown[..., ::-1] * 255).clip(0, 255).astype(np.uint8)
    tile = np.asarray(cv2.resize(tile, None, fx=ENLARGED, fy=ENLARGED), np.uint8)
    points = crops.points_px[k] * ENLARGED
    for name, point in zip(HAND_POINTS, points, strict=True):
        colour = BALL_COLOUR if name == "ball" else POINT_COLOUR
        cv2.circle(tile, (int(point[0]), int(point[1])), 3, colour, -1)
    root = points[HAND_POINTS.index("middle_mcp")]
    for axis, colour in enumerate(AXIS_COLOURS):
        end = root + 60 * crops.palm[k][:2, axis]
        cv2.line(tile, (int(root[0]), int(root[1])), (int(end[0]), int(end[1])), colour, 2)
    text = f"{1000 * crops.since_release_s[k]:.0f} ms{' held' if crops.held[k] else ''}"
    text += f"{' strange' if crops.strange[k] else ''}{'' if crops.present[k] else ', no hand'}"
    cv2.putText(tile, text, (4, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (255, 255, 255), 1)
    return tile
