"""Writes one throw's landmarks and angles over time as netCDF 3, which xarray and any netCDF library open.

The names of dimensions and variables (`time`, `space`, `keypoints`, `individuals`, `position`) are those by
which open pose libraries built on xarray know a set of landmarks.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def write_over_time(
    path: Path,
    time_s: Floats,
    points_px: Floats,
    points: Sequence[str],
    angles_deg: Mapping[str, Floats],
    said: Mapping[str, str | float],
) -> None:
    """Write one throw.

    Args:
        path: The file.
        time_s: Shape (t,), true time, 0 at release.
        points_px: Shape (t, k, 2), x and y in the upright picture; NaN where lost.
        points: Name of each of the k landmarks.
        angles_deg: Name to shape (t,).
        said: Attributes of the file: clip, athlete and the like; `athlete` names the individual.
    """
    import xarray  # slow to load: only where it is used

    data = xarray.Dataset(
        {
            "position": (
                ("time", "space", "keypoints", "individuals"),
                np.moveaxis(points_px, 2, 1)[..., None],
                {"units": "pixel"},
            ),
            **{f"{name}_deg": ("time", value, {"units": "degree"}) for name, value in angles_deg.items()},
        },
        coords={
            "time": ("time", time_s, {"units": "s", "long_name": "true time from release"}),
            "space": ["x", "y"],
            "keypoints": list(points),
            "individuals": [str(said.get("athlete") or "athlete")],
        },
        attrs={"ds_type": "poses", "time_unit": "seconds", **said},
    )
    data.to_netcdf(path, engine="scipy")
