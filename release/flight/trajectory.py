"""What a constant-acceleration trajectory (nine numbers) says of the ball.

In:   position, velocity and acceleration at one instant, feet and seconds, field frame of definitions
      (x toward the plate, y toward first base, z up), shape (..., 9): x0 y0 z0 vx0 vy0 vz0 ax ay az.
Out:  release point, speeds, approach angles, spin-induced break and the spin it implies; NaN in, NaN out.
Source: A. M. Nathan, "Determining Pitch Movement from PITCHf/x Data" (2012) for the break; technical note
      on the three-dimensional spin axis (2015, updated 2020), equation 8, for lift against spin:
      C_L = 0.336 [1 - exp(-6.041 S)].
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

GRAVITY_FT_S2 = 32.174
PLATE_BACK_FT = 60.5  # from the front of the rubber
PLATE_DEPTH_FT = 17 / 12
DRAG_CONSTANT_1_FT = 5.383e-3  # rho A / 2m, at about 1.20 kg/m3
BALL_RADIUS_FT = 0.1210
TOP_LIFT, LIFT_RATE = 0.336, 6.041
MPH_PER_FT_S = 3600 / 5280
ASSUMED_EXTENSION_FT = 6.0  # common practice, no source; used where a file does not say

F = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class FromTrajectory:
    """Figures of n trajectories; every array has shape (n,) but where said."""

    release_ft: F  # shape (n, 3)
    release_speed_mph: F
    plate_ft: F  # shape (n, 3), where the plate's front is crossed
    plate_speed_mph: F
    flight_s: F  # release to the plate's front
    vertical_approach_deg: F  # at the plate's front; negative: coming down
    side_approach_deg: F  # at the plate's front; positive: travelling toward first base
    induced_vertical_break_in: F  # over the whole flight, drag removed; up positive
    side_break_in: F  # the same sideways; toward first base positive
    drag_coefficient: F
    lift_coefficient: F
    transverse_spin_rpm: F  # the spin across the travel that makes this lift; NaN where none could
    spin_tilt_deg: F  # direction of the lift, 0 up, clockwise from behind the pitcher
    spin_efficiency: F  # NaN without a measured spin, or where the lift asks for more spin than was measured


def from_trajectory(
    nine: ArrayLike,
    *,
    extension_ft: ArrayLike = ASSUMED_EXTENSION_FT,
    spin_rpm: ArrayLike = np.nan,
    plate_back_ft: float = PLATE_BACK_FT,
    drag_constant_1_ft: float = DRAG_CONSTANT_1_FT,
) -> FromTrajectory:
    """Break, release point, approach and implied spin of constant-acceleration trajectories.

    Args:
        nine: Shape (n, 9).
        extension_ft: Distance of the release in front of the rubber, one number or shape (n,).
        spin_rpm: Total measured spin, one number or shape (n,).
        plate_back_ft: Rubber front to the plate's back point.
        drag_constant_1_ft: rho A / 2m of the day's air and the ball.
    """
    start = np.atleast_2d(np.asarray(nine, float))
    spin = np.broadcast_to(np.asarray(spin_rpm, float), start.shape[:1])
    reach = np.broadcast_to(np.asarray(extension_ft, float), start.shape[:1])
    place, velocity, pull = start[:, :3], start[:, 3:6], start[:, 6:]
    with np.errstate(invalid="ignore", divide="ignore"):
        at_release = _time_to(reach - place[:, 0], velocity[:, 0], pull[:, 0])
        at_plate = _time_to(plate_back_ft - PLATE_DEPTH_FT - place[:, 0], velocity[:, 0], pull[:, 0])
        v_release, v_plate = velocity + pull * at_release[:, None], velocity + pull * at_plate[:, None]
        flight = at_plate - at_release
        drag, lift, mean_speed = _forces(pull, (v_release + v_plate) / 2)
        squared = drag_constant_1_ft * mean_speed**2
        lift_size = np.linalg.norm(lift, axis=1)
        across = _spin_for_lift(lift_size / squared, mean_speed)
        share = across / spin
        return FromTrajectory(
            release_ft=_along(place, velocity, pull, at_release),
            release_speed_mph=np.linalg.norm(v_release, axis=1) * MPH_PER_FT_S,
            plate_ft=_along(place, velocity, pull, at_plate),
            plate_speed_mph=np.linalg.norm(v_plate, axis=1) * MPH_PER_FT_S,
            flight_s=flight,
            vertical_approach_deg=np.degrees(np.arctan2(v_plate[:, 2], v_plate[:, 0])),
            side_approach_deg=np.degrees(np.arctan2(v_plate[:, 1], v_plate[:, 0])),
            induced_vertical_break_in=6 * lift[:, 2] * flight**2,
            side_break_in=6 * lift[:, 1] * flight**2,
            drag_coefficient=drag / squared,
            lift_coefficient=lift_size / squared,
            transverse_spin_rpm=across,
            spin_tilt_deg=np.degrees(np.arctan2(-lift[:, 1], lift[:, 2])) % 360,
            spin_efficiency=np.where(share <= 1, share, np.nan),
        )


def break_over_last_40_ft_in(nine: ArrayLike, *, plate_back_ft: float = PLATE_BACK_FT) -> F:
    """Break over the last 40 ft to the plate's back point, drag not removed: the older definition.

    Returns:
        Shape (n, 2), inches: toward first base, up. Not to be pooled with the break over the whole flight.
    """
    start = np.atleast_2d(np.asarray(nine, float))
    x, v, a = start[:, 0], start[:, 3], start[:, 6]
    with np.errstate(invalid="ignore", divide="ignore"):
        window = _time_to(plate_back_ft - PLATE_DEPTH_FT - x, v, a) - _time_to(plate_back_ft - 40 - x, v, a)
    return 6 * np.stack([start[:, 7], start[:, 8] + GRAVITY_FT_S2], axis=1) * window[:, None] ** 2


def _time_to(distance: F, speed: F, pull: F) -> F:
    """When the distance is covered: the form of the quadratic's root that also stands for pull = 0."""
    return 2 * distance / (speed + np.sqrt(speed**2 + 2 * pull * distance))


def _along(place: F, velocity: F, pull: F, time: F) -> F:
    return place + velocity * time[:, None] + pull * time[:, None] ** 2 / 2


def _forces(pull: F, mean_velocity: F) -> tuple[F, F, F]:
    """Drag and lift accelerations, ft/s2, and the mean speed, ft/s."""
    mean_speed = np.linalg.norm(mean_velocity, axis=1)
    along = mean_velocity / mean_speed[:, None]
    air = pull + np.array([0, 0, GRAVITY_FT_S2])
    drag = -np.sum(air * along, axis=1)
    return drag, air + drag[:, None] * along, mean_speed


def _spin_for_lift(lift_coefficient: F, speed_ft_s: F) -> F:
    reachable = np.where(lift_coefficient < TOP_LIFT, lift_coefficient, np.nan)
    spin_parameter = np.log(TOP_LIFT / (TOP_LIFT - reachable)) / LIFT_RATE
    return spin_parameter * speed_ft_s / BALL_RADIUS_FT * 60 / (2 * np.pi)
