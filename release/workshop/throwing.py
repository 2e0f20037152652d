"""Throws as curves of joint angles, drawn from a wide family; right-handed, field frame, metres.

In:   a random generator, or the angles wanted at release.
Out:  a `Motion`: every angle as a smooth curve of time since release.
Why:  the hand model must not learn one pitcher by heart: slot, trunk, timing, arm path, elbow, forearm and
      wrist vary apart from each other.

The skeleton of each curve is a row of (time, angle) through set position, foot contact, greatest external
rotation, release and follow-through; the values are common practice bounded by published kinematics
(tests/workshop/test_throwing.py names them).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d

Array = NDArray[np.float64]

STEP_S = 0.0005
BLUNT_S = 0.004  # corners of the curves are rounded over about this time
FIRST_S, LAST_S = -1.0, 0.4
WANTED = ("wrist_flexion", "wrist_deviation", "forearm_rotation", "elbow_flexion")

# degrees at: set, leg lift, foot contact, greatest external rotation, halfway, release, after, follow, end
TIMES_S = np.array([-1.0, -0.55, -0.17, -0.04, -0.018, 0.0, 0.016, 0.04, 0.12, 0.4])
CURVES: Mapping[str, tuple[float, ...]] = {
    "trunk_turn": (-92, -105, -80, -16, -2, 6, 12, 22, 45, 60),
    "pelvis_turn": (-92, -105, -35, -4, 0, 2, 4, 8, 25, 40),
    "lean": (0, 0, 0, 14, 20, 25, 29, 36, 52, 62),
    "tilt": (0, 2, 0, 0.8, 0.95, 1.0, 1.0, 0.95, 0.8, 0.6),  # times the throw's own tilt
    "elevation": (22, 25, 88, 92, 92, 92, 92, 90, 75, 55),
    "abduction": (35, 35, -22, 2, 6, 8, 11, 20, 60, 85),
    "rotation": (25, 20, 65, 172, 157, 122, 74, 30, 0, -5),
    "elbow_flexion": (100, 100, 95, 88, 52, 0, -4, -2, 10, 25),  # from release on: added to the release value
    "forearm_rotation": (0, 0, 0, -16, -10, 0, 12, 28, 45, 30),  # added to the release value
    "wrist_flexion": (-5, -12, -25, -46, -28, 0, 26, 38, 25, 15),  # added to the release value
    "wrist_deviation": (0, 0, 0, -6, -3, 0, 3, 6, 4, 0),  # added to the release value
}


# Largest published active range (goniometry handbook, Table A.1) and a little passive give.
REACH_DEG: Mapping[str, tuple[float, float]] = {
    "wrist_flexion": (-95, 100),
    "wrist_deviation": (-32, 48),
    "forearm_rotation": (-104, 104),
    "elbow_flexion": (3, 150),
}

# From throw to throw of one pitcher under several cues, standard deviation; 1.2 for every other curve.
SCATTER_DEG: Mapping[str, float] = {
    "wrist_flexion": 5.0,
    "wrist_deviation": 3.0,
    "forearm_rotation": 8.0,
    "elbow_flexion": 3.0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """One throw. Times since release; angles in degrees."""

    curves: Mapping[str, Array]  # each shape (n,), on the grid FIRST_S..LAST_S
    tilt_deg: float
    stride: float  # of body height
    slide_m: float  # how far the ball rolls along the fingers before it leaves
    slide_s: float
    finger_give: float  # how far the fingers have opened when the ball leaves, 0 to 1
    finger_opening: float  # how far they open after release, 0 to 1; below 0 they close
    opening_s: float
    left_arm: tuple[float, float]  # where the glove is held: elevation, abduction

    def at(self, name: str, time_s: Array) -> Array:
        """A curve at some times, degrees; held beyond its ends."""
        return np.interp(time_s, GRID_S, self.curves[name])

    def shifted(self, name: str, by_deg: float) -> "Motion":
        """The same throw with one curve moved as a whole."""
        return replace(self, curves={**self.curves, name: self.curves[name] + by_deg})

    def quickened(self, times: float) -> "Motion":
        """The same throw in less time: every speed grows by this factor."""
        curves = {name: np.interp(GRID_S * times, GRID_S, c) for name, c in self.curves.items()}
        return replace(self, curves=curves, slide_s=self.slide_s / times)

    def again(self, rng: np.random.Generator) -> "Motion":
        """The same pitcher's next throw: every curve moved as a whole, the hand's as far as cues move it."""
        curves = {}
        for name, curve in self.curves.items():
            moved = curve + rng.normal(0, SCATTER_DEG.get(name, 1.2)) if name != "tilt" else curve
            curves[name] = np.clip(moved, *REACH_DEG.get(name, (-np.inf, np.inf)))
        return replace(self, curves=curves, tilt_deg=self.tilt_deg + float(rng.normal(0, 1)))


GRID_S = np.arange(FIRST_S, LAST_S + STEP_S / 2, STEP_S)


def draw_motion(rng: np.random.Generator, wanted_deg: Mapping[str, float] | None = None) -> Motion:
    """Draw a throw of any kind, with the joint angles at release as wanted where they are given."""
    at_release = {
        "wrist_flexion": rng.uniform(-45, 35),
        "wrist_deviation": rng.uniform(-18, 26),
        "forearm_rotation": rng.uniform(-80, 60),
        "elbow_flexion": rng.uniform(5, 60),
    } | dict(wanted_deg or {})
    pace = rng.uniform(0.65, 1.25)
    late = rng.normal(0, 0.004)  # release early or late in the arm's path
    curves = {}
    for name, values in CURVES.items():
        drawn = _drawn(name, np.array(values, float), at_release, rng)
        times = TIMES_S * pace - (late if name in ("rotation", "elbow_flexion", "abduction") else 0.0)
        curves[name] = _smooth(times, drawn)
    for name in WANTED:  # rounding the corners and the shift in time moved the release value
        curves[name] = curves[name] + at_release[name] - np.interp(0.0, GRID_S, curves[name])
    for name, (low, high) in REACH_DEG.items():
        curves[name] = np.clip(curves[name], low, high)
    return Motion(
        curves=curves,
        tilt_deg=float(rng.uniform(-25, 48)),
        stride=float(rng.uniform(0.2, 0.75)),
        slide_m=float(rng.uniform(0.0, 0.05)),
        slide_s=float(rng.uniform(0.004, 0.014)),
        finger_give=float(rng.uniform(0.0, 0.5)),
        finger_opening=float(rng.uniform(-0.1, 0.9)),
        opening_s=float(rng.uniform(0.015, 0.1)),
        left_arm=(float(rng.uniform(20, 80)), float(rng.uniform(20, 90))),
    )


def barn_motion(rng: np.random.Generator, wanted_deg: Mapping[str, float], tilt_deg: float) -> Motion:
    """A throw of one practised pitcher: the usual curves with a pitcher's small scatter."""
    motion = draw_motion(np.random.default_rng(7), wanted_deg)
    curves = {}
    for name, values in CURVES.items():
        drawn = np.array(values, float)
        if name in WANTED:
            drawn = _from_release(name, drawn, wanted_deg[name])
        if name not in ("tilt", *WANTED):
            drawn = drawn + rng.normal(0, 1.2)
        curves[name] = _smooth(TIMES_S, drawn)
    for name in WANTED:
        curves[name] = curves[name] + wanted_deg[name] - np.interp(0.0, GRID_S, curves[name])
    return replace(
        motion,
        curves=curves,
        tilt_deg=tilt_deg + float(rng.normal(0, 1)),
        stride=0.55,
        slide_m=0.03,
        slide_s=0.008,
        finger_give=0.35,
        finger_opening=0.6,
        opening_s=0.05,
        left_arm=(50.0, 60.0),
    )


