"""When the ball left the hand, from the fitted arm's path and the ball's first frames of flight.

In:   where a right arm holds the ball over time; where one or several cameras see the ball round its release.
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
# Ball radii, of where the ball is seen: one for all, since with less in flight early releases look likelier.
SEEN_SD = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldPath:
    """Where a right arm holds the ball."""

    time_s: Array  # shape (k,), increasing
    ball_m: Array  # shape (k, 3), at its place in the hand, whether it is there or not
    palm: Array  # shape (k, 3, 3): columns to the thumb side, distal, the way the palm faces


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenFlight:
    """Where a camera sees the ball before and after it left the hand."""

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
    along = CubicSpline(held.time_s, held.palm @ FINGERS)(tried)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    # Covariances (n, 6, 6) of the ball's speed and place: those of its rolling, beside those of the path.
    rolling = np.einsum("ab,ni,nj->naibj", ROLLING_COV, along, along).reshape(-1, 6, 6)
    right, wrong = (
        rolling + np.kron(np.diag([speed**2, place**2]), np.eye(3))
        for speed, place in ((SPEED_SD_M_S, PLACE_SD_M), (STRAY_SPEED_SD_M_S, STRAY_PLACE_SD_M))
    )
    parts = []
    for flight in seen:
        held_m = path(np.clip(flight.time_s, path.x[0], path.x[-1]))
        parts.append(_off(flight, tried, held_m, path(tried), path(tried, 1), along))
    stray = [_log_density([part], wrong).max() for part in parts]
    told = []
    for trust in product((False, True), repeat=len(seen)):  # which cameras read the throw right
        trusted = [part for part, is_right in zip(parts, trust, strict=True) if is_right]
        density = _log_density(trusted, right) if trusted else np.zeros(len(tried))
        chances = [np.log(1 - STRAY) if t else np.log(STRAY) + stray[k] for k, t in enumerate(trust)]
        told.append(density + sum(chances))
    return np.logaddexp.reduce(told, axis=0)


def _off(
    seen: SeenFlight, release_s: Array, held_m: Array, start_m: Array, velocity_m_s: Array, along: Array
) -> tuple[Array, Array, Array]:
    """Of n releases tried, how far off their paths the ball is seen in m frames.

    Args:
        release_s, start_m, velocity_m_s, along: Shape (n,), and (n, 3) each, at the releases.
        held_m: Shape (m, 3), where the hand is in the frames.

    Returns:
        What is off, (n, 2 m); the spots' noise, alike; slopes on what is open, (n, 2 m, 6).
    """
    since = (seen.time_s - release_s[:, None])[..., None]
    gone = np.maximum(since, 0.0)
    rolled = np.clip(1 + since / ROLLING_S, 0.0, 1.0) ** 2  # share of its way along the fingers
    carried = np.where(since < 0, held_m, start_m[:, None] + velocity_m_s[:, None] * gone)
    place_m = carried + along[:, None] * (ROLLED_M * rolled + ROLLING_M_S * gone)
    place_m = (place_m - seen.place_m) @ seen.rotation.T
    depth = place_m[..., 2:]
    px = place_m[..., :2] / depth * seen.focal_px + np.array(seen.centre_px)
    slope = np.zeros((*since.shape[:2], 2, 3))
    slope[..., 0, 0] = slope[..., 1, 1] = seen.focal_px / depth[..., 0]
    slope[..., 2] = -seen.focal_px * place_m[..., :2] / depth**2
    slope = slope @ seen.rotation
    open_to = np.concatenate([slope * gone[..., None], slope * rolled[..., None]], axis=3)
    noise = (SEEN_SD * seen.focal_px * RADIUS_M / depth) ** 2
    n = len(since)
    return (seen.px - px).reshape(n, -1), np.repeat(noise[..., 0], 2, axis=1), open_to.reshape(n, -1, 6)


def _log_density(parts: Sequence[tuple[Array, Array, Array]], left_open: Array) -> Array:
    """Of all that the cameras see, given what each release leaves open; shape (n,)."""
    off, noise, open_to = (np.concatenate(each, axis=1) for each in zip(*parts, strict=True))
    covariance = noise[..., None] * np.eye(noise.shape[1]) + open_to @ left_open @ open_to.swapaxes(1, 2)
    _, log_size = np.linalg.slogdet(covariance)
    explained = np.linalg.solve(covariance, off[..., None])[..., 0]
    return -0.5 * np.sum(off * explained, axis=1) - 0.5 * log_size
