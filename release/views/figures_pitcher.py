"""Charts of a pitcher's page as SVG text: break with the shape words and the wanted window, and the season.

Shape, fill and line style say what colour says, so that every chart reads in grey.
"""

from collections.abc import Mapping, Sequence

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle
from matplotlib.ticker import MaxNLocator

from release.stats.result import SessionMean
from release.suggest.result import Shape, Target
from release.views.cue_marks import CueMark
from release.views.figures import INK, STYLE, blank_chart, legend_above, marker_of, svg_of
from release.views.words import axis_label, converted

ACROSS, UP = "horizontal_break_in", "induced_vertical_break_in"
BOX = "#a9a498"
USUAL_ARM_ANGLE_DEG = 45.0  # that the boxes are stated for
FAR_IN = 60.0  # an open bound is drawn to here
MOST_NAMES = 20  # of sessions below a chart, that do not run into each other


def shape_chart(
    throws: pd.DataFrame,
    marks: Mapping[str, CueMark],
    shapes: Sequence[Shape],
    target: Target | None,
    arm_angle_deg: float | None,
    metric: bool = False,
) -> str:
    """Break of one pitch, the boxes of the shape words behind it and the wanted window as a dashed frame.

    Args:
        throws: Rows of one athlete and pitch.
        marks: How each cue is drawn.
        shapes: The words whose boxes are drawn.
        target: The wanted ball; None where none is set.
        arm_angle_deg: Turns the boxes, which are stated as from 45 degrees; None leaves them.
        metric: cm for the reader in place of in.
    """
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(5.2, 4.6)
        axes.axhline(0, color=BOX, lw=0.6, zorder=0)
        axes.axvline(0, color=BOX, lw=0.6, zorder=0)
        for cue, rows in throws.groupby("cue", sort=False):
            x, y = (converted(name, rows[name].to_numpy(float), metric=metric) for name in (ACROSS, UP))
            axes.plot(x, y, linestyle="none", label=str(cue), **marker_of(marks[str(cue)]))
        if target is not None:
            _window(axes, target, metric)
        _square_limits(axes)
        _boxes(axes, shapes, arm_angle_deg, metric)
        axes.set_xlabel(axis_label(ACROSS, metric=metric))
        axes.set_ylabel(axis_label(UP, metric=metric))
        legend_above(axes)
        return svg_of(chart)


def _square_limits(axes: Axes) -> None:
    """As wide as high, round everything drawn, so that an inch is an inch either way."""
    axes.margins(0.1)
    ends = np.array([axes.get_xlim(), axes.get_ylim()])
    half = max(float(np.ptp(ends, axis=1).max()) / 2, 4.0)
    x, y = ends.mean(axis=1)
    axes.set(xlim=(x - half, x + half), ylim=(y - half, y + half), aspect="equal")


def _window(axes: Axes, target: Target, metric: bool) -> None:
    """The wanted window; a figure without a wish spans the chart."""
    centre, give = (
        converted(ACROSS, np.array([v[2], v[1]]), metric=metric) for v in (target.centre, target.tolerance)
    )
    if np.isfinite(centre).all():
        low, size = centre - give, 2 * give
        frame = Rectangle((low[0], low[1]), size[0], size[1], fill=False, ec=INK, lw=1.4, ls=(0, (4, 2)))
        axes.add_patch(frame).set_label("wanted")
        axes.plot(*centre, "x", color=INK, ms=7)
        return
    for value, spread, draw in ((centre[0], give[0], axes.axvspan), (centre[1], give[1], axes.axhspan)):
        if np.isfinite(value):
            draw(value - spread, value + spread, fc="none", ec=INK, lw=1.2, ls="--", label="wanted")


