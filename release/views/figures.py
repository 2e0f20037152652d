"""Charts of a session as SVG text.

In:   a tidy table of throws (`athlete, pitch, throw, cue, block`, figures, `FIGURE_sd`).
Out:  SVG, without a date or random names in it: the same table gives the same text.
"""

import io
from collections.abc import Mapping
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from release.views.cue_marks import CueMark
from release.views.words import axis_label, converted

INK = "#22262e"
STYLE: dict[Any, Any] = {
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 9.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": "#6b6f76",
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "svg.fonttype": "none",  # text stays text: searchable, read aloud, scaled by the reader
    "svg.hashsalt": "release",
    "text.parse_math": False,  # a $ in the name of a cue is a $
}


def angle_by_throw(
    throws: pd.DataFrame, figure: str, marks: Mapping[str, CueMark], metric: bool = False
) -> str:
    """One figure of one athlete's pitch in the order thrown, with 95 % bars, coloured and shaped by cue.

    Args:
        throws: Rows of one athlete and pitch; a throw without the figure leaves a gap.
        figure: Column to draw; its `FIGURE_sd` gives the bars where it is there.
        marks: How each cue is drawn.
        metric: cm, m and km/h for the reader in place of in, ft and mph.
    """
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(7.2, 2.9)
        sd_name = f"{figure}_sd"
        for cue, rows in throws.groupby("cue", sort=False):
            mark = marks[str(cue)]
            values = converted(figure, rows[figure].to_numpy(float), metric=metric)
            spread = rows[sd_name].to_numpy(float) if sd_name in rows else np.full(len(rows), np.nan)
            bars = 1.96 * np.nan_to_num(converted(figure, spread, metric=metric))
            axes.errorbar(
                rows["throw"], values, yerr=bars, fmt="none", ecolor=mark.colour, elinewidth=0.9, alpha=0.55
            )
            axes.plot(rows["throw"], values, linestyle="none", label=str(cue), **marker_of(mark))
            if np.isfinite(values).any():
                mean, dash = float(np.mean(values[np.isfinite(values)])), "-" if mark.filled else (0, (5, 3))
                axes.axhline(mean, color=mark.colour, lw=1, ls=dash, alpha=0.7)
        _shade_blocks(axes, throws)
        axes.set_xlabel("Throw, in the order thrown")
        axes.set_ylabel(axis_label(figure, metric=metric))
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        legend_above(axes)
        return svg_of(chart)


def break_chart(throws: pd.DataFrame, marks: Mapping[str, CueMark], metric: bool = False) -> str:
    """Horizontal against induced vertical break of one athlete's pitch, with each cue's mean as a cross.

    The glove side is to the right for left- and right-handers alike.
    """
    across, up = "horizontal_break_in", "induced_vertical_break_in"
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(4.6, 4.2)
        axes.axhline(0, color="#b8b4aa", lw=0.8)
        axes.axvline(0, color="#b8b4aa", lw=0.8)
        for cue, rows in throws.groupby("cue", sort=False):
            mark = marks[str(cue)]
            x = converted(across, rows[across].to_numpy(float), metric=metric)
            y = converted(up, rows[up].to_numpy(float), metric=metric)
            axes.plot(x, y, linestyle="none", label=str(cue), **marker_of(mark))
            both = np.isfinite(x) & np.isfinite(y)
            if both.sum() > 1:
                axes.plot(x[both].mean(), y[both].mean(), "+", color=mark.colour, ms=17, mew=1.8)
        axes.set_xlabel(axis_label(across, metric=metric))
        axes.set_ylabel(axis_label(up, metric=metric))
        axes.set_aspect("equal", adjustable="datalim")
        axes.margins(0.15)
        legend_above(axes)
        return svg_of(chart)


def marker_of(mark: CueMark) -> dict[str, Any]:
    """How matplotlib draws the mark of a cue."""
    face = mark.colour if mark.filled else "white"
    return {
        "marker": mark.marker,
        "markersize": 6.5,
        "markeredgecolor": mark.colour,
        "markerfacecolor": face,
        "markeredgewidth": 1.5,
    }


def _shade_blocks(axes: Axes, throws: pd.DataFrame) -> None:
    """Faint bands show which throws were one block."""
    if "block" not in throws:
        return
    thrown = [name for name in ("session", "block") if name in throws]  # each session numbers its blocks anew
    of_block = throws[throws["block"].notna() & (throws["block"] != "")]
    spans = of_block.groupby(thrown, sort=False)["throw"].agg(["min", "max"])
    for i, (low, high) in enumerate(spans.itertuples(index=False)):
        if i % 2 == 0:
            axes.axvspan(low - 0.5, high + 0.5, color="#000000", alpha=0.045, lw=0)


def legend_above(axes: Axes) -> None:
    """The legend above the axes, where it hides no throw."""
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2, frameon=False, borderaxespad=0.2)


def blank_chart(width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """An empty chart, for `svg_of`."""
    chart = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasSVG(chart)
    return chart, chart.add_subplot()


def svg_of(chart: Figure) -> str:
    """The chart as an SVG element to put in a page."""
    out = io.StringIO()
    chart.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    return text[text.index("<svg") :]
