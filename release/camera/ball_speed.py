"""The ball's speed in its first frames of flight, and what it says of the clip's clock.

In:   where the ball is seen in flight and how large it is, frame by frame; the camera.
Out:  its speed on the clip's clock; against the flight unit's speed, how many times the clip is slowed.

A straight line in space is fitted: gravity bends the path by 12 mm in 50 ms, which seen from behind costs a
few hundredths of the speed; that is far below what tells one stored rate from the next. It leads roughly to
the plate: that tells what the picture does not, how fast the ball runs along the line of sight.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from release.camera.field import FOOT_M
from release.camera.result import FieldCamera

Array = NDArray[np.float64]

BALL_RADIUS_M = 0.0366
MPH_M_S = 5280 * FOOT_M / 3600
FEWEST_FRAMES = 3
RADIUS_SD = 0.1  # of a radius, at least: blur and fingers hide the ball's rim (assumed)
AIM_SD_DEG = 4.0  # a strike leaves within this of the line to the plate, each way; common practice, no source
SPEED_SD = 0.1  # of the ratio's logarithm, at least: 50 ft or release, drag, a trailing unit (assumed)
AGREES = 2.5  # standard uncertainties within which speeds agree
RATES = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0)  # phones store 30 or 60 of 120 to 960 frames a second


@dataclass(frozen=True, slots=True, kw_only=True)
class BallSpeed:
    """Speed of the ball on the clip's clock: metres for each second that it plays."""

    m_s: float
    sd_m_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockCheck:
    """What the flight unit's speed says of a clip's clock."""

    verdict: Literal["agrees", "contradicts", "fills", "cannot tell"]
    slowdown: float | None  # presentation seconds per true second, where the speeds tell
    why: str


def ball_speed(
    camera: FieldCamera, time_s: Array, centre_px: Array, radius_px: Array, *, sd_px: float = 1.0
) -> BallSpeed | None:
    """Fit a straight flight to the ball's pictures; None with fewer than three.

    Args:
        camera: In the field, with its uncertainty.
        time_s: Shape (k,), on the clip's own clock.
        centre_px: Shape (k, 2); NaN where the ball is not seen, or not yet in flight.
        radius_px: Shape (k,); NaN where it is not told.
        sd_px: Standard uncertainty of a centre per axis, and of a radius at least.
    """
    seen, sized = np.isfinite(centre_px).all(axis=1), np.isfinite(radius_px) & (radius_px > 0)
    if seen.sum() < FEWEST_FRAMES or not sized.any():
        return None
    since = time_s - time_s[seen].mean()
    at, px, radius = since[seen], centre_px[seen], radius_px[sized]
    radius_sd = np.maximum(sd_px, RADIUS_SD * radius)
    aim = camera.rotation[:, 0]
    centre = np.array(camera.centre_px)
    far = camera.focal_px * BALL_RADIUS_M / np.median(radius)
    middle = np.append((px.mean(axis=0) - centre) / camera.focal_px, 1.0) * far
    across = np.polyfit(at, px, 1)[0] / camera.focal_px * far
    scale = max(float(np.linalg.norm(across)), 1e-3)  # of a velocity, to condition the fit

    def missed(state: Array) -> Array:
        place = state[:3] + since[:, None] * state[3:] * scale
        z = np.maximum(place[:, 2:], 0.05)
        off = (place[:, :2] / z * camera.focal_px + centre)[seen] - px
        large = (camera.focal_px * BALL_RADIUS_M / z[sized, 0] - radius) / radius_sd
        way = state[3:] / max(float(np.linalg.norm(state[3:])), 1e-9)
        astray = (way - aim) / np.radians(AIM_SD_DEG)
        return np.concatenate([off.ravel() / sd_px, large, astray])

    start = np.concatenate([middle, aim / max(float(np.linalg.norm(aim[:2])), 0.1)])
    found = least_squares(missed, start, jac="3-point")
    slopes = np.asarray(found.jac)
    velocity = found.x[3:] * scale
    covariance = np.linalg.inv(slopes.T @ slopes)[3:, 3:] * scale**2
    speed = float(np.linalg.norm(velocity))
    way = velocity / speed if speed > 0 else np.array([1.0, 0, 0])
    # A longer lens puts the ball, and what it runs toward or away, farther off; a turn changes no speed.
    longer = way[2] ** 2 * speed * np.sqrt(camera.covariance[6, 6])
    return BallSpeed(m_s=speed, sd_m_s=float(np.hypot(np.sqrt(way @ covariance @ way), longer)))


def check_clock(seen: BallSpeed, speed_mph: float, slowdown: float | None) -> ClockCheck:
    """Hold the speed seen against the flight unit's.

    Args:
        seen: On the clip's presentation times.
        speed_mph: At release, by the flight unit.
        slowdown: As the clip is taken to be slowed; None where unknown, which a clear answer fills.
    """
    true_m_s = speed_mph * MPH_M_S
    ratio, sd = true_m_s / seen.m_s, float(np.hypot(seen.sd_m_s / seen.m_s, SPEED_SD))
    own_mph = seen.m_s / MPH_M_S
    said = f"the ball leaves at {own_mph:.0f} mph on the clip's clock, the flight unit says {speed_mph:.0f}"
    fitting = [rate for rate in RATES if abs(np.log(ratio / rate)) < AGREES * sd]
    if slowdown is not None:
        if abs(np.log(ratio / slowdown)) < AGREES * sd:
            return ClockCheck(
                verdict="agrees", slowdown=slowdown, why=f"{said}: slowed {slowdown:g} times fits"
            )
        why = f"{said}: slowed {slowdown:g} times cannot be, {ratio:.1f} times would fit"
        return ClockCheck(verdict="contradicts", slowdown=fitting[0] if len(fitting) == 1 else None, why=why)
    if len(fitting) == 1:
        return ClockCheck(verdict="fills", slowdown=fitting[0], why=f"{said}: slowed {fitting[0]:g} times")
    return ClockCheck(
        verdict="cannot tell", slowdown=None, why=f"{said}: {ratio:.1f} times, which is no one rate"
    )
