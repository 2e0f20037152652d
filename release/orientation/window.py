"""Everything read of one arm in the frames round release, as the fit takes it.

Pixels are full-resolution, upright. Directions and rotations are in camera axes (x right, y down, z
away), taken there with the assumed focal length; `arm_turn` and `hand_turn` say how they would turn with
another one. NaN where nothing was read.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.landmarks.result import HAND_POINTS, ArmReading, HandReading
from release.orientation.angles import Side, unit

Array = NDArray[np.float64]

# The points that are read, in the order of ArmWindow.points_px, and the chain's point each one shows.
READ_POINTS = (
    "shoulder",
    "elbow",
    "wrist",
    "elbow",
    "wrist",
    "index_mcp",
    "middle_mcp",
    "ring_mcp",
    "little_mcp",
    "ball",
)
SHOWN = np.array([0, 1, 2, 1, 2, 3, 4, 5, 6, 7])


PIN_SD_PX = 1.0  # of a point that a person dragged into place; assumed, not measured
# How far points err in a throw's frames, by the uncertainty that the networks state: root mean square over
# 133 renders of people kept out of training.
POINT_SD = 1.6
# The wrist's deviation in the throws that the networks learnt from: drawn evenly from -18 to 26 degrees at
# release (`release.workshop.throwing`). Where a picture says little a network answers what is usual.
USUAL_DEVIATION_RAD, USUAL_DEVIATION_SD_RAD = np.radians(4.0), np.radians(44 / np.sqrt(12))
LEAST_OWN = 0.5  # a reading of which less than this share is the picture's own is taken to be so much its own


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmWindow:
    """Readings of one throwing arm in k frames."""

    side: Side
    time_s: Array  # shape (k,), increasing, true time
    points_px: Array  # shape (k, 10, 2), READ_POINTS: three by the arm finder, seven by the hand model
    points_cov_px2: Array  # shape (k, 10, 2, 2)
    upper_arm: Array  # shape (k, 3), unit
    upper_arm_sd_rad: Array  # shape (k,)
    forearm: Array  # shape (k, 3), unit
    forearm_sd_rad: Array  # shape (k,)
    palm: Array  # shape (k, 3, 3): columns r_h, d_h, p
    palm_cov_rad2: Array  # shape (k, 3, 3)
    ball_radius_px: Array  # shape (k,); NaN where the ball is not held
    ball_radius_sd_px: Array  # shape (k,)
    arm_turn: Array  # shape (k, 3): rotation vector of upper_arm per unit of the focal length's logarithm
    hand_turn: Array  # shape (k, 3): the same for forearm and palm
    focal_px: float
    focal_log_sd: float  # standard uncertainty of its logarithm
    centre_px: tuple[float, float]  # the principal point
    pins: "tuple[Pin, ...]" = ()  # what a person pointed out: holds whatever the networks read
    station: "Station | None" = None  # where the camera stands; None: the arm is placed in camera axes


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Where a camera stands, in whose field an arm is placed: a point X is seen at rotation (X - place_m)."""

    number: int  # of the windows fitted together, from 0
    rotation: Array  # shape (3, 3)
    place_m: Array  # shape (3,)
    covariance: Array  # shape (7, 7): small turn of the camera in field axes, place, log of the focal length


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """A point of the arm where a person saw it."""

    time_s: float  # of a frame, on the window's clock
    point: int  # of CHAIN_POINTS
    place_px: tuple[float, float]
    sd_px: float = PIN_SD_PX

    def row(self, time_s: Array) -> int:
        """Which of the frames at these times it lies in."""
        return int(np.argmin(np.abs(time_s - self.time_s)))


PER_FRAME = (
    *("time_s", "points_px", "points_cov_px2", "upper_arm", "upper_arm_sd_rad", "forearm", "forearm_sd_rad"),
    *("palm", "palm_cov_rad2", "ball_radius_px", "ball_radius_sd_px", "arm_turn", "hand_turn"),
)


def part(window: ArmWindow, rows: NDArray[np.bool_]) -> ArmWindow:
    """Only some of the frames."""
    return replace(window, **{name: getattr(window, name)[rows] for name in PER_FRAME})


