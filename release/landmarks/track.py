"""Where the hand's crop lies in each frame: first by the arm, then by what the hand model itself read.

In:   the arm's points, or the points read in the crops before, with how sure they are.
Out:  one crop a frame, of one size for the clip: the hand's distance hardly changes in a quarter second.
Why:  a single frame may be misread through blur or a net; its neighbours are not, so the place is carried
      over from them.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from release.frames.result import Square
from release.landmarks.result import HAND_POINTS, ArmReading, Side
from release.landmarks.view import EVERY_PX, Crop

Array = NDArray[np.float64]

# What a crop spans: hand, ball and, of most arms, the elbow. With the elbow outside, the forearm's length is
# not seen: on kept-out renders it was then read 7 % of that length off instead of 4.
CROP_M = 0.57
DETAIL_M = 0.30  # a second crop, of a large hand: hand and ball, twice as fine
ELBOW_M = 0.46  # a third: forearm and half of the upper arm, twice as fine as the arm finder's look
UP_THE_FOREARM = 0.3  # of its length from the elbow, where that is centred
ZOOM_M = 0.50  # what the hand model's zoom counts from
ARM_WIDTH = 1.5  # side of the arm finder's second look, by the arm's length: training draws as much
ELBOW, WRIST, KNUCKLE, BALL = map(HAND_POINTS.index, ("elbow", "wrist", "middle_mcp", "ball"))
SURE = 0.5
# Stated SD of the palm's turn about each axis: on kept-out renders 95 of 100 hands that were followed lay
# below it, and 9 of 10 crops that had lost the hand above.
SURE_RAD = 0.31
SURER = 0.7  # a second reading stands where its SD is below this share of the first one's
LED_BY = 3  # frames in a row on the hand, by which the next one's place is told
# Forearm of an adult, 0.146 of 1.80 m (Drillis and Contini 1966, from memory): gives the first size only.
FOREARM_M = 0.263
NEAR, LEAST_NEAR = 5, 3  # frames that vouch for one another; where only some are looked at
JUMP = 0.35  # of a crop's side: a wrist further from its neighbours' median is doubted
# Of a crop's side: no place in its inscribed circle lies further from where another crop has it. In training
# crops lie further off.
ALIKE = 0.08
SQUARE = 1.8  # of a crop's side: takes it in turned by any angle, and 0.1 m beside where it was expected
SHARP_PX = 360  # a crop's side in pixels that is enough: its detail has 189 of them then, and is read at 192
SCALE_STEP = 1.05  # squares are held at scales so far apart: each new size takes time to make ready for


def squares_round(
    arm: ArmReading, frame_index: NDArray[np.int64], width_px: int, height_px: int
) -> list[Square]:
    """Where the hand's crops will lie in some frames, by the arm found in others that take them in."""
    crops = first_crops(arm, frame_index, "R")
    side_px = crops[0].side_px
    expected = np.array([crop.centre_px for crop in crops])
    size = [width_px, height_px]
    # Few sizes, and even edges: two pixels of brightness share one of colour.
    low = np.clip(expected - SQUARE / 2 * side_px, 0, np.subtract(size, 1)).astype(int) // EVERY_PX * EVERY_PX
    high = (expected + SQUARE / 2 * side_px).astype(int) // EVERY_PX * EVERY_PX + EVERY_PX
    high = np.clip(high, low + 1, size)
    scale = min(float(SCALE_STEP ** np.round(np.log(SHARP_PX / side_px) / np.log(SCALE_STEP))), 1.0)
    return [
        Square(left=int(left), top=int(top), right=int(right), bottom=int(bottom), scale=scale)
        for (left, top), (right, bottom) in zip(low, high, strict=True)
    ]


def first_crops(arm: ArmReading, frame_index: NDArray[np.int64], side: Side) -> list[Crop]:
    """Crops in some frames, laid by the wrist and elbow that the arm finder saw in these or in others."""
    elbow, wrist = arm.points_px[:, 1], arm.points_px[:, 2]
    sure = arm.found_probability > SURE
    if not sure.any():
        sure = arm.found_probability >= arm.found_probability.max()
    length = np.linalg.norm(wrist - elbow, axis=1)
    side_px = max(CROP_M * float(np.quantile(length[sure], 0.8)) / FOREARM_M, 24.0)
    return _crops(elbow, wrist, sure, arm.frame_index, frame_index, side_px, side == "L")


def next_crops(
    crops: Sequence[Crop], rows: range, points: Array, present: Array, log_zoom: Array, out_px: int
) -> list[Crop]:
    """Crops laid by what the hand model read in the crops before, in all frames or every few of them.

    Args:
        crops: Those before, one a frame.
        rows: Which k of them were read.
        points: Shape (k, 12, 2), in pixels of the crops.
        present: Shape (k,), how sure a hand was there.
        log_zoom: Shape (k,), logarithm of what the crop spans over ZOOM_M.
        out_px: Side of the crops in their own pixels.
    """
    places = np.stack([crops[row].to_picture(p, out_px) for row, p in zip(rows, points, strict=True)])
    sure = present > SURE
    if not sure.any():
        return list(crops)
    zoom = float(np.clip(np.median(log_zoom[sure]) - np.log(CROP_M / ZOOM_M), -0.7, 0.7))
    side_px = max(crops[0].side_px * np.exp(-zoom), 24.0)
    wrist, mirrored = places[:, WRIST], crops[0].mirrored
    return _crops(places[:, ELBOW], wrist, sure, np.array(rows), np.arange(len(crops)), side_px, mirrored)