def _boxes(axes: Axes, shapes: Sequence[Shape], arm_angle_deg: float | None, metric: bool) -> None:
    x_seen, y_seen = axes.get_xlim(), axes.get_ylim()
    tip = 0.0 if arm_angle_deg is None else np.radians(USUAL_ARM_ANGLE_DEG - arm_angle_deg)
    for shape in shapes:
        (x0, x1), (y0, y1) = (
            np.clip(bound, -FAR_IN, FAR_IN)
            for bound in (shape.horizontal_break_in, shape.induced_vertical_break_in)
        )
        across, up = np.array([x0, x1, x1, x0]), np.array([y0, y0, y1, y1])
        turned = [across * np.cos(tip) - up * np.sin(tip), up * np.cos(tip) + across * np.sin(tip)]
        corners = np.column_stack([converted(ACROSS, v, metric=metric) for v in turned])
        axes.add_patch(Polygon(corners, fill=False, ec=BOX, lw=0.8, zorder=0))
        part = np.clip(corners, [x_seen[0], y_seen[0]], [x_seen[1], y_seen[1]])
        if (np.ptp(part, axis=0) > [0.15 * np.ptp(x_seen), 0.06 * np.ptp(y_seen)]).all():
            place = part.mean(axis=0)
            axes.text(
                place[0],
                place[1],
                shape.name,
                fontsize=8,
                color="#6b675d",
                ha="center",
                va="center",
                zorder=0.5,
                bbox={"fc": "white", "ec": "none", "pad": 1},  # no line runs through the word
            )
    axes.set(xlim=x_seen, ylim=y_seen)


def distance_chart(throws: pd.DataFrame, distances: Sequence[float], marks: Mapping[str, CueMark]) -> str:
    """How far each throw was from the wanted ball, in the order thrown, with the window's edge.

    Args:
        throws: Rows of one athlete and pitch.
        distances: One a row, in tolerances; NaN leaves a gap.
        marks: How each cue is drawn.
    """
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(7.2, 2.9)
        for cue, rows in throws.assign(away=distances).groupby("cue", sort=False):
            axes.plot(rows["throw"], rows["away"], ls="none", label=str(cue), **marker_of(marks[str(cue)]))
        axes.axhline(1, color=INK, lw=1.2, ls=(0, (4, 2)), label="edge of the wanted window")
        axes.set_ylim(bottom=0)
        axes.set_xlabel("Throw, in the order thrown")
        axes.set_ylabel("From the wanted ball,\ntolerances")
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        legend_above(axes)
        return svg_of(chart)


def season_chart(
    means: Sequence[SessionMean],
    figure: str,
    sessions: Sequence[str],
    marks: Mapping[str, CueMark],
    usual: str,
    metric: bool = False,
) -> str:
    """Each session's mean under each cue with its 95 % bar; the usual throws joined by a line.

    Args:
        means: As `stats.retention.season` gives them.
        figure: The figure drawn.
        sessions: The name of each session, by number.
        marks: How each cue is drawn, by its name on the page.
        usual: What throws made as usual are called.
        metric: For lengths and speeds, the reader's units.
    """
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(7.2, 3.0)
        cues = list(dict.fromkeys(one.cue for one in means))
        beside = min(0.12, 0.8 / len(cues))  # the cues of one session do not reach the next
        for k, cue in enumerate(cues):
            rows = [one for one in means if one.cue == cue]
            at = np.array([one.session for one in rows]) + beside * (k - (len(cues) - 1) / 2)
            value, low, high = (
                converted(figure, np.array([getattr(one, end) for one in rows]), metric=metric)
                for end in ("mean", "low", "high")
            )
            mark = marks[cue or usual]
            axes.errorbar(
                at,
                value,
                yerr=np.nan_to_num([value - low, high - value]),
                fmt="none",
                ecolor=mark.colour,
                lw=1,
            )
            line = "-" if cue == "" else "none"
            axes.plot(at, value, ls=line, lw=1, color=mark.colour, label=cue or usual, **marker_of(mark))
        every = -(-len(sessions) // MOST_NAMES)
        turned = {"rotation": 40, "ha": "right", "rotation_mode": "anchor"} if len(sessions) > 6 else {}
        axes.set_xticks(range(0, len(sessions), every), sessions[::every], **turned)
        axes.set_xlim(-0.6, len(sessions) - 0.4)
        axes.set_xlabel("Session, in order")
        axes.set_ylabel(axis_label(figure, metric=metric))
        legend_above(axes)
        return svg_of(chart)
