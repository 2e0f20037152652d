"""Where the marks lie whose places the rules of the game fix.

Official Baseball Rules: 2.01 and its diagrams (the mound: an 18 ft circle centred 18 in before the rubber's
front edge, the rubber 10 in above the plate), 2.02 (the plate: 17 in wide), 2.04 (the rubber: 24 by 6 in,
60 ft 6 in from its front edge to the plate's back point). Youth and flat fields differ: `Field` says how.

A point of the plate with a right angle between its two 12 in edges would make it 16.97 in wide, not 17: the
17 in front and the 8.5 in sides are kept, as on any real plate.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

INCH_M, FOOT_M = 0.0254, 0.3048
RUBBER_WIDE_M, RUBBER_DEEP_M = 24 * INCH_M, 6 * INCH_M
PLATE_WIDE_M = 17 * INCH_M
HORIZON_M = 1000.0  # far enough to be seen as the horizon
MOUND_RADIUS_M, MOUND_CENTRE_M = 9 * FOOT_M, 18 * INCH_M


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """Measures that differ between fields."""

    plate_back_ft: float = 60.5  # rubber's front edge to the plate's back point: 60.5, 54, 50 or 46
    mound_height_in: float = 10.0  # of the rubber above the plate; 0 on flat ground
    stick_m: float | None = None  # length of a stick stood upright
    stick_at_m: tuple[float, float] = (0.0, 0.0)  # x and y of its foot, on the rubber's level


def places_m(field: Field) -> Mapping[str, Array]:
    """Every named mark, shape (3,); left is the pitcher's left when facing home.

    The stick's two ends are there only where its length is given.
    """
    ground = -field.mound_height_in * INCH_M
    y = RUBBER_WIDE_M / 2
    back, half = field.plate_back_ft * FOOT_M, PLATE_WIDE_M / 2
    front = back - PLATE_WIDE_M
    places = {
        "rubber front left": (0, y, 0),
        "rubber front right": (0, -y, 0),
        "rubber front middle": (0, 0, 0),
        "rubber back left": (-RUBBER_DEEP_M, y, 0),
        "rubber back right": (-RUBBER_DEEP_M, -y, 0),
        "plate point": (back, 0, ground),
        "plate side left": (back - half, half, ground),
        "plate side right": (back - half, -half, ground),
        "plate front left": (front, half, ground),
        "plate front right": (front, -half, ground),
    }
    if field.mound_height_in > 0:
        places |= {
            "mound foot front": (MOUND_CENTRE_M + MOUND_RADIUS_M, 0, ground),
            "mound foot back": (MOUND_CENTRE_M - MOUND_RADIUS_M, 0, ground),
            "mound foot left": (MOUND_CENTRE_M, MOUND_RADIUS_M, ground),
            "mound foot right": (MOUND_CENTRE_M, -MOUND_RADIUS_M, ground),
        }
    if field.stick_m is not None:
        places |= {"stick foot": (*field.stick_at_m, 0), "stick top": (*field.stick_at_m, field.stick_m)}
    return {name: np.array(place, float) for name, place in places.items()}


def outline_m(field: Field, lens_m: Array) -> list[Array]:
    """Lines that show whether a camera is right: rubber, plate, mound, target line, an upright, the horizon.

    The horizon alone is there in a close view that shows nothing of the field.

    Args:
        field: Its measures.
        lens_m: Shape (3,), where the camera stands: all that is as high as the lens lies on the horizon.

    Returns:
        Each (n, 3), field points close enough together to be joined by straight lines.
    """
    at = places_m(field)
    corners = [at[f"rubber {name}"] for name in ("front left", "front right", "back right", "back left")]
    plate = [at[f"plate {n}"] for n in ("point", "side left", "front left", "front right", "side right")]
    lines = [np.array([*corners, corners[0]]), np.array([*plate, plate[0]])]
    ground = -field.mound_height_in * INCH_M
    target = np.linspace(0, 1, 60)[:, None] * at["plate point"]
    target[:, 2] = np.maximum(ground, -np.maximum(target[:, 0] - 0.15, 0) / 12)  # the slope: 1 in a foot
    lines.append(target)
    if field.mound_height_in > 0:
        way = np.linspace(0, 2 * np.pi, 73)
        x, y = MOUND_CENTRE_M + MOUND_RADIUS_M * np.cos(way), MOUND_RADIUS_M * np.sin(way)
        lines.append(np.column_stack([x, y, np.full_like(x, ground)]))
    upright = field.stick_m or 2.0
    foot = np.array([*field.stick_at_m, 0.0])
    lines.append(foot + np.linspace(0, upright, 9)[:, None] * [0, 0, 1])
    way = np.linspace(0, 2 * np.pi, 721)
    round_m = HORIZON_M * np.column_stack([np.cos(way), np.sin(way), np.zeros_like(way)])
    lines.append(lens_m + round_m)
    return lines
