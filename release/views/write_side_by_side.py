"""Two release moments beside each other, to keep: a short slow clip, or one picture.

In:   the frames of two throws round release with the arm in each.
Out:  an MP4 (H.264) or a JPEG/PNG; everything but the throwing forearm, hand and ball is made coarse, and
      the file says nothing of where, when or with what it was filmed.
"""

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from matplotlib.font_manager import findfont
from numpy.typing import NDArray
from PIL import Image as Pillow
from PIL import ImageDraw, ImageFont

from release.errors import OutputUnwritable
from release.views.faces import HEAD_REACH_M, hide_faces, scale_px_per_m
from release.views.overlay import FOREARM, PALM, THUMB_SIDE, draw_arm
from release.views.result import ArmDrawing

Image = NDArray[np.uint8]

PANEL_PX = (540, 640)  # width, height of one throw
# Above the throws, between them, and below. The whole is of 16 px blocks: else x264 now and then adds a byte.
BAR_PX, GAP_PX, KEY_PX = 56, 8, 40
BEFORE_S, AFTER_S = 0.035, 0.015  # shown round release
AT_RELEASE_S = 0.0045  # the hand is away from the head; at other times it may pass before it
FRAMED_S = 0.02  # the panel holds the arm for so long to both sides; before and after it may leave
PICTURES_PER_S = 15
HOLD_S = 2.0  # the clip stands still at release
MARGIN_M = 0.12  # kept round the arm
PAPER, INK = (255, 255, 255), (34, 38, 46)
DRAWN = {"forearm": FOREARM, "the way the palm faces": PALM, "thumb side": THUMB_SIDE}
SHOWN_POINTS = ("elbow", "wrist", "middle_mcp", "ball")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseMoment:
    """One throw round its release."""

    images: NDArray[np.uint8]  # shape (k, height, width, 3), RGB, as filmed
    drawings: tuple[ArmDrawing, ...]  # one a frame
    time_s: NDArray[np.float64]  # shape (k,), from release
    caption: str


