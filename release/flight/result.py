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


DISTANCES_FT = (60.5, 54.0, 50.0, 46.0)
MOST_MOUND_IN = 15.0  # the highest the rules of the game ever allowed; from memory
RULE_BOOK_OZ = 5.125  # the middle of 5 to 5 1/4 oz


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

    plate_back_ft: float = 60.5  # front of the rubber to the plate's back point: one of DISTANCES_FT
    mound_height_in: float = 10.0  # of the rubber above the plate; 0 on flat ground
    ball: str = "baseball"
    ball_weight_oz: float = RULE_BOOK_OZ

    def __post_init__(self) -> None:
        if self.plate_back_ft not in DISTANCES_FT:
            raise ValueError(f"the distance is one of {DISTANCES_FT} ft, not {self.plate_back_ft:g}")
        if not 0 <= self.mound_height_in <= MOST_MOUND_IN:
            raise ValueError(f"a mound is 0 to {MOST_MOUND_IN:g} in high, not {self.mound_height_in:g}")
        if not self.ball_weight_oz > 0:
            raise ValueError(f"a ball weighs more than nothing, not {self.ball_weight_oz:g} oz")

    def __str__(self) -> str:
        ground = f"mound of {self.mound_height_in:g} in" if self.mound_height_in else "flat ground"
        return f"{self.plate_back_ft:g} ft, {ground}, {self.ball} of {self.ball_weight_oz:g} oz"
