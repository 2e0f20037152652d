"""Will this way of filming do? Expected uncertainties, and the one change that would help most.

In:   one fitted throw as filmed.
Out:  numbers and a sentence; what a change would bring comes from the bound of the same arm, filmed
      otherwise with the errors measured here.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from release.orientation.bound import bound_sd_deg
from release.orientation.chain import CHAIN_POINTS
from release.orientation.measure import Heading
from release.orientation.quality import SMALL_HAND_PX
from release.orientation.result import JOINT_ANGLES

Array = NDArray[np.float64]

WORTH_IT = 0.9  # a change that leaves more than this share of the uncertainty is not worth a word
NOWHERE = Heading(to_field=np.eye(3), covariance_rad2=np.zeros((3, 3)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Filmed:
    """One throw as filmed, in camera axes, of a right arm (left ones in the mirror)."""

    points_m: Array  # shape (k, 8, 3), CHAIN_POINTS
    time_s: Array  # shape (k,)
    release_s: float
    focal_px: float
    centre_px: tuple[float, float]
    point_sd_px: float  # standard error of the hand's points
    mirrored: bool  # a left arm: left and right of the advice change places


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One other way to film."""

    what: str
    share: float  # of today's uncertainty that would be left, mean over the joint angles


def hand_px(filmed: Filmed) -> float:
    """Wrist to middle knuckle at release if seen square on, px."""
    at = int(np.argmin(np.abs(filmed.time_s - filmed.release_s)))
    wrist, knuckle = filmed.points_m[at, 2], filmed.points_m[at, 4]
    return float(np.linalg.norm(knuckle - wrist) * filmed.focal_px / wrist[2])


def blur_px(filmed: Filmed, exposure_s: float) -> float:
    """Length of the wrist's path in the picture at release in an exposure of so long."""
    wrist = filmed.points_m[:, 2]
    px = wrist[:, :2] / wrist[:, 2:] * filmed.focal_px
    speed = np.linalg.norm(np.gradient(px, filmed.time_s, axis=0), axis=1)
    return float(np.interp(filmed.release_s, filmed.time_s, speed) * exposure_s)


def changes(filmed: Filmed) -> list[Change]:
    """Other ways to film the same throw, the most helpful first; none that hardly helps."""
    now = _bound(filmed)
    tried = [Change(what=what, share=float(np.mean(_bound(f) / now))) for what, f in _otherwise(filmed)]
    return sorted((c for c in tried if c.share < WORTH_IT), key=lambda c: c.share)


def _bound(filmed: Filmed) -> Array:
    bound = bound_sd_deg(
        {name: filmed.points_m[:, row] for row, name in enumerate(CHAIN_POINTS)},
        filmed.time_s,
        side="R",
        focal_px=filmed.focal_px,
        centre_px=filmed.centre_px,
        release_s=filmed.release_s,
        heading=NOWHERE,
        sd_px=filmed.point_sd_px,
    )
    return np.array([bound[name] for name in JOINT_ANGLES])


def _otherwise(filmed: Filmed) -> Iterator[tuple[str, Filmed]]:
    """Closer, faster, or from elsewhere."""
    closer = 1.5
    # Small hands are read to a share of a pixel, large ones to a share of the hand.
    rougher = closer if hand_px(filmed) > SMALL_HAND_PX else 1.0
    yield (
        "come closer or zoom in, so that the hand is half as large again",
        replace(filmed, focal_px=filmed.focal_px * closer, point_sd_px=filmed.point_sd_px * rougher),
    )
    time_s = np.linspace(filmed.time_s[0], filmed.time_s[-1], 2 * len(filmed.time_s) - 1)
    flat = filmed.points_m.reshape(len(filmed.time_s), -1)
    between = np.stack([np.interp(time_s, filmed.time_s, column) for column in flat.T], axis=-1)
    yield (
        "film at twice the frame rate",
        replace(filmed, time_s=time_s, points_m=between.reshape(len(time_s), *filmed.points_m.shape[1:])),
    )
    for degrees in (-60, -30, 30, 60):
        way = "right" if (degrees > 0) != filmed.mirrored else "left"
        what = f"walk the camera about {abs(degrees)} degrees round the pitcher to your {way}"
        yield what, replace(filmed, points_m=_walked(filmed.points_m, np.radians(degrees)))


def _walked(points_m: Array, angle: float) -> Array:
    """The same arm from a camera that walked round it to its own right, keeping its distance."""
    middle = points_m.reshape(-1, 3).mean(axis=0)
    c, s = np.cos(angle), np.sin(angle)
    return (points_m - middle) @ np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]).T + middle