def as_right_arm(window: ArmWindow) -> ArmWindow:
    """The window seen in a mirror if the arm is a left one: pictures of a right arm only, for the fit.

    Its angles are those of the left arm, since the definitions are the same in a mirror.
    """
    if window.side == "R":
        return window
    x_flipped = np.array([-1.0, 1.0, 1.0])
    turned = np.array([1.0, -1.0, -1.0])  # what a mirror does to a rotation vector
    centre = np.array(window.centre_px)
    return replace(
        window,
        side="R",
        points_px=(window.points_px - centre) * x_flipped[:2] + centre,
        points_cov_px2=window.points_cov_px2 * np.outer(x_flipped[:2], x_flipped[:2]),
        upper_arm=window.upper_arm * x_flipped,
        forearm=window.forearm * x_flipped,
        palm=window.palm * x_flipped[:, None],
        palm_cov_rad2=window.palm_cov_rad2 * np.outer(turned, turned),
        arm_turn=window.arm_turn * turned,
        hand_turn=window.hand_turn * turned,
        station=None if window.station is None else _in_mirror(window.station),
        pins=tuple(
            replace(pin, place_px=(2 * window.centre_px[0] - pin.place_px[0], pin.place_px[1]))
            for pin in window.pins
        ),
    )


def _in_mirror(station: Station) -> Station:
    """The camera that sees the field's mirror picture (left and right of the target line) mirrored."""
    across, turned = np.array([1.0, -1.0, 1.0]), np.array([-1.0, 1.0, -1.0])
    sign = np.concatenate([turned, across, [1.0]])
    return replace(
        station,
        rotation=station.rotation * np.array([[-1.0], [1.0], [1.0]]) * across,
        place_m=station.place_m * across,
        covariance=station.covariance * np.outer(sign, sign),
    )


def pinned(window: ArmWindow, pins: tuple[Pin, ...]) -> ArmWindow:
    """The window with a person's points in place of what was read of them in the same frames."""
    points = window.points_px.copy()
    for pin in pins:
        points[pin.row(window.time_s), pin.point == SHOWN] = np.nan
    return replace(window, points_px=points, pins=pins)


@dataclass(frozen=True, slots=True, kw_only=True)
class Views:
    """How the view frames of the readings stand in camera axes, at the assumed focal length."""

    arm: Array  # shape (j, 3, 3), view frame to camera axes, in the frames in which the arm was read
    palm: Array  # shape (k, 3, 3)
    forearm: Array  # shape (k, 3, 3)
    arm_turn: Array  # shape (j, 3), see ArmWindow
    hand_turn: Array  # shape (k, 3)
    focal_px: float
    focal_log_sd: float
    centre_px: tuple[float, float]


def window_of(
    arm: ArmReading, hand: HandReading, time_s: Array, views: Views, held: NDArray[np.bool_]
) -> ArmWindow:
    """The networks' readings as one window of the k frames in which the hand was read.

    Args:
        arm: In the same frames, or in some of them.
        time_s: Shape (k,).
        held: Shape (k,), where the ball is taken to be in the hand.
    """
    rows = [HAND_POINTS.index(name) for name in READ_POINTS[3:]]
    at = np.searchsorted(hand.frame_index, arm.frame_index)

    def spread(read: Array) -> Array:
        """To the rows of the frames in which the arm was read, NaN between them."""
        wide = np.full((len(time_s), *read.shape[1:]), np.nan)
        wide[at] = read
        return wide

    points = np.concatenate([spread(arm.points_px), hand.points_px[:, rows]], axis=1)
    points[~held, -1] = np.nan
    covariance = [spread(arm.points_cov_px2), hand.points_cov_px2[:, rows]]
    upper_arm, upper_arm_sd_deg = read_twice(
        (np.einsum("kij,kj->ki", views.forearm, hand.upper_arm), hand.upper_arm_sd_deg),
        (spread(np.einsum("kij,kj->ki", views.arm, arm.upper_arm)), spread(arm.upper_arm_sd_deg)),
    )
    forearm, palm, palm_cov = drawn_out(
        np.einsum("kij,kj->ki", views.forearm, hand.forearm),
        np.radians(hand.forearm_sd_deg),
        views.palm @ hand.palm,
        views.palm @ hand.palm_cov_rad2 @ views.palm.transpose(0, 2, 1),
    )
    return ArmWindow(
        side=hand.side,
        time_s=time_s,
        points_px=points,
        points_cov_px2=POINT_SD**2 * np.concatenate(covariance, axis=1),
        upper_arm=upper_arm,
        upper_arm_sd_rad=np.radians(upper_arm_sd_deg),
        forearm=forearm,
        forearm_sd_rad=np.radians(hand.forearm_sd_deg),
        palm=palm,
        palm_cov_rad2=palm_cov,
        ball_radius_px=np.where(held, hand.ball_radius_px, np.nan),
        ball_radius_sd_px=hand.ball_radius_sd_px,
        # Seen through the elbow or through the hand beside it, an upper arm turns alike.
        arm_turn=np.where(np.isfinite(hand.upper_arm), views.hand_turn, spread(views.arm_turn)),
        hand_turn=views.hand_turn,
        focal_px=views.focal_px,
        focal_log_sd=views.focal_log_sd,
        centre_px=views.centre_px,
    )