def write_side_by_side(first: ReleaseMoment, second: ReleaseMoment, path: Path) -> None:
    """Write both throws, brought together at release; whole or not at all.

    Args:
        first: Shown on the left.
        second: Shown on the right.
        path: NAME.mp4 for a clip; NAME.jpg or NAME.png for the two release frames.

    Raises:
        OutputUnwritable: Another ending, or a folder that cannot be written.
    """
    if path.suffix.lower() not in (".mp4", ".jpg", ".png"):
        raise OutputUnwritable(f"name {path.name} .mp4 for a clip, or .jpg or .png for a picture")
    both = (_panels(first), _panels(second))
    unfinished = path.with_name(f"{path.stem}.part{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.suffix.lower() == ".mp4":
            _encode(_pictures(*both, first, second), unfinished)
        else:
            still = _beside(both, (first, second), (_nearest(first, 0.0), _nearest(second, 0.0)), 0.0)
            Pillow.fromarray(still).save(unfinished, quality=90)
        os.replace(unfinished, path)
    except OSError as error:
        raise OutputUnwritable(f"{path} cannot be written: {error}") from error
    finally:
        unfinished.unlink(missing_ok=True)


def _panels(moment: ReleaseMoment) -> list[Image]:
    """Each frame with faces made coarse, cut to where the arm is, and the arm drawn."""
    place, factor = _cut(moment)
    # A segment that points at the camera shows short: of all frames the largest scale holds.
    head_px = HEAD_REACH_M * max(scale_px_per_m(d) for d in moment.drawings)
    panels = []
    for image, drawing, time_s in zip(moment.images, moment.drawings, moment.time_s, strict=True):
        hidden = hide_faces(image, drawing)
        if abs(time_s) > AT_RELEASE_S:
            hidden = _head_hidden(hidden, image, drawing, head_px)
        near = cv2.warpAffine(
            hidden, place, PANEL_PX, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        points = {name: _moved(point, place) for name, point in drawing.points_px.items()}
        sds = {name: sd * factor for name, sd in drawing.points_sd_px.items()}
        moved = replace(drawing, points_px=points, points_sd_px=sds, head_px=())
        panels.append(draw_arm(np.asarray(near, np.uint8), moved))
    return panels


def _head_hidden(hidden: Image, image: Image, drawing: ArmDrawing, head_px: float) -> Image:
    """Also what lies where the head can be behind a passing hand, which a still at release leaves clear."""
    if "shoulder" not in drawing.points_px:
        return hide_faces(image, None)
    mask = np.zeros(image.shape[:2], np.uint8)
    x, y = drawing.points_px["shoulder"]
    cv2.circle(mask, (round(x - 0.5), round(y - 0.5)), round(head_px), 255, -1)
    share = cv2.GaussianBlur(mask, (0, 0), 0.04 * head_px + 0.5)[..., None] / 255.0
    return np.round(share * hide_faces(image, None) + (1 - share) * hidden).astype(np.uint8)


def _cut(moment: ReleaseMoment) -> tuple[NDArray[np.float64], float]:
    """The affine map from the frame to the panel, one for all frames, and its scale."""
    shown = [d for d, t in zip(moment.drawings, moment.time_s, strict=True) if abs(t) <= FRAMED_S]
    points = np.array([d.points_px[n] for d in shown for n in SHOWN_POINTS if n in d.points_px])
    margin = MARGIN_M * float(np.median([scale_px_per_m(d) for d in shown]))
    low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    height, width = moment.images.shape[1:3]
    tall = max(high[1] - low[1], (high[0] - low[0]) * PANEL_PX[1] / PANEL_PX[0])
    tall = min(tall, height, width * PANEL_PX[1] / PANEL_PX[0])
    wide = tall * PANEL_PX[0] / PANEL_PX[1]
    x = float(np.clip((low[0] + high[0] - wide) / 2, 0, width - wide))
    y = float(np.clip((low[1] + high[1] - tall) / 2, 0, height - tall))
    factor = PANEL_PX[1] / tall
    # OpenCV counts from pixel centres
    return np.array([[factor, 0, factor * (0.5 - x) - 0.5], [0, factor, factor * (0.5 - y) - 0.5]]), factor


def _moved(point: tuple[float, float], place: NDArray[np.float64]) -> tuple[float, float]:
    u, v = place @ [point[0] - 0.5, point[1] - 0.5, 1.0] + 0.5
    return float(u), float(v)


def _pictures(
    left: Sequence[Image], right: Sequence[Image], first: ReleaseMoment, second: ReleaseMoment
) -> Iterator[Image]:
    step = max(float(np.median(np.diff(m.time_s))) for m in (first, second))
    before = int(min(BEFORE_S, -first.time_s[0], -second.time_s[0]) / step)
    after = int(min(AFTER_S, first.time_s[-1], second.time_s[-1]) / step)
    for k in range(-before, after + 1):
        at = (_nearest(first, k * step), _nearest(second, k * step))
        picture = _beside((left, right), (first, second), at, k * step)
        for _ in range(round(HOLD_S * PICTURES_PER_S) if k == 0 else 1):
            yield picture


def _nearest(moment: ReleaseMoment, time_s: float) -> int:
    return int(np.argmin(np.abs(moment.time_s - time_s)))


def _beside(
    panels: tuple[Sequence[Image], Sequence[Image]],
    moments: tuple[ReleaseMoment, ReleaseMoment],
    at: tuple[int, int],
    time_s: float,
) -> Image:
    width, height = PANEL_PX
    paper = np.full((BAR_PX + height + KEY_PX, 2 * width + GAP_PX, 3), PAPER, np.uint8)
    for i in range(2):
        paper[BAR_PX : BAR_PX + height, i * (width + GAP_PX) : i * (width + GAP_PX) + width] = panels[i][
            at[i]
        ]
    sheet = Pillow.fromarray(paper)
    pen = ImageDraw.Draw(sheet)
    large, small = (ImageFont.truetype(findfont("DejaVu Sans"), size) for size in (24, 17))
    for i, moment in enumerate(moments):
        pen.text((i * (width + GAP_PX) + 12, BAR_PX / 2), moment.caption, INK, large, anchor="lm")
    said = "release" if time_s == 0 else f"{1000 * abs(time_s):.0f} ms {'before' if time_s < 0 else 'after'}"
    pen.text((2 * width + GAP_PX - 12, BAR_PX / 2), said, INK, small, anchor="rm")
    x, y = 12.0, BAR_PX + height + KEY_PX / 2
    for name, colour in DRAWN.items():
        pen.line((x, y, x + 28, y), colour, 6)
        pen.text((x + 38, y), name, INK, small, anchor="lm")
        x += 38 + small.getlength(name) + 30
    return np.asarray(sheet, np.uint8)


def _encode(pictures: Iterator[Image], path: Path) -> None:
    flags = {"fflags": "+bitexact", "movflags": "+faststart"}
    with av.open(str(path), "w", format="mp4", options=flags) as container:
        stream = None
        for count, picture in enumerate(pictures):
            if stream is None:
                options = {"crf": "20", "preset": "medium", "threads": "1"}
                stream = container.add_stream("libx264", PICTURES_PER_S, options=options)
                stream.height, stream.width, stream.pix_fmt = *picture.shape[:2], "yuv420p"
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts, frame.time_base = count, Fraction(1, PICTURES_PER_S)
            container.mux(stream.encode(frame))
        if stream is not None:
            container.mux(stream.encode(None))
