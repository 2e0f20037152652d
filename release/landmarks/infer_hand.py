"""The hand model: points, palm and forearm of the throwing hand, followed from frame to frame."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from release.landmarks.infer_elbow import ElbowReading, read_elbow
from release.landmarks.infer_network import calibration, points_in_picture, run, usual_odds
from release.landmarks.infer_opinion import second_opinion
from release.landmarks.result import READ_PX, ArmReading, HandReading, Kind, Side
from release.landmarks.track import (
    BALL,
    ELBOW,
    SURE,
    SURER,
    alike,
    detail_crop,
    first_crops,
    led_crops,
    next_crops,
    on_the_hand,
    palm_sd_rad,
)
from release.landmarks.unfamiliar import strangeness
from release.landmarks.view import Crop, Picture, cut

Array = NDArray[np.float64]
CROP_PX = READ_PX["hand"]
# Looks in turn, each laid by what the one before it read: the first at every third frame, the last at all.
LOOKS = (3, 2, 1)
# MediaPipe is asked about the frame likeliest to be the release and one so many before and after it: those
# within two of release count, release is told more exactly later, and neighbouring frames are read alike.
ASKED = 3
# Side in pixels from which on a hand's crop is looked at in detail too: the detail then has 130, and training
# draws 128 at least.
LARGE_PX = 250.0
DETAILED = 6  # so many frames to both sides of the release: with twelve, or all, no angle was told better
LOST = 0.3  # below this probability that a hand is there nothing is answered


def read_hand(
    images: Sequence[Picture] | NDArray[np.uint8],
    frame_index: NDArray[np.int64],
    arm: ArmReading,
    side: Side,
    *,
    second: bool = True,
) -> HandReading:
    """Follow the throwing hand through the frames.

    Args:
        images: k of them.
        frame_index: Shape (k,).
        arm: What the arm finder read in these frames, or in every few of them.
        side: The throwing arm.
        second: Ask MediaPipe as well, where it has been fetched.
    """
    crops = first_crops(arm, frame_index, side)
    read = _followed(images, crops)
    _look_again(images, crops, read)
    whole = _placed("hand", read, crops)
    placed = _in_detail(images, crops, read, whole)
    # Where the arm finder looked: the elbow's errors stay alike for as long.
    rows = np.flatnonzero(np.isin(frame_index, arm.frame_index) & (read["present"] > SURE))
    elbow = read_elbow(images, crops, read["points"], rows) if len(rows) else None
    asked = _round_release(read["held"], read["present"]) if second else np.zeros(0, np.int64)
    apart_deg, theirs_sd_deg = second_opinion(images, crops, read["points"], read["palm"], asked)
    ours_deg = np.degrees(np.sqrt(np.trace(whole.palm_cov_rad2, axis1=1, axis2=2)))
    apart_sd_deg = np.hypot(theirs_sd_deg, ours_deg)
    return _reading(read, crops, placed, elbow, frame_index, side, apart_deg, apart_sd_deg)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """One crop, and what was read in it."""

    crop: Crop
    read: dict[str, Array]


def _followed(images: Sequence[Picture] | NDArray[np.uint8], crops: list[Crop]) -> dict[str, Array]:
    """Read every frame in a crop laid by the looks before; changes `crops` in place to those that were read.

    A frame is not read again where its crop is hardly another one than it was read in before.
    """
    known: dict[int, _Look] = {}
    read: dict[str, Array] = {}
    for look, every in enumerate(LOOKS):
        rows = range(0, len(images), every)
        fresh = [row for row in rows if row not in known or not alike(known[row].crop, crops[row])]
        known |= _looked(images, {row: crops[row] for row in fresh})
        for row in rows:
            crops[row] = known[row].crop
        read = {name: np.stack([known[row].read[name] for row in rows]) for name in known[0].read}
        if look + 1 < len(LOOKS):
            crops[:] = next_crops(
                crops, rows, read["points"] * CROP_PX, read["present"], read["log_zoom"], CROP_PX
            )
    return read


def _looked(images: Sequence[Picture] | NDArray[np.uint8], crops: Mapping[int, Crop]) -> dict[int, _Look]:
    """What crops of some frames show, by row."""
    if not crops:
        return {}
    more = run("hand", np.stack([cut(images[row], crop, CROP_PX) for row, crop in crops.items()]))
    return {
        row: _Look(crop=crop, read={name: values[k] for name, values in more.items()})
        for k, (row, crop) in enumerate(crops.items())
    }


def _look_again(
    images: Sequence[Picture] | NDArray[np.uint8], crops: list[Crop], read: dict[str, Array]
) -> None:
    """Look where the frames beside lead to, in frames that seem off the hand; the surer reading stands.

    Changes `crops` and `read` in place.
    """
    tried = set[int]()
    while True:
        sd_rad = palm_sd_rad(read["present"], read["palm_precision"])
        led = led_crops(crops, read["points"] * CROP_PX, on_the_hand(sd_rad), CROP_PX)
        led = {row: crop for row, crop in led.items() if row not in tried}
        if not led:
            return
        tried.update(led)
        for row, look in _looked(images, led).items():
            if palm_sd_rad(look.read["present"], look.read["palm_precision"]) < SURER * sd_rad[row]:
                crops[row] = look.crop
                for name, values in look.read.items():
                    read[name][row] = values


def _last_held(held: Array, present: Array) -> int:
    """The frame after which the ball has likeliest left."""
    return int(np.argmax(np.cumsum(np.where(present > LOST, held - 0.5, 0.0))))


def _round_release(held: Array, present: Array) -> NDArray[np.int64]:
    """The frames next to the one where the ball is likeliest to leave: those are worth a second opinion."""
    at = _last_held(held, present)
    near = np.array([at - ASKED, at, at + ASKED])
    near = near[(near >= 0) & (near < len(held))]
    return near[present[near] > LOST]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placed:
    """Where n crops told hand and ball to be, in the picture; covariances calibrated."""

    points_px: Array  # shape (n, 12, 2)
    points_cov_px2: Array  # shape (n, 12, 2, 2)
    ball_seen: NDArray[np.bool_]  # shape (n,)
    ball_radius_px: Array  # shape (n,)
    ball_radius_sd_px: Array  # shape (n,)
    palm: Array  # shape (n, 3, 3), view frame of the crop's centre
    palm_cov_rad2: Array  # shape (n, 3, 3)
    view_px: Array  # shape (n, 2), the crop's centre


def _placed(kind: Kind, read: dict[str, Array], crops: Sequence[Crop]) -> _Placed:
    factor = calibration(kind)
    axes = np.stack([crop.axes() for crop in crops])
    radius = read["radius"] * np.array([crop.side_px for crop in crops])
    points, spread = points_in_picture(kind, read, crops)
    low = read["palm_precision"]
    palm_cov = np.linalg.inv(low @ low.swapaxes(-1, -2)) * factor.get("palm", 1.0) ** 2
    return _Placed(
        points_px=points,
        points_cov_px2=spread,
        ball_seen=read["visible"][:, BALL] >= 0.5,
        ball_radius_px=radius,
        ball_radius_sd_px=radius * read["radius_log_sd"] * factor.get("radius", 1.0),
        palm=axes @ read["palm"],
        palm_cov_rad2=axes @ palm_cov @ axes.swapaxes(-1, -2),
        view_px=np.stack([crop.centre_px for crop in crops]),
    )


def _in_detail(
    images: Sequence[Picture] | NDArray[np.uint8],
    crops: Sequence[Crop],
    read: dict[str, Array],
    whole: _Placed,
) -> _Placed:
    """Hand and ball as crops half as wide tell them near release, where the picture is fine enough.

    The elbow, which those do not hold, stays as it was.
    """
    near = np.abs(np.arange(len(images)) - _last_held(read["held"], read["present"])) <= DETAILED
    rows = np.flatnonzero(near & (read["present"] > SURE)).tolist()
    if crops[0].side_px < LARGE_PX or not rows:
        return whole
    finer = [detail_crop(crops[row], read["points"][row] * CROP_PX, CROP_PX) for row in rows]
    cuts = [cut(images[row], crop, READ_PX["detail"]) for row, crop in zip(rows, finer, strict=True)]
    detail = _placed("detail", run("detail", np.stack(cuts)), finer)
    found = {}
    for name in (f.name for f in fields(_Placed)):
        found[name] = np.array(getattr(whole, name))
        found[name][rows] = getattr(detail, name)
    for name in ("points_px", "points_cov_px2"):
        found[name][:, ELBOW] = getattr(whole, name)[:, ELBOW]
    return _Placed(**found)


def _reading(
    read: dict[str, Array],
    crops: Sequence[Crop],
    placed: _Placed,
    elbow: ElbowReading | None,
    frame_index: NDArray[np.int64],
    side: Side,
    apart_deg: Array,
    apart_sd_deg: Array,
) -> HandReading:
    factor, axes = calibration("hand"), np.stack([crop.axes() for crop in crops])
    lost = read["present"] < LOST
    unseen = lost | ~placed.ball_seen
    points = placed.points_px.copy()
    points[:, BALL][unseen] = np.nan
    view_px = np.stack([crop.centre_px for crop in crops])
    closer = {
        "forearm": np.einsum("kij,kj->ki", axes, read["direction"]),
        "forearm_sd_deg": np.degrees(read["direction_sd"]) * factor.get("direction", 1.0),
        "upper_arm": np.full((len(lost), 3), np.nan),
        "upper_arm_sd_deg": np.full(len(lost), np.nan),
    }
    points_cov, forearm_view_px = placed.points_cov_px2.copy(), view_px.copy()
    if elbow is not None:
        for name, values in closer.items():
            values[elbow.rows] = getattr(elbow, name)
        points[elbow.rows, ELBOW], points_cov[elbow.rows, ELBOW] = elbow.elbow_px, elbow.elbow_cov_px2
        forearm_view_px[elbow.rows] = elbow.view_px

    def known(values: Array) -> Array:
        values = np.array(values, float)
        values[lost] = np.nan
        return values

    return HandReading(
        frame_index=np.asarray(frame_index),
        side=side,
        points_px=known(points),
        points_cov_px2=known(points_cov),
        ball_radius_px=np.where(unseen, np.nan, placed.ball_radius_px),
        ball_radius_sd_px=np.where(unseen, np.nan, placed.ball_radius_sd_px),
        palm=known(placed.palm),
        palm_cov_rad2=known(placed.palm_cov_rad2),
        palm_view_px=placed.view_px,
        **{name: known(values) for name, values in closer.items()},
        forearm_view_px=forearm_view_px,
        view_px=view_px,
        held_probability=known(read["held"]),
        unfamiliarity=strangeness(read["strange"], usual_odds()),
        second_opinion_deg=known(apart_deg),
        second_opinion_sd_deg=apart_sd_deg,
    )