def drawn_out(
    forearm: Array, forearm_sd_rad: Array, palm: Array, palm_cov_rad2: Array
) -> tuple[Array, Array, Array]:
    """Forearm and palm as the picture alone tells them, and the palm's covariance, which widens with it.

    What a network answers is a posterior mean: the wrist's deviation of variance v is drawn toward the usual
    one of variance V, to a share 1 - v / V of its distance (Gelman et al. 2013, Bayesian Data Analysis,
    section 2.5). A fit of many frames, all drawn in alike, would keep that. Forearm and palm turn apart, each
    by its part of v. Nothing is done where one of them was not read.

    Args:
        forearm: Shape (k, 3), unit.
        forearm_sd_rad: Shape (k,).
        palm: Shape (k, 3, 3), columns r_h, d_h, p.
        palm_cov_rad2: Shape (k, 3, 3).
    """
    r_h = palm[:, :, 0]
    about = unit(np.cross(r_h, forearm))  # a turn of the palm about this is all deviation
    read = np.all(np.isfinite(about), axis=1)
    about = np.where(read[:, None], about, 0.0)
    deviation = np.arcsin(np.clip(np.sum(r_h * forearm, axis=1), -1, 1))
    of_palm = np.einsum("ki,kij,kj->k", about, palm_cov_rad2, about)
    variance = of_palm + forearm_sd_rad**2
    own = np.maximum(1 - variance / USUAL_DEVIATION_SD_RAD**2, LEAST_OWN)
    more = np.where(read, (deviation - USUAL_DEVIATION_RAD) * (1 / own - 1), 0.0)
    share = np.where(read, of_palm / variance, 0.0)
    wider = np.where(read, of_palm * (1 / own - 1), 0.0)
    return (
        _turned(-about * (more * (1 - share))[:, None], forearm[..., None])[..., 0],
        _turned(about * (more * share)[:, None], palm),
        palm_cov_rad2 + wider[:, None, None] * about[:, :, None] * about[:, None, :],
    )


def _turned(by: Array, what: Array) -> Array:
    """Columns (k, 3, n) turned by rotation vectors (k, 3)."""
    return Rotation.from_rotvec(by).as_matrix() @ what


def read_twice(one: tuple[Array, Array], other: tuple[Array, Array]) -> tuple[Array, Array]:
    """Unit vectors (k, 3) read twice, with SDs (k,): as one, each by how sure it is; NaN where neither is."""
    direction = np.stack([one[0], other[0]])
    worth = np.stack([one[1], other[1]]) ** -2.0
    total = np.nansum(worth, axis=0)
    mean = unit(np.nansum(direction * worth[..., None], axis=0))
    neither = total == 0
    mean[neither] = np.nan
    return mean, np.where(neither, np.nan, np.where(neither, 1.0, total) ** -0.5)
