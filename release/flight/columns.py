"""The columns of a flight file: their names, the signs others use for them, and what a baseball can do.

Side columns are kept toward first base until the throwing hand is known, for an export may not name it.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from release.flight.result import FIGURES, NINE

COLUMNS = ("flight", "time", "athlete", "throws", "pitch", *FIGURES, *NINE)
CLOCK = "clock"  # a unit of our own for directions given as on a clock face

FIRST, THIRD, GLOVE, ARM = "toward first base", "toward third base", "glove side", "arm side"
# What an export may call positive, and what to multiply by: for side columns toward OUR side, or toward
# first base where it names a base.
POSITIVE: Mapping[str, Mapping[str, int]] = {
    "horizontal_break_in": {GLOVE: 1, ARM: -1, FIRST: 1, THIRD: -1},
    "release_side_ft": {ARM: 1, GLOVE: -1, FIRST: 1, THIRD: -1},
    "induced_vertical_break_in": {"up": 1, "down": -1},
    "spin_tilt_deg": {"clockwise from behind the pitcher": 1, "clockwise from behind the catcher": -1},
}
# The side that is positive for us, as the sign of y (toward first base) for a right-hander.
OUR_SIDE = {"horizontal_break_in": 1, "release_side_ft": -1}
TOWARD_FIRST = {"horizontal_break_in": "break_toward_first_in", "release_side_ft": "release_toward_first_ft"}

# Beyond these a value is flagged, not dropped. Common practice, no source.
POSSIBLE = {
    "speed_mph": (20, 108),
    "induced_vertical_break_in": (-35, 35),
    "horizontal_break_in": (-35, 35),
    "spin_rpm": (0, 4000),
    "spin_tilt_deg": (0, 360),
    "spin_efficiency": (0, 1),
    "release_height_ft": (0, 9),
    "release_side_ft": (-6, 6),
    "extension_ft": (0, 10),
}


def with_hand(rows: pd.DataFrame, throws: pd.Series) -> pd.DataFrame:
    """Fill our side columns, where the file gave first or third base, once the throwing hand is known.

    Args:
        rows: Flight rows.
        throws: R or L for each row, missing where unknown; the rows' index.
    """
    right = throws.map({"R": 1.0, "L": -1.0}).astype(float)
    filled = {}
    for ours, toward_first in TOWARD_FIRST.items():
        if toward_first in rows:
            own = rows[ours] if ours in rows else pd.Series(np.nan, rows.index)
            filled[ours] = own.fillna(rows[toward_first] * right * OUR_SIDE[ours])
    return rows.assign(**filled)


def impossible(rows: pd.DataFrame) -> pd.Series:
    """What in each row no baseball does, in words; "" where nothing."""
    reasons = pd.Series("", rows.index, dtype=object)
    for name, (least, most) in POSSIBLE.items():
        if name in rows:
            out = (rows[name] < least) | (rows[name] > most)
            reasons[out] += rows.loc[out, name].map(lambda v, n=name: f"{n} {v:g} is not possible; ")
    return reasons.str.removesuffix("; ")
