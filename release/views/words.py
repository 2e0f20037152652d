"""Figures in words: what each is called, its unit for the reader, and what more or less of it means.

In:   figure names of the tables (`forearm_rotation_deg`, `speed_mph`, ...), values in their stored units.
Out:  labels, units and numbers as people read them, in US or metric units.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from release.units import convert, shown

Kind = Literal["hand", "ball", "place"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureWords:
    """How one figure is spoken of."""

    label: str
    kind: Kind
    more: str  # what a positive difference is
    less: str  # what a negative difference is


WORDS = {
    "forearm_rotation_deg": FigureWords(
        label="forearm rotation", kind="hand", more="toward pronation", less="toward supination"
    ),
    "palm_turn_deg": FigureWords(
        label="palm turn",
        kind="hand",
        more="toward the arm side",
        less="toward the glove side",
    ),
    "wrist_flexion_deg": FigureWords(
        label="wrist flexion", kind="hand", more="toward flexion", less="toward extension"
    ),
    "wrist_deviation_deg": FigureWords(
        label="wrist deviation",
        kind="hand",
        more="toward the little-finger side",
        less="toward the thumb side",
    ),
    "elbow_flexion_deg": FigureWords(
        label="elbow flexion", kind="hand", more="toward a bent elbow", less="toward a straight elbow"
    ),
    "arm_angle_deg": FigureWords(
        label="arm angle", kind="hand", more="toward overhand", less="toward sidearm"
    ),
    "palm_azimuth_deg": FigureWords(
        label="heading of the palm", kind="hand", more="toward the arm side", less="toward the glove side"
    ),
    "palm_elevation_deg": FigureWords(label="tilt of the palm", kind="hand", more="upward", less="downward"),
    "forearm_elevation_deg": FigureWords(
        label="forearm above level", kind="hand", more="upward", less="downward"
    ),
    "release_height_m": FigureWords(label="release height", kind="place", more="higher", less="lower"),
    "release_side_m": FigureWords(
        label="release side", kind="place", more="toward the arm side", less="toward the glove side"
    ),
    "extension_m": FigureWords(label="extension", kind="place", more="further out", less="less far out"),
    "release_height_ft": FigureWords(
        label="release height (flight unit)", kind="place", more="higher", less="lower"
    ),
    "release_side_ft": FigureWords(
        label="release side (flight unit)",
        kind="place",
        more="toward the arm side",
        less="toward the glove side",
    ),
    "extension_ft": FigureWords(
        label="extension (flight unit)", kind="place", more="further out", less="less far out"
    ),
    "speed_mph": FigureWords(label="speed", kind="ball", more="faster", less="slower"),
    "induced_vertical_break_in": FigureWords(
        label="induced vertical break", kind="ball", more="upward", less="downward"
    ),
    "horizontal_break_in": FigureWords(
        label="horizontal break", kind="ball", more="to the glove side", less="to the arm side"
    ),
    "spin_rpm": FigureWords(label="spin", kind="ball", more="more", less="less"),
    "spin_efficiency": FigureWords(label="spin efficiency", kind="ball", more="higher", less="lower"),
    "spin_tilt_deg": FigureWords(label="spin tilt", kind="ball", more="clockwise", less="counter-clockwise"),
    "gyro_angle_deg": FigureWords(label="gyro angle", kind="ball", more="toward gyro", less="away from gyro"),
}

# Digits after the point that a reader can use, by unit as shown.
_DECIMALS = {"°": 0, "mph": 1, "km/h": 1, "in": 1, "cm": 0, "ft": 2, "m": 2, "rpm": 0, "%": 0}


def words(figure: str) -> FigureWords:
    """The words for a figure; a column of the user's own is called by its own name."""
    known = WORDS.get(figure)
    return known or FigureWords(label=figure.replace("_", " "), kind="ball", more="more", less="less")


@cache
def _reading(figure: str, metric: bool) -> tuple[float, str]:
    """The factor from the stored unit to the reader's, and the reader's unit; '' for a bare number."""
    if figure.endswith("_m") and not metric:
        return float(convert(1.0, "metre", "foot")), "ft"
    return shown(figure, 1.0, metric=metric)


def converted(figure: str, values: NDArray[np.float64] | float, *, metric: bool) -> NDArray[np.float64]:
    """Values of a figure in the reader's unit; NaN stays NaN."""
    return np.asarray(values, float) * _reading(figure, metric)[0]


def number(figure: str, value: float, *, metric: bool = False, signed: bool = False) -> str:
    """A value as text with its unit, a true minus sign, and 'not measured' for NaN."""
    factor, name = _reading(figure, metric)
    read = float(value) * factor
    if not math.isfinite(read):
        return "not measured"
    digits = _DECIMALS.get(name, 2)
    text = f"{read:{'+' if signed else ''}.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("+-")
    return text.replace("-", "−") + (name if name == "°" else f" {name}" if name else "")


def span(figure: str, low: float, high: float, *, metric: bool = False, signed: bool = False) -> str:
    """An interval as text, 'low to high unit'; an end that is not finite is said in words."""
    ends = [number(figure, end, metric=metric, signed=signed) for end in (low, high)]
    name = _reading(figure, metric)[1]
    first = ends[0].removesuffix(name).rstrip() if name and ends[1].endswith(name) else ends[0]
    if not math.isfinite(low) and not math.isfinite(high):
        return "no interval"
    if not math.isfinite(low):
        return f"at most {ends[1]}"
    if not math.isfinite(high):
        return f"at least {ends[0]}"
    return f"{first} to {ends[1]}"


def from_both_phones(first: str | None, second: str | None) -> str:
    """What a throw's card says where one arm was fitted to two clips; empty where it was not."""
    return f"From both phones: one arm fitted to {first} and {second}" if first and second else ""


def axis_label(figure: str, *, metric: bool) -> str:
    """The label of an axis, in words with the unit and the direction of more."""
    spoken, name = words(figure), _reading(figure, metric)[1]
    name = "degrees" if name == "°" else name
    return f"{spoken.label[0].upper()}{spoken.label[1:]}, {name or 'as stored'}\n(more is {spoken.more})"
