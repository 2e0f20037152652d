"""What the orientation stage hands on."""

from collections.abc import Mapping
from dataclasses import dataclass

JOINT_ANGLES = ("wrist_flexion", "wrist_deviation", "forearm_rotation", "elbow_flexion")
FIELD_ANGLES = ("palm_turn", "arm_angle", "palm_azimuth", "palm_elevation", "forearm_elevation")
FIELD_LENGTHS = ("release_height", "release_side", "extension")
ANGLES = JOINT_ANGLES + FIELD_ANGLES


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One figure at release with its standard uncertainty and 95 % interval, or why there is none.

    Degrees for ANGLES, metres for FIELD_LENGTHS.
    """

    value: float | None
    sd: float | None
    low: float | None
    high: float | None
    refused: str | None  # the reason, None when measured

    def __post_init__(self) -> None:
        if (self.value is None) != (self.refused is not None):
            raise ValueError(f"an estimate has a value or a reason, not both or neither: {self}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Orientation:
    """Forearm and wrist at release."""

    figures: Mapping[str, Estimate]  # a key for each of ANGLES and FIELD_LENGTHS
    limits: tuple[str, ...]  # what limits this throw, in words, worst first
    flagged: tuple[str, ...]  # reasons to look at the frame before believing it
