"""When the ball left the hand, from the fitted arm's path and the ball's first frames of flight.

In:   where a right arm holds the ball over time; where one or several cameras then see the ball flying.
Out:  the time of release with its standard uncertainty.

The hand turns the ball's path by some three degrees a millisecond, so that where the ball is seen over the
next 30 ms tells when it was let go. Before it goes it rolls along the fingers, which adds to its place and
speed: how much is not seen, and is left open.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from release.instant.flight import RADIUS_M

Array = NDArray[np.float64]

REACH_S, STEP_S = 0.02, 0.0005  # tried so far to both sides of what the hand's frames tell
# In hand axes (thumb side, distal, palm side) the bent fingers; assumed. A ball that leaves with 2000 turns a
# minute rolls off them at 8 m/s at most, and over a few centimetres.
FINGERS = np.array([0.0, 0.86, 0.51])
ROLLED_M, ROLLED_SD_M = 0.025, 0.015
ROLLING_M_S, ROLLING_SD_M_S, ALIKE = 5.0, 4.0, 0.6  # and the correlation of the two
_BOTH = ALIKE * ROLLING_SD_M_S * ROLLED_SD_M
ROLLING_COV = np.array([[ROLLING_SD_M_S**2, _BOTH], [_BOTH, ROLLED_SD_M**2]])
ROLLING_S = 0.009
SPEED_SD_M_S, PLACE_SD_M = 1.5, 0.008  # of the fitted path, each axis; chosen on 51 own renders
STRAY_SPEED_SD_M_S, STRAY_PLACE_SD_M, STRAY = 15.0, 0.2, 0.1  # and in one throw of ten, misread (assumed)
FLOWN_SD, HELD_SD = 0.25, 0.5  # ball radii, of a spot that moves alone and of one still beside the hand


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldPath:
    """Where a right arm holds the ball."""

    time_s: Array  # shape (k,), increasing
    ball_m: Array  # shape (k, 3), at its place in the hand, whether it is there or not
    palm: Array  # shape (k, 3, 3): columns to the thumb side, distal, the way the palm faces


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenFlight:
    """Where a camera sees the ball going straight; the first of its places may still be in the hand."""

    time_s: Array  # shape (n,), on the held path's clock
    px: Array  # shape (n, 2)
    focal_px: float
    centre_px: tuple[float, float]
    # A point X of the held path lies at rotation (X - place_m) in the camera's axes.
    rotation: Array = field(default_factory=lambda: np.eye(3))
    place_m: Array = field(default_factory=lambda: np.zeros(3))


def parting(held: HeldPath, seen: Sequence[SeenFlight], told: tuple[float, float]) -> tuple[float, float]:
    """The release time by the flight and what the hand's frames tell, each counted by its certainty.

    Args:
        held: The arm's path.
        seen: One flight as each camera sees it.
        told: Release by the hand's frames and its standard uncertainty, s.

    Returns:
        Mean and standard deviation of the posterior over REACH_S to both sides of what was told, s.
    """
    tried = told[0] + np.arange(-REACH_S, REACH_S + STEP_S / 2, STEP_S)
    likelihood = _of_flights(held, seen, tried) - 0.5 * ((tried - told[0]) / told[1]) ** 2
    share = np.exp(likelihood - likelihood.max())
    share /= share.sum()
    mean = float(share @ tried)
    return mean, float(np.sqrt(share @ (tried - mean) ** 2 + STEP_S**2))


def _of_flights(held: HeldPath, seen: Sequence[SeenFlight], tried: Array) -> Array:
    """Log likelihood of the spots for each release tried, up to a constant.

    A throw may be misread by any camera, or its spots be of something else: what lies so far off tells no
    time. What the release leaves open of the ball's flight is the same for all cameras that see it.
    """
    path = CubicSpline(held.time_s, held.ball_m)
    fingers = CubicSpline(held.time_s, held.palm @ FINGERS)
    inside = [path(np.clip(flight.time_s, path.x[0], path.x[-1])) for flight in seen]
    # Covariances (6, 6) of the ball's speed and place: those of the path, beside those of its rolling.
    right, wrong = (
        np.kron(np.diag([speed**2, place**2]), np.eye(3))
        for speed, place in ((SPEED_SD_M_S, PLACE_SD_M), (STRAY_SPEED_SD_M_S, STRAY_PLACE_SD_M))
    )
    trusts = list(product((False, True), repeat=len(seen)))  # which cameras read the throw right
    told, stray = np.zeros((len(trusts), len(tried))), np.empty((len(seen), len(tried)))
    for n, release_s in enumerate(tried):
        along = fingers(release_s) / np.linalg.norm(fingers(release_s))
        rolling = np.kron(ROLLING_COV, np.outer(along, along))
        carried = path(release_s), path(release_s, 1)
        parts = [
            _off(flight, float(release_s), held_m, *carried, along)
            for flight, held_m in zip(seen, inside, strict=True)
        ]
        for k, part in enumerate(parts):
            stray[k, n] = _log_density([part], rolling + wrong)
        for m, trust in enumerate(trusts):
            trusted = [part for part, is_right in zip(parts, trust, strict=True) if is_right]
            if trusted:
                told[m, n] = _log_density(trusted, rolling + right)
    best = stray.max(axis=1)
    for m, trust in enumerate(trusts):
        told[m] += sum(np.log(1 - STRAY) if t else np.log(STRAY) + best[k] for k, t in enumerate(trust))
    return np.logaddexp.reduce(told, axis=0)


def _off(
    seen: SeenFlight, release_s: float, held_m: Array, start_m: Array, velocity_m_s: Array, along: Array
) -> tuple[Array, Array, Array]:
    """How far off a release's path the ball is seen, (2 n,); the spots' noise; slopes on what is open."""
    since = seen.time_s - release_s
    gone = np.maximum(since, 0.0)[:, None]
    rolled = np.clip(1 + since / ROLLING_S, 0.0, 1.0)[:, None] ** 2  # share of its way along the fingers
    carried = np.where(since[:, None] < 0, held_m, start_m + velocity_m_s * gone)
    place_m = carried + along * (ROLLED_M * rolled + ROLLING_M_S * gone)
    place_m = (place_m - seen.place_m) @ seen.rotation.T
    depth = place_m[:, 2]
    px = place_m[:, :2] / depth[:, None] * seen.focal_px + np.array(seen.centre_px)
    slope = np.zeros((len(depth), 2, 3))
    slope[:, 0, 0] = slope[:, 1, 1] = seen.focal_px / depth
    slope[:, :, 2] = -seen.focal_px * place_m[:, :2] / depth[:, None] ** 2
    slope = slope @ seen.rotation
    open_to = np.concatenate([slope * gone[:, None], slope * rolled[:, None]], axis=2).reshape(-1, 6)
    radius_px = seen.focal_px * RADIUS_M / depth
    noise = np.repeat((np.where(gone[:, 0] > 0, FLOWN_SD, HELD_SD) * radius_px) ** 2, 2)
    return (seen.px - px).ravel(), noise, open_to


def _log_density(parts: Sequence[tuple[Array, Array, Array]], left_open: Array) -> float:
    """Of all that the cameras see, given what the release leaves open."""
    off, noise, open_to = (np.concatenate(each) for each in zip(*parts, strict=True))
    covariance = np.diag(noise) + open_to @ left_open @ open_to.T
    _, log_size = np.linalg.slogdet(covariance)
    return float(-0.5 * off @ np.linalg.solve(covariance, off) - 0.5 * log_size)
