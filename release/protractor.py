"""The user's own check: hold known angles beside a printed card, film them, learn bias and scatter."""

from pathlib import Path

import numpy as np
import pandera.pandas as pa

from release.clip.read import read_clip
from release.errors import ProtractorTableUnreadable
from release.frames.decode import decode_every
from release.landmarks.infer_arm import read_arm
from release.landmarks.infer_hand import read_hand
from release.landmarks.result import Side
from release.landmarks.side import throwing_side
from release.orientation.angles import joint_angles_deg, wrap_deg
from release.read_table import Table, checked, read_text_table
from release.stats.agreement import limits_of_agreement

# What the card says of each: a line of its own under the half circle.
HOW = {
    "wrist_flexion": "card along the thumb side, forearm under the dot along 0; read the line of the hand,"
    " + toward the palm",
    "wrist_deviation": "card behind the hand, wrist over the dot; read the middle finger's knuckle,"
    " + toward the little finger",
    "forearm_rotation": "elbow bent 90, forearm level, card beyond the fist; read the thumb side,"
    " 0 straight up, + palm down",
}
FIGURES = tuple(HOW)
FRAMES = 15  # read in each clip, from its middle: the hand is held still
MM_PER_IN = 25.4
RADIUS_MM, SHEET_MM = 110, (297, 210)  # A4 on its side


def write_card(path: Path) -> None:
    """Write the printable card: a half circle in steps of 5 degrees, and a 100 mm line to check its size.

    Args:
        path: Ends in .pdf or .svg.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(SHEET_MM[0] / MM_PER_IN, SHEET_MM[1] / MM_PER_IN))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, SHEET_MM[0]), ylim=(0, SHEET_MM[1]), aspect="equal")
    axes.axis("off")
    x, y = SHEET_MM[0] / 2, 62
    for degrees in range(-90, 91, 5):
        turn = np.radians(90 - degrees)
        inner = 30 if degrees % 30 == 0 else RADIUS_MM - (14 if degrees % 10 == 0 else 8)
        ends = np.array([inner, RADIUS_MM])
        axes.plot(x + ends * np.cos(turn), y + ends * np.sin(turn), color="black", lw=0.8)
        if degrees % 10 == 0:
            at = RADIUS_MM + 8
            axes.text(
                x + at * np.cos(turn), y + at * np.sin(turn), f"{abs(degrees)}", ha="center", va="center"
            )
    axes.plot(x, y, "o", color="black", ms=4)
    axes.text(x, y - 8, "joint over the dot", ha="center")
    for line, (name, how) in enumerate(HOW.items()):
        axes.text(20, 44 - 6 * line, f"{name}: {how}.", size=8.5)
    axes.plot([20, 120], [22, 22], color="black", lw=2)
    axes.text(125, 21, "100 mm: measure it, some printers shrink the page", size=8.5)
    axes.text(20, 13, "Not medical advice. Move by yourself, slowly; stop if anything hurts.", size=8.5)
    figure.savefig(path)


def protractor_lines(table: Path) -> list[str]:
    """Read clips held at known angles and say how far the tool is off on this camera.

    Args:
        table: CSV with `clip` (a path beside the table) and any of `wrist_flexion_deg`,
            `wrist_deviation_deg`, `forearm_rotation_deg` as held; `throws` (R or L) where known.

    Raises:
        ProtractorTableUnreadable: The table has no clip column, no angle column or no rows.
        TableUnreadable: It is missing or no table.
    """
    held = _held(table)
    pairs: dict[str, list[tuple[float, float]]] = {name: [] for name in FIGURES}
    lines = [f"row {wrong.row} was left out: {wrong.why}" for wrong in held.set_aside]
    for row in held.rows.to_dict("records"):
        read = held_angles_deg(table.parent / row["clip"], row.get("throws"))
        for name in FIGURES:
            angle = row.get(f"{name}_deg", np.nan)
            if np.isfinite(angle):
                off = float(wrap_deg(np.asarray(read[name] - angle)))
                pairs[name].append((angle + off, angle))
                lines.append(f"{row['clip']}: {name} held at {angle:.0f}, read {read[name]:.1f}")
    lines.append(f"{'figure':18s} {'clips':>5s} {'bias':>7s} {'SD':>6s}   95 % of differences, degrees")
    for name, both in pairs.items():
        values = np.array(both).reshape(-1, 2)
        values = values[np.isfinite(values).all(1)]
        if len(values) < 2:
            lines.append(f"{name:18s} {len(values):5d}   two clips at least are needed")
            continue
        found = limits_of_agreement(values[:, 0], values[:, 1])
        limits = f"{found.low:+.1f} to {found.high:+.1f}"
        lines.append(f"{name:18s} {len(values):5d} {found.bias:+7.1f} {found.sd:6.1f}   {limits}")
    return lines


def held_angles_deg(path: Path, throws: str | None) -> dict[str, float]:
    """Angles of a hand held still in a clip, medians over its middle frames; NaN where not seen.

    Directions are taken as seen at the hand and at the elbow without the camera's focal length, which is
    right within the angle between the two lines of sight (2 degrees for a forearm 7 m away).
    """
    clip = read_clip(path)
    middle = len(clip.presentation_s) // 2
    first, last = max(middle - FRAMES // 2, 0), min(middle + FRAMES // 2, len(clip.presentation_s) - 1)
    frames = decode_every(clip, 1, first=first, last=last)
    arm = read_arm(frames.images, frames.index, frames.scale)
    side: Side = "L" if throws == "L" else "R"
    if throws is None:
        side, _ = throwing_side(arm)
    hand = read_hand(frames.images, frames.index, arm, side, second=False)
    angles = joint_angles_deg(arm.upper_arm, hand.forearm, hand.palm, side)
    return {n: _median(angles[n]) for n in FIGURES}


def _median(values: np.ndarray) -> float:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else float("nan")


def _held(table: Path) -> Table:
    angles = [f"{name}_deg" for name in FIGURES]
    text = read_text_table(table, known=["clip", "throws", *angles])
    if "clip" not in text.rows or not text.rows.columns.intersection(angles).size or text.rows.empty:
        raise ProtractorTableUnreadable(table, "no column clip, none of the angle columns, or no rows")
    sides = pa.Check.isin(["R", "L", ""], error="is neither R nor L")
    return checked(text, table, {"throws": pa.Column(object, sides, required=False)}, angles)