def _from_release(name: str, values: Array, release_deg: float) -> Array:
    if name == "elbow_flexion":
        before = np.array(TIMES_S) < 0
        return np.where(before, np.maximum(values, release_deg), values + release_deg)
    return values + release_deg


def _drawn(name: str, values: Array, at_release: Mapping[str, float], rng: np.random.Generator) -> Array:
    """One curve's skeleton with everything about it varied."""
    if name == "tilt":
        return values
    strength = rng.uniform(0.6, 1.4)
    if name in WANTED:
        swing = np.where(values < 0, values * strength, values * rng.uniform(0.5, 1.5))
        scattered = swing + rng.normal(0, 0.12, len(values)) * np.abs(values)
        if name == "elbow_flexion":
            scattered = np.where(TIMES_S < 0, values + rng.normal(0, 10, len(values)), scattered)
        return _from_release(name, scattered, at_release[name])
    release = values[5]
    width = {"trunk_turn": 9, "pelvis_turn": 9, "lean": 9, "elevation": 9, "abduction": 10, "rotation": 10}
    swing = (values - release) * (1 + 0.15 * (strength - 1))
    return release + rng.normal(0, width[name]) + swing + rng.normal(0, 0.25 * width[name], len(values))


def _smooth(times_s: Array, values: Array) -> Array:
    curve = PchipInterpolator(times_s, values, extrapolate=False)(np.clip(GRID_S, times_s[0], times_s[-1]))
    return gaussian_filter1d(curve, BLUNT_S / STEP_S, mode="nearest")
