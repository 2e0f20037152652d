"""Flight of a spinning ball with gravity, drag and lift, integrated numerically.

In:   position, velocity and spin at release, SI units, field frame of definitions (x toward the plate,
      y toward first base, z up; origin at the front of the rubber).
Out:  the path to the plate's front and the break that the spin induced.
Why:  an independent check of the constant-acceleration formulas, and the physics of rendered throws.

Forces: a = -g z - K C_D |v| v + K C_L |v|^2 unit(w x v), K = rho A / 2m. Coefficients: A. M. Nathan,
"Analysis of Baseball Trajectories" (2017), equations 10 and 11:
C_D = 0.297 + 0.0292 w / 1000 rpm;  C_L = 1.120 S / (0.583 + 2.333 S), S = r w_perp / |v|.
Spin is taken as constant: it decays 1 to 2 % on the way to the plate.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from release.flight.result import Flown

GRAVITY_M_S2 = 9.80665
BALL_MASS_KG = 0.145291306  # 5.125 oz, the middle of the rule
BALL_RADIUS_M = 0.036888137  # 9.125 in round, the middle of the rule
SEA_LEVEL_AIR_KG_M3 = 1.225  # standard atmosphere, 15 C
PLATE_FRONT_M = (60.5 - 17 / 12) * 0.3048  # from the front of the rubber; the back point is at 60 ft 6 in
LONGEST_FLIGHT_S = 5.0

Vector = NDArray[np.float64] | Sequence[float]


def drag_coefficient(spin_rpm: float) -> float:
    """C_D of Nathan (2017), equation 11."""
    return 0.297 + 0.0292 * spin_rpm / 1000


def lift_coefficient(spin_parameter: float) -> float:
    """C_L of Nathan (2017), equation 10; `spin_parameter` S counts only spin across the travel."""
    return 1.120 * spin_parameter / (0.583 + 2.333 * spin_parameter)


def spin_axis_from_tilt(
    velocity_m_s: Vector, tilt_deg: float, efficiency: float, *, bullet_sense: int = 1
) -> NDArray[np.float64]:
    """Unit spin axis that pushes the ball toward `tilt_deg` with this share of spin across the travel.

    Args:
        velocity_m_s: Shape (3,).
        tilt_deg: Direction of the push, 0 up, clockwise seen from behind the pitcher.
        efficiency: 0 to 1.
        bullet_sense: +1 where the rest of the spin is clockwise seen from behind, -1 for the other sense
            (a left-hander's mirrored throw).

    Returns:
        Shape (3,), right-hand rule.
    """
    along = np.asarray(velocity_m_s, float)
    along = along / np.linalg.norm(along)
    tilt_rad = np.radians(tilt_deg)
    push = np.array([0.0, -np.sin(tilt_rad), np.cos(tilt_rad)])
    # The unit direction across the travel whose picture from behind is the wanted one.
    push[0] = -(push @ along) / along[0]
    across = np.cross(along, push / np.linalg.norm(push))
    return efficiency * across + bullet_sense * np.sqrt(1 - efficiency**2) * along


def fly(
    position_m: Vector,
    velocity_m_s: Vector,
    spin_axis: Vector,
    spin_rpm: float,
    *,
    air_density_kg_m3: float = SEA_LEVEL_AIR_KG_M3,
    ball_mass_kg: float = BALL_MASS_KG,
    ball_radius_m: float = BALL_RADIUS_M,
    plate_front_m: float = PLATE_FRONT_M,
    step_s: float = 0.001,
) -> Flown:
    """Fly a ball from release to the plate's front.

    Args:
        position_m: Shape (3,), ball centre at release.
        velocity_m_s: Shape (3,); x must be positive.
        spin_axis: Shape (3,), any length but zero, right-hand rule: backspin is (0, -1, 0).
        spin_rpm: Total spin.
        air_density_kg_m3: 0 flies in a vacuum.
        ball_mass_kg: Mass.
        ball_radius_m: Radius.
        plate_front_m: x of the plate's front.
        step_s: Spacing of the times answered.

    Returns:
        The path, and the break against the same throw flown without lift, where each meets the plate's front.

    Raises:
        ValueError: The ball does not reach the plate's front within 5 s.
    """
    start = np.concatenate([np.asarray(position_m, float), np.asarray(velocity_m_s, float)])
    axis = np.asarray(spin_axis, float)
    spin_rad_s = axis / np.linalg.norm(axis) * spin_rpm * 2 * np.pi / 60
    k = air_density_kg_m3 * np.pi * ball_radius_m**2 / (2 * ball_mass_kg)
    drag = k * drag_coefficient(spin_rpm)

    def lift(velocity: NDArray[np.float64]) -> NDArray[np.float64]:
        turned = np.cross(spin_rad_s, velocity)
        size, speed = np.linalg.norm(turned), np.linalg.norm(velocity)
        if size == 0:
            return np.zeros(3)
        across_rad_s = size / speed
        return k * lift_coefficient(float(ball_radius_m * across_rad_s / speed)) * speed**2 * turned / size

    def slope(state: NDArray[np.float64], lifted: bool) -> NDArray[np.float64]:
        velocity = state[3:]
        pull = -drag * np.linalg.norm(velocity) * velocity - [0, 0, GRAVITY_M_S2]
        return np.concatenate([velocity, pull + lift(velocity) if lifted else pull])

    flight, plain = (_to_plate(slope, start, lifted, plate_front_m) for lifted in (True, False))
    times = np.append(np.arange(0, flight.t[-1], step_s), flight.t[-1])
    states = np.asarray(flight.sol(times)).T
    push = lift(start[3:])
    across = np.linalg.norm(np.cross(axis, start[3:])) / np.linalg.norm(axis) / np.linalg.norm(start[3:])
    return Flown(
        time_s=times,
        position_m=states[:, :3],
        velocity_m_s=states[:, 3:],
        induced_vertical_break_m=float(flight.y[2, -1] - plain.y[2, -1]),
        induced_side_break_m=float(flight.y[1, -1] - plain.y[1, -1]),
        spin_efficiency=float(across),
        spin_tilt_deg=float(np.degrees(np.arctan2(-push[1], push[2])) % 360) if push.any() else np.nan,
    )


def _to_plate(
    slope: Callable[[NDArray[np.float64], bool], NDArray[np.float64]],
    start: NDArray[np.float64],
    lifted: bool,
    plate_front_m: float,
) -> Any:
    """The solver's answer, ending where the ball meets the plate's front."""

    def ahead_m(_time: float, state: NDArray[np.float64]) -> float:
        return state[0] - plate_front_m

    ahead_m.terminal, ahead_m.direction = True, 1.0  # type: ignore[attr-defined]
    flight: Any = solve_ivp(
        lambda _time, state: slope(state, lifted),
        (0, LONGEST_FLIGHT_S),
        start,
        method="DOP853",
        events=ahead_m,
        rtol=1e-10,
        atol=1e-12,
        dense_output=True,
    )
    if not flight.t_events[0].size:
        raise ValueError(f"the ball never reaches the plate's front {plate_front_m:.2f} m away")
    return flight
