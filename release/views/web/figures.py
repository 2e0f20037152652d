"""The charts of the page: hand against ball, and the mean hands of two cues drawn over each other.

Out:  SVG text. Directions lie in the plane of a drawing, x right, y up; of a right (or mirrored left) hand.
"""

from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from release.views.cue_marks import CueMark, cue_marks
from release.views.figures import INK, STYLE, blank_chart, legend_above, marker_of, svg_of
from release.views.web import pages
from release.views.web.hand_and_ball import HandAndBall
from release.views.web.mean_hands import VIEWS, Group, MeanHand
from release.views.words import axis_label, converted

Direction = tuple[float, float]
DASHES = ("-", (0, (4, 2)))  # first and second cue


def hand_and_ball_chart(shown: HandAndBall) -> str:
    """Every throw, and each athlete's own least-squares line of a pitch with three throws or more."""
    with mpl.rc_context(STYLE):
        canvas, axes = blank_chart(7.2, 4.4)
        marks = cue_marks(row[0] for row in shown.rows)
        for athlete, mark in marks.items():
            own = [row for row in shown.rows if row[0] == athlete]
            x = np.array([row[3] for row in own])
            y = converted(shown.ball, np.array([row[5] for row in own]), metric=False)
            spread = 1.96 * np.nan_to_num([row[4] for row in own])
            axes.errorbar(x, y, xerr=spread, fmt="none", ecolor=mark.colour, elinewidth=0.8, alpha=0.45)
            axes.plot(x, y, linestyle="none", label=athlete, **marker_of(mark))
            for pitch in dict.fromkeys(row[1] for row in own):
                of_pitch = np.array([row[1] == pitch for row in own])
                _line(axes, x[of_pitch], y[of_pitch], mark)
        axes.set_xlabel(axis_label(f"{shown.angle}_deg", metric=False))
        axes.set_ylabel(axis_label(shown.ball, metric=False))
        if marks:
            legend_above(axes)
        return svg_of(canvas)


def _line(axes: Axes, x: NDArray[np.float64], y: NDArray[np.float64], mark: CueMark) -> None:
    if len(x) > 2 and np.ptp(x) > 0:
        slope, ends = np.cov(x, y)[0, 1] / np.var(x, ddof=1), np.array([x.min(), x.max()])
        dash = "-" if mark.filled else (0, (5, 3))
        axes.plot(ends, y.mean() + slope * (ends - x.mean()), color=mark.colour, lw=1.4, ls=dash)


def direction(key: str, angle_deg: float) -> Direction:
    """Where the hand points in the view of an angle; in that of the forearm's rotation, its thumb's side."""
    turn = np.radians(angle_deg)
    along, across = float(np.cos(turn)), float(np.sin(turn))
    if key == "wrist_flexion_deg":
        return along, across
    return (across, along) if key == "wrist_deviation_deg" else (-across, along)


def mean_hands_chart(group: Group) -> str:
    """Both hands in every view, with the difference as it was analysed."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(9.6, 3.6), layout="constrained")
        FigureCanvasSVG(figure)
        of_figure = {one.figure: pages.compared(one) for one in group.answers}
        for axes, (key, title) in zip(figure.subplots(1, len(VIEWS)), VIEWS.items(), strict=True):
            axes.set(xlim=(-1.3, 1.3), ylim=(-1.6, 1.1), aspect="equal")
            axes.axis("off")
            axes.set_title(title, fontsize=9)
            _forearm(axes, key)
            for hand, dash in zip(group.hands, DASHES, strict=True):
                if key in hand.mean_deg:
                    _hand(axes, key, hand, dash)
            one = of_figure.get(key)
            told = f"{one.difference} ({one.interval})" if one else "difference: not known"
            axes.text(0, -1.55, told, ha="center", fontsize=11, fontweight="bold")
        drawn = [
            Line2D([], [], color=hand.mark.colour, lw=3, ls=dash, label=f"“{hand.cue}”")
            for hand, dash in zip(group.hands, DASHES, strict=True)
        ]
        figure.legend(handles=drawn, loc="outside upper center", ncols=2, frameon=False)
        return svg_of(figure)


def _forearm(axes: Axes, key: str) -> None:
    if key == "forearm_rotation_deg":
        axes.plot(0, 0, "o", color=INK, ms=14, alpha=0.35)
        return
    x, y = direction(key, 0.0)
    axes.plot([-1.2 * x, 0], [-1.2 * y, 0], color=INK, lw=7, alpha=0.35, solid_capstyle="round")
    axes.plot([0, x], [0, y], color=INK, lw=0.8, ls=":")


def _hand(axes: Axes, key: str, hand: MeanHand, dash: Any) -> None:
    """The mean as a line, the scatter of the throws as a fan."""
    mean, sd, colour = hand.mean_deg[key], hand.sd_deg[key], hand.mark.colour
    fan = np.array([direction(key, mean + step * sd) for step in np.linspace(-1, 1, 15)])
    axes.fill(*np.vstack([[0, 0], 0.95 * fan]).T, color=colour, alpha=0.15, lw=0)
    x, y = direction(key, mean)
    axes.plot([0, x], [0, y], color=colour, lw=3, ls=dash)
    if key == "forearm_rotation_deg":  # the palm faces a quarter turn further round
        axes.annotate(
            "", (-0.8 * y, 0.8 * x), (0, 0), arrowprops={"arrowstyle": "->", "color": colour, "lw": 2}
        )
