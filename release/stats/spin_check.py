"""The flight unit's spin axis against the measured palm: a warning light for bad links and bad angles.

The spin axis lies nearly in the plane of palm and fingers (Jinji, Sakurai and Hirano 2011, J Sports Sci
29:761-767). Field frame: x toward home plate, y toward first base, z up.
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Side = Literal["R", "L"]

LEAST = 4  # throws that tell what is usual (our choice, no source)
FAR_DEG = 30.0  # a usual angle beyond this is doubtful for the athlete (our choice, no source)
APART = 3.0  # robust SDs from the athlete's usual angle that make one throw doubtful (our choice)

Floats = NDArray[np.float64]


def palm_direction(azimuth_deg: Floats, elevation_deg: Floats, side: Side) -> Floats:
    """The way the palm faces in the field frame, shape (n, 3). A positive azimuth faces the arm side."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    across = np.sin(azimuth) * (-1.0 if side == "R" else 1.0)
    return np.stack(
        [np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * across, np.sin(elevation)], axis=-1
    )


def off_palm_plane_deg(palm: Floats, spin_tilt_deg: Floats, spin_efficiency: Floats) -> Floats:
    """Angle between the spin axis and the plane of the palm, shape (n,), 0 to 90; NaN in gives NaN out.

    Tilt and efficiency leave open whether the axis leans toward the plate or away; of the two the one nearer
    to the palm's plane is taken, so that a large angle is a sure one.

    Args:
        palm: Shape (n, 3), the way the palm faces.
        spin_tilt_deg: Shape (n,), direction of the force seen from behind the pitcher, 0 up, clockwise.
        spin_efficiency: Shape (n,), 0 to 1.
    """
    tilt = np.radians(spin_tilt_deg)
    force = np.stack([np.zeros_like(tilt), -np.sin(tilt), np.cos(tilt)], axis=-1)
    across = np.cross([1.0, 0.0, 0.0], force)  # force is along axis x travel, so axis is along travel x force
    share = np.clip(spin_efficiency, 0, 1)[:, None]
    along = np.sqrt(1 - share**2) * np.array([1.0, 0.0, 0.0])
    out = [np.abs(np.sum((share * across + sign * along) * palm, axis=-1)) for sign in (1, -1)]
    return np.degrees(np.arcsin(np.clip(np.minimum(*out), 0, 1)))


def doubtful(off_deg: Floats) -> tuple[NDArray[np.bool_], bool]:
    """Throws of one athlete that stand apart from the athlete's usual angle; and whether that is far off.

    Args:
        off_deg: Shape (n,); NaN is never doubtful.
    """
    known = off_deg[np.isfinite(off_deg)]
    if len(known) < LEAST:
        return np.zeros(len(off_deg), bool), False
    usual = float(np.median(known))
    spread = max(1.4826 * float(np.median(np.abs(known - usual))), 3.0)
    return np.nan_to_num(np.abs(off_deg - usual)) * np.isfinite(off_deg) > APART * spread, usual > FAR_DEG
