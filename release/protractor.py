"""The user's own check: hold known angles beside a printed card, film them, learn bias and scatter."""

import csv
from pathlib import Path

import numpy as np

from release.clip.read import read_clip
from release.errors import ProtractorTableUnreadable
from release.frames.decode import decode_every
from release.landmarks.infer_arm import read_arm
from release.landmarks.infer_hand import read_hand
from release.landmarks.infer_side import throwing_side
from release.landmarks.result import Side
from release.orientation.angles import joint_angles_deg, wrap_deg
from release.stats.agreement import limits_of_agreement

FIGURES = ("wrist_flexion", "wrist_deviation", "forearm_rotation")
FRAMES = 15  # read in each clip, from its middle: the hand is held still
MM_PER_IN = 25.4
RADIUS_MM, SHEET_MM = 120, (297, 210)  # A4 on its side


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
    x, y = SHEET_MM[0] / 2, 45
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
    axes.text(x, y - 10, "joint over the dot; forearm (or thumb) along 0 to begin with", ha="center")
    axes.plot([20, 120], [20, 20], color="black", lw=2)
    axes.text(70, 13, "100 mm: measure it, some printers shrink the page", ha="center")
    figure.savefig(path)


def protractor_lines(table: Path) -> list[str]:
    """Read clips held at known angles and say how far the tool is off on this camera.

    Args:
        table: CSV with `clip` (a path beside the table) and any of `wrist_flexion_deg`,
            `wrist_deviation_deg`, `forearm_rotation_deg` as held; `throws` (R or L) where known.

    Raises:
        ProtractorTableUnreadable: The table is missing, or has no clip or no angle column.
    """
    rows = _rows(table)
    pairs: dict[str, list[tuple[float, float]]] = {name: [] for name in FIGURES}
    lines = []
    for row in rows:
        read = held_angles_deg(table.parent / row["clip"], row.get("throws") or None)
        for name in FIGURES:
            held = row.get(f"{name}_deg")
            if held:
                off = float(wrap_deg(np.asarray(read[name] - float(held))))
                pairs[name].append((float(held) + off, float(held)))
                lines.append(f"{row['clip']}: {name} held at {float(held):.0f}, read {read[name]:.1f}")
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
        side = throwing_side(frames.images, frames.index, arm)
    hand = read_hand(frames.images, frames.index, arm, side)
    angles = joint_angles_deg(arm.upper_arm, hand.forearm, hand.palm, side)
    return {n: _median(angles[n]) for n in FIGURES}


def _median(values: np.ndarray) -> float:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else float("nan")


def _rows(table: Path) -> list[dict[str, str]]:
    try:
        with table.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except OSError as error:
        raise ProtractorTableUnreadable(table, str(error.strerror)) from error
    if not rows or "clip" not in rows[0] or not any(f"{n}_deg" in rows[0] for n in FIGURES):
        raise ProtractorTableUnreadable(table, "no column clip, or none of the angle columns")
    return rows
