"""What film setup is worth: error against frame rate, size of the hand, blur and view, in one chart.

In:   the errors of rendered throws, see `errors`.
Out:  an SVG of four panels, each with the median error of every joint angle where it was not refused.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from numpy.typing import NDArray

from release.orientation.result import JOINT_ANGLES
from release.views.cue_marks import cue_marks
from release.views.figures import STYLE, marker_of, svg_of

Array = NDArray[np.float64]

SETTINGS = {
    "true_fps": "Frames a second",
    "hand_px": "Wrist to middle knuckle, px",
    "blur_px": "Path of the wrist in one exposure, px",
    "facing_deg": "Line of sight to the palm's plane, degrees\n(0 edge-on, 90 square on)",
}
PARTS = 4  # of throws, as many in each
RESAMPLES = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Throws that were filmed alike."""

    middle: float  # median setting
    n: int
    median: float  # absolute error, degrees
    low: float  # of its 95 % interval, by bootstrap over throws
    high: float


def parts(setting: Array, error_deg: Array) -> list[Part]:
    """Median absolute error of throws parted by a setting: by its values where they are few, or in quarters.

    Args:
        setting, error_deg: Shape (n,); a throw without an error is left out.
    """
    known = np.isfinite(error_deg)
    setting, error = setting[known], np.abs(error_deg[known])
    rank = _parted(setting)
    rng = np.random.default_rng(0)
    found = []
    for part in np.unique(rank):
        own = error[rank == part]
        drawn = np.median(rng.choice(own, (RESAMPLES, len(own))), axis=1)
        low, high = np.quantile(drawn, [0.025, 0.975])
        middle = float(np.median(setting[rank == part]))
        found.append(
            Part(middle=middle, n=len(own), median=float(np.median(own)), low=float(low), high=float(high))
        )
    return found


def _parted(setting: Array) -> NDArray[np.int64]:
    """Which part each throw belongs to, from 0."""
    values, part = np.unique(setting, return_inverse=True)
    return (
        part if len(values) <= PARTS else np.argsort(np.argsort(setting, kind="stable")) * PARTS // len(part)
    )


def chart(rows: pd.DataFrame) -> str:
    """The chart of errors as `errors` writes them, as SVG text."""
    with mpl.rc_context(STYLE):
        drawn = Figure(figsize=(8.6, 6.4), layout="constrained")
        FigureCanvasSVG(drawn)
        panels: Sequence[Axes] = drawn.subplots(2, 2, sharey=True).ravel()
        marks = cue_marks(JOINT_ANGLES)
        for panel, (setting, words) in zip(panels, SETTINGS.items(), strict=True):
            at = rows[setting].to_numpy(float)
            for k, name in enumerate(JOINT_ANGLES):
                found = parts(at, rows[f"{name}_error_deg"].to_numpy(float))
                aside = 1 + 0.03 * (k - 1.5)  # the four stand side by side
                x, y = (np.array([getattr(p, what) for p in found]) for what in ("middle", "median"))
                reach = [[p.median - p.low for p in found], [p.high - p.median for p in found]]
                panel.errorbar(x * aside, y, yerr=reach, color=marks[name].colour, lw=1, elinewidth=0.8)
                label = name.replace("_", " ")
                panel.plot(x * aside, y, linestyle="none", label=label, **marker_of(marks[name]))
            panel.set_xlabel(words)
            if setting != "facing_deg":
                panel.set_xscale("log")
                ticks = [round(middle) for middle in pd.Series(at).groupby(_parted(at)).median()]
                panel.set_xticks(ticks, [str(t) for t in ticks])
                panel.set_xticks([], minor=True)
        panels[0].set_ylim(bottom=0)  # of all four: they share it
        for panel in panels[::2]:
            panel.set_ylabel("Median error, degrees")
        drawn.legend(*panels[0].get_legend_handles_labels(), loc="outside upper left", ncols=4, frameon=False)
        return svg_of(drawn)


def main() -> None:
    """Read, draw, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("errors", type=Path, help="file that `release.workshop.errors` wrote")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    rows = pd.read_csv(args.errors)
    args.out.write_text(chart(rows), encoding="utf-8")
    print(f"{len(rows)} throws: {args.out}")


if __name__ == "__main__":
    main()
