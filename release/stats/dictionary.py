"""What every column of the export means: the data dictionary."""

from collections.abc import Mapping

import pandas as pd

THROWS: Mapping[str, str] = {
    "session": "Session, numbered from 0 within the table",
    "day": "Day of the session",
    "throw": "Running number of the throw in its session",
    "time": "When it was thrown, ISO 8601",
    "athlete": "Code of the athlete; names are never exported",
    "throws": "Throwing arm, R or L",
    "pitch": "Pitch type as called on the throw sheet",
    "cue": "Cue given before the throw; empty for none",
    "block": "Block the throw belongs to; empty where the cue was drawn per throw",
    "grip_seams": "Which seam lies under which finger",
    "grip_offset": "How far the grip is set off the middle, as on the throw sheet",
    "grip_index": "Index finger: flat, spiked, knuckled or braced",
    "grip_thumb": "Thumb: under, angled or side",
    "grip_ball": "How the ball lies in the hand, as on the throw sheet",
    "grip_pressure": "Where the pressure lies, as on the throw sheet",
    "intent_percent": "Intent asked for, percent",
    "target": "Where the throw was aimed at",
    "location": "Where it went, as on the throw sheet",
    "ball": "Type or weight of the ball",
    "note": "Note of the throw sheet",
    "clip": "Name of the clip's file",
    "clip_sha256": "Content hash of the clip",
    "flight": "Row of the flight file",
    "link_state": "linked, asked (not certain: its figures are left empty) or alone",
    "camera": "Which phone, where there were several",
    "second_clip": "The other phone's clip, where the hand was measured from both together",
    "refused": "Why the clip gave no figures; empty when measured",
    "release_frame": "Ball release as a fractional frame index from 0",
    "release_frame_sd": "Standard uncertainty of release_frame, frames",
    "release_time_s": "Ball release, true seconds from the first frame; empty where the clock is unknown",
    "wrist_flexion_deg": "Wrist at release, degrees, flexion positive, 0 in line with the forearm",
    "wrist_deviation_deg": "Wrist at release, degrees, ulnar positive, 0 in line with the forearm",
    "forearm_rotation_deg": "Forearm at release, degrees, pronation positive, 0 in mid-position",
    "elbow_flexion_deg": "Elbow at release, degrees, 0 straight",
    "palm_turn_deg": "Turn of the palm about the forearm, degrees, 0 to the target, pronated positive",
    "arm_angle_deg": "Shoulder-to-ball line seen along the target line, degrees, 0 sidearm, 90 overhand",
    "palm_azimuth_deg": "Heading of the palm from above, degrees, 0 to the target, arm side positive",
    "palm_elevation_deg": "Palm's direction above level, degrees",
    "forearm_elevation_deg": "Forearm's direction above level, degrees",
    "release_height_m": "Ball at release above the ground at the rubber, metres",
    "release_side_m": "Ball at release to the arm side of the rubber's middle, metres",
    "extension_m": "Ball at release in front of the rubber, metres",
    "speed_mph": "Ball speed, miles per hour",
    "induced_vertical_break_in": "Vertical movement by spin, inches, up positive",
    "horizontal_break_in": "Sideways movement by spin, inches, glove side positive",
    "spin_rpm": "Spin, turns a minute",
    "spin_tilt_deg": "Direction of the force by spin seen from behind the pitcher, degrees, 0 up, clockwise",
    "spin_efficiency": "Share of spin perpendicular to travel, 0 to 1",
    "release_height_ft": "The flight unit's release height, feet",
    "release_side_ft": "The flight unit's release side, feet, arm side positive",
    "extension_ft": "The flight unit's extension, feet",
    "break_window": "What the break was measured over; never pooled over two of them",
    "over_time": "File of landmarks and angles over time",
}  # fmt: skip
COMPARISONS: Mapping[str, str] = {
    "athlete": THROWS["athlete"],
    "pitch": THROWS["pitch"],
    "figure": "The column of throws that is compared",
    "cue_a": "First cue of the pair",
    "cue_b": "Second cue; differences are second minus first",
    "n_a": "Throws under the first cue with this figure",
    "n_b": "Throws under the second cue with this figure",
    "difference": "Second cue minus first, trend over throws taken out, in the figure's unit",
    "low": "Lower end of the 95 % interval by inverting the re-randomisation test; empty where open",
    "high": "Upper end of the 95 % interval",
    "p": "Two-sided re-randomisation p; empty where the design is too small",
    "answer": "changed, no meaningful change, cannot tell yet, or design too small",
    "more_throws": "Throws that would likely settle it; 0 when settled",
    "main": "The one figure named before the session",
    "q": "p after false-discovery control over the group's other outcomes",
    "worth": "Smallest change worth having, set by staff, in the figure's unit",
    "detectable": "1.96 * sqrt(2) * standard error of measurement of a cue's mean",
    "low90": "Lower end of the 90 % interval; inside the worth for no meaningful change",
    "high90": "Upper end of the 90 % interval",
    "unit": "What was drawn: throw or block",
    "units": "How many of them carry the figure",
    "best_p": "The least p the design can reach",
    "level": "The attainable level at or below 0.05",
    "why": "What was assumed, and what stands in the way",
}  # fmt: skip
UNITS: Mapping[str, str] = {
    "_ft_s2": "feet per second squared",
    "_ft_s": "feet per second",
    "_deg": "degrees",
    "_mph": "miles per hour",
    "_in": "inches",
    "_ft": "feet",
    "_m": "metres",
    "_s": "seconds",
    "_rpm": "turns a minute",
    "_px": "pixels of the upright picture, (0, 0) the outer corner of the top left one",
}
NUMBERS = ("intent_percent", "release_frame", "release_frame_sd", "spin_efficiency")


def described(name: str, known: Mapping[str, str]) -> str:
    """A column in words; of one that is not ours, its name and unit."""
    if name in known:
        return known[name]
    if name.endswith("_own_sd"):
        figure = name.removesuffix("_own_sd")
        return (
            f"Of the uncertainty of {figure}, what throws of one athlete and camera do not share, in its unit"
        )
    if name.endswith("_sd"):
        return f"Standard uncertainty of {name.removesuffix('_sd')}, in its unit"
    unit = unit_of(name)
    return name.replace("_", " ").capitalize() + (f", {unit}" if unit else "; a column of the user's own")


def unit_of(name: str) -> str | None:
    """The unit at the end of a column's name, in words."""
    return next((words for end, words in UNITS.items() if name.endswith(end)), None)


def typed(table: pd.DataFrame) -> pd.DataFrame:
    """Columns of figures as numbers even where every cell is empty; empty text as missing."""
    table = table.replace("", None)
    figures = [
        name
        for name in table.columns
        if name in NUMBERS or unit_of(str(name).removesuffix("_sd").removesuffix("_own")) is not None
    ]
    numbers = {name: pd.to_numeric(table[name], errors="coerce") for name in figures}
    return table.assign(**{str(name): column.astype(float) for name, column in numbers.items()})
