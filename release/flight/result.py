"""What the flight stage hands on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Columns of a measured ball in our own units and signs; NINE is its trajectory, where it is known.
NINE = ("x0_ft", "y0_ft", "z0_ft", "vx0_ft_s", "vy0_ft_s", "vz0_ft_s", "ax_ft_s2", "ay_ft_s2", "az_ft_s2")
FIGURES = (
    "speed_mph",
    "induced_vertical_break_in",
    "horizontal_break_in",
    "spin_rpm",
    "spin_tilt_deg",
    "spin_efficiency",
    "release_height_ft",
    "release_side_ft",
    "extension_ft",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flown:
    """One numerically integrated flight, from release to the plate's front. Field frame, metres."""

    time_s: NDArray[np.float64]  # shape (n,), from 0 at release; the last is the arrival at the plate's front
    position_m: NDArray[np.float64]  # shape (n, 3)
    velocity_m_s: NDArray[np.float64]  # shape (n, 3)
    induced_vertical_break_m: float  # + up
    induced_side_break_m: float  # + toward first base; the glove side of a right-hander
    spin_efficiency: float  # at release, 0 to 1
    spin_tilt_deg: float  # at release: 0 up, clockwise seen from behind the pitcher; NaN without lift


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """Where a session was thrown. The defaults are the rule book's."""

    plate_back_ft: float = 60.5  # front of the rubber to the plate's back point: 60.5, 54, 50 or 46
    mound_height_in: float = 10.0  # of the rubber above the plate; 0 on flat ground
    ball: str = "baseball"
    ball_weight_oz: float = 5.125
