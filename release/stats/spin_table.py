"""The spin check on a table of throws: each athlete against the athlete's own usual angle."""

from typing import cast

import numpy as np
import pandas as pd

from release.stats.spin_check import FAR_DEG, Side, doubtful, off_palm_plane_deg, palm_direction

NEEDED = ("palm_azimuth_deg", "palm_elevation_deg", "spin_tilt_deg", "spin_efficiency")


def spin_table(rows: pd.DataFrame) -> pd.DataFrame:
    """The angle between spin axis and palm plane of each throw that has both, and whether it is doubtful.

    Args:
        rows: `athlete, pitch, throw`, `throws` (R or L; R where empty) and NEEDED.

    Returns:
        athlete, pitch, throw, off_deg, usual_deg (the athlete's median for that pitch), doubtful, far (the
        athlete's usual angle itself is doubtful).
    """
    seen = rows[rows[list(NEEDED)].notna().all(axis=1)]
    left = seen["throws"].eq("L").to_numpy() if "throws" in seen else np.zeros(len(seen), bool)
    azimuth, elevation, tilt, efficiency = (seen[name].to_numpy(float) for name in NEEDED)
    off = np.full(len(seen), np.nan)
    for side in ("R", "L"):
        of_side = left == (side == "L")
        palm = palm_direction(azimuth[of_side], elevation[of_side], cast(Side, side))
        off[of_side] = off_palm_plane_deg(palm, tilt[of_side], efficiency[of_side])
    found = seen[["athlete", "pitch", "throw"]].assign(off_deg=off)
    groups = [_judged(part) for _, part in found.groupby(["athlete", "pitch"], sort=False)]
    return pd.concat(groups) if groups else found.assign(usual_deg=off, doubtful=False, far=False)


def _judged(part: pd.DataFrame) -> pd.DataFrame:
    off = part["off_deg"].to_numpy(float)
    apart, far = doubtful(off)
    return part.assign(usual_deg=float(np.median(off)), doubtful=apart, far=far)


def spin_lines(found: pd.DataFrame) -> list[str]:
    """A line an athlete and pitch, and a line for each throw to look at."""
    lines = []
    for (athlete, pitch), part in found.groupby(["athlete", "pitch"], sort=False):
        usual, n = float(part["usual_deg"].iloc[0]), len(part)
        if n < 4:
            lines.append(
                f"{athlete} {pitch}: {n} throws with palm and spin; four are needed to tell the usual"
            )
            continue
        far = f"; beyond {FAR_DEG:.0f}°: doubt the angles or the camera" if part["far"].any() else ""
        lines.append(
            f"{athlete} {pitch}: spin axis usually {usual:.0f}° off the palm's plane, {n} throws{far}"
        )
        for row in part[part["doubtful"]].itertuples():
            lines.append(
                f"  look at throw {row.throw:.0f}: {row.off_deg:.0f}° off; wrong link or wrong angle?"
            )
    return lines or ["no throw has the palm's heading and tilt beside spin tilt and efficiency"]
