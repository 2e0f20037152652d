"""Figures that a flight file lacks, from those it has."""

import numpy as np
import pandas as pd

from release.errors import BreaksNotComparable
from release.flight.columns import NINE, TOWARD_FIRST, with_hand
from release.flight.result import RULE_BOOK_OZ, Setting
from release.flight.trajectory import ASSUMED_EXTENSION_FT, DRAG_CONSTANT_1_FT, from_trajectory

TYPICAL_DRAG = 0.35  # C_D, Lyu et al. (2022): 0.33 to 0.36
WHOLE_FLIGHT = "full flight, drag removed"


def at_release_speed(rows: pd.DataFrame, speed_at: str, setting: Setting) -> pd.DataFrame:
    """Speeds measured 50 ft from the plate, as they were at release: v exp(K C_D d), drag alone."""
    if speed_at == "release" or "speed_mph" not in rows:
        return rows
    travelled_ft = setting.plate_back_ft - _extension_ft(rows) - 50
    return rows.assign(
        speed_mph=rows["speed_mph"] * np.exp(_drag_constant(setting) * TYPICAL_DRAG * travelled_ft)
    )


def field_from_plate(rows: pd.DataFrame, setting: Setting) -> pd.DataFrame:
    """A trajectory counted from the plate's back point (x toward first base, y toward the rubber) in ours."""
    present = [name for name in NINE if name in rows]
    x, y = ({name: rows[name] for name in present if axis in name[:2]} for axis in "xy")
    moved = {
        name.replace("y", "x", 1): (setting.plate_back_ft - v if name == "y0_ft" else -v)
        for name, v in y.items()
    }
    return rows.assign(**moved, **{name.replace("x", "y", 1): v for name, v in x.items()})


def filled_from_trajectory(rows: pd.DataFrame, setting: Setting) -> pd.DataFrame:
    """Fill break, release point, speed, spin tilt and efficiency where missing; `from_trajectory` names them.

    A row whose break comes from its trajectory has the break definition of the trajectory.
    """
    filled = pd.Series("", rows.index, dtype=object)
    if not set(NINE) <= set(rows.columns):
        return rows.assign(from_trajectory=filled)
    spin = rows["spin_rpm"].to_numpy() if "spin_rpm" in rows else np.nan
    seen = from_trajectory(
        rows[list(NINE)].to_numpy(float),
        extension_ft=_extension_ft(rows),
        spin_rpm=spin,
        plate_back_ft=setting.plate_back_ft,
        drag_constant_1_ft=_drag_constant(setting),
    )
    throws = rows["throws"] if "throws" in rows else pd.Series(None, rows.index, dtype=object)
    sides = {
        TOWARD_FIRST["horizontal_break_in"]: seen.side_break_in,
        TOWARD_FIRST["release_side_ft"]: seen.release_ft[:, 1],
    }
    handed = with_hand(pd.DataFrame(sides, rows.index), throws)
    computed = {
        "induced_vertical_break_in": seen.induced_vertical_break_in,
        "speed_mph": seen.release_speed_mph,
        "release_height_ft": seen.release_ft[:, 2],
        "spin_tilt_deg": seen.spin_tilt_deg,
        "spin_efficiency": seen.spin_efficiency,
        **{name: handed[name].to_numpy() for name in handed},
    }
    columns: dict[str, pd.Series] = {}
    for name, values in computed.items():
        own = rows[name] if name in rows else pd.Series(np.nan, rows.index)
        new = own.isna() & np.isfinite(values)
        columns[name] = own.where(~new, values)
        filled[new] += f"{name} "
    # A break of one definition beside one of another in a row would be worse than none.
    broken = filled.str.contains("break")
    definition = rows["break_definition"].where(~broken, WHOLE_FLIGHT)
    approach = {
        "vertical_approach_deg": seen.vertical_approach_deg,
        "side_approach_deg": seen.side_approach_deg,
    }
    return rows.assign(
        **columns,
        **approach,
        from_trajectory=filled.str.strip(),
        break_definition=definition,
        plate_speed_mph=seen.plate_speed_mph,
    )


def one_break_definition(rows: pd.DataFrame) -> str:
    """The break definition that all rows share.

    Raises:
        BreaksNotComparable: There are several; they differ by up to a factor of two and are never pooled.
    """
    found = sorted(rows["break_definition"].dropna().unique())
    if len(found) > 1:
        raise BreaksNotComparable(found)
    return found[0] if found else WHOLE_FLIGHT


def _drag_constant(setting: Setting) -> float:
    """rho A / 2m of the ball thrown, taken to be as large as a baseball."""
    return DRAG_CONSTANT_1_FT * RULE_BOOK_OZ / setting.ball_weight_oz


def _extension_ft(rows: pd.DataFrame) -> np.ndarray:
    if "extension_ft" not in rows:
        return np.full(len(rows), ASSUMED_EXTENSION_FT)
    return rows["extension_ft"].fillna(ASSUMED_EXTENSION_FT).to_numpy(float)
