"""The spin check on a table of throws: each athlete against the athlete's own usual angle."""

from typing import cast

import numpy as np
import pandas as pd

from release.stats.read_throws import ThrowTable
from release.stats.spin_check import FAR_DEG, LEAST, Side, doubtful, off_palm_plane_deg, palm_direction

PALM = ("palm_azimuth_deg", "palm_elevation_deg")
SPIN = ("spin_tilt_deg", "spin_efficiency")
NEEDED = (*PALM, *SPIN)
MEANING = (
    "The ball's spin axis lies nearly in the palm's plane; where it does not, a link or an angle is doubtful."
)
NOT_CHECKED = (
    "Not checked here: a palm has a heading only where the camera's place is known (`release camera`)."
)


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
    """A sentence an athlete and pitch: what is usual, and which throws to look at."""
    groups = found.groupby(["athlete", "pitch"], sort=False)
    lines = [f"{athlete} {pitch}: {_said(part)}." for (athlete, pitch), part in groups]
    return lines or ["No throw has the palm's heading and tilt beside spin tilt and efficiency."]


def _said(part: pd.DataFrame) -> str:
    if len(part) < LEAST:
        return f"{len(part)} throws with palm and spin; {LEAST} are needed to tell the usual"
    usual = f"spin axis usually {part['usual_deg'].iloc[0]:.0f}° off the palm's plane, {len(part)} throws"
    far = f"; beyond {FAR_DEG:.0f}°: doubt the angles or the camera" if part["far"].any() else ""
    apart = [f"throw {row.throw:.0f} ({row.off_deg:.0f}°)" for row in part[part["doubtful"]].itertuples()]
    look = f"; look at {', '.join(apart)}: wrong link or wrong angle?" if apart else ""
    return usual + far + look


def spin_note(throws: ThrowTable) -> list[str]:
    """The check as a report's note; none where the ball's spin is not measured."""
    if not set(SPIN) <= set(throws.figures):
        return []
    known = set(PALM) <= set(throws.figures)
    said = spin_lines(spin_table(throws.rows)) if known else [NOT_CHECKED]
    return [" ".join([MEANING, *said])]