def alike(one: Crop, other: Crop) -> bool:
    """Whether two crops of a picture are so near each other that a reader sees the same in both."""
    moved = float(np.linalg.norm(one.centre_px - other.centre_px)) / one.side_px
    turned = abs((one.up_rad - other.up_rad + np.pi) % (2 * np.pi) - np.pi)
    return bool(moved + (abs(np.log(one.side_px / other.side_px)) + turned) / 2 <= ALIKE)


def detail_crop(crop: Crop, points: Array, out_px: int) -> Crop:
    """The finer crop of a hand, by its points (12, 2) read in pixels of the crop that it is seen in."""
    middle = (points[WRIST] + points[KNUCKLE]) / 2
    return replace(crop, centre_px=crop.to_picture(middle, out_px), side_px=crop.side_px * DETAIL_M / CROP_M)


def elbow_crop(crop: Crop, points: Array, out_px: int) -> Crop:
    """The crop of forearm and elbow, by points (12, 2) read in pixels of a hand's crop."""
    middle = points[ELBOW] + UP_THE_FOREARM * (points[WRIST] - points[ELBOW])
    return replace(crop, centre_px=crop.to_picture(middle, out_px), side_px=crop.side_px * ELBOW_M / CROP_M)


def palm_sd_rad(present: Array, palm_precision: Array) -> Array:
    """Stated SD (k,) of the palm's turn about each axis; infinite where no hand was seen.

    Args:
        present: Shape (k,), how sure a hand was there.
        palm_precision: Shape (k, 3, 3), lower Cholesky factor of the turn's precision, 1 / rad.
    """
    return np.where(present > SURE, np.linalg.det(palm_precision) ** (-1 / 3), np.inf)


def on_the_hand(sd_rad: Array) -> NDArray[np.bool_]:
    """Which crops lie on the throwing hand, by the palm's stated SD; at least half of a hard clip's."""
    return np.isfinite(sd_rad) & (sd_rad <= max(SURE_RAD, float(np.median(sd_rad))))


def led_crops(crops: Sequence[Crop], points: Array, sure: NDArray[np.bool_], out_px: int) -> dict[int, Crop]:
    """For frames off the hand beside frames on it, by row: crops laid where those lead.

    Args:
        crops: One a frame.
        points: Shape (k, 12, 2), read in them, in their pixels.
        sure: Shape (k,), which of them lie on the hand.
        out_px: Side of the crops in their own pixels.
    """
    places = np.stack([crop.to_picture(p, out_px) for crop, p in zip(crops, points, strict=True)])
    wrist, arm = places[:, WRIST], places[:, WRIST] - places[:, ELBOW]
    found = {}
    for row in np.flatnonzero(~sure).tolist():
        for way in (-1, 1):
            led = row + way * np.arange(1, LED_BY + 1)
            if led.min() >= 0 and led.max() < len(sure) and sure[led].all():
                step = (wrist[led[0]] - wrist[led[-1]]) / (LED_BY - 1)
                up = float(np.arctan2(arm[led[0], 0], -arm[led[0], 1]))
                found[row] = replace(crops[row], centre_px=wrist[led[0]] + step, up_rad=up)
    return found


def _crops(
    elbow: Array,
    wrist: Array,
    sure: NDArray[np.bool_],
    at: NDArray[np.int64],
    frame_index: NDArray[np.int64],
    side_px: float,
    mirrored: bool,
) -> list[Crop]:
    """Crops in the frames wanted, by the wrist and elbow in those looked `at`."""
    known = np.flatnonzero(sure)
    as_many = max(NEAR // int(np.diff(at).min(initial=NEAR)), LEAST_NEAR)
    near = known[np.argsort(np.abs(at[known] - at[:, None]), axis=1, kind="stable")[:, :as_many]]
    middle = np.median(wrist[near], axis=1)
    good = sure & (np.linalg.norm(wrist - middle, axis=1) <= JUMP * side_px)
    if not good.any():
        good = sure
    place, from_elbow = (
        np.stack([np.interp(frame_index, at[good], v[good, a]) for a in (0, 1)], axis=1)
        for v in (wrist, wrist - elbow)
    )
    up = np.arctan2(from_elbow[:, 0], -from_elbow[:, 1])
    return [
        Crop(centre_px=c, side_px=float(side_px), up_rad=float(u), mirrored=mirrored)
        for c, u in zip(place, up, strict=True)
    ]
