"""Charts of the study as SVG text: throws by cue, angle against break, a live session, a cue over athletes.

Shape, fill and line style say what colour says, so that every chart reads in grey.
"""

from collections.abc import Mapping, Sequence

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from release.stats.result import Comparison, LiveStep, Pooled, Relation, more_throws_words
from release.views.cue_marks import CueMark
from release.views.figures import INK, STYLE, blank_chart, legend_above, marker_of, svg_of
from release.views.words import axis_label, number, span

LINE_STYLES = ("-", "--", "-.", ":")
HATCH = "#a8a499"


def throws_and_verdict(
    throws: pd.DataFrame, one: Comparison, marks: Mapping[str, CueMark], metric: bool = False
) -> str:
    """Each throw as a dot with its 95 % interval, each cue's mean as a line, the verdict above.

    Args:
        throws: Rows of one athlete and pitch, in the order thrown.
        one: The comparison to be shown.
        marks: How each cue is drawn.
        metric: Not used for angles; for lengths and speeds, units of the verdict.
    """
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(7.2, 3.2)
        for cue in (one.cue_a, one.cue_b):
            rows = throws[throws["cue"] == cue]
            value = rows[one.figure].to_numpy(float)
            name = f"{one.figure}_sd"
            bars = 1.96 * np.nan_to_num(rows[name].to_numpy(float)) if name in rows else np.zeros(len(rows))
            mark = marks[cue]
            axes.errorbar(
                rows["throw"], value, yerr=bars, fmt="none", ecolor=mark.colour, elinewidth=0.9, alpha=0.55
            )
            axes.plot(rows["throw"], value, linestyle="none", label=cue, **marker_of(mark))
            if np.isfinite(value).any():
                axes.axhline(np.nanmean(value), color=mark.colour, lw=1.2, ls="-" if mark.filled else "--")
        axes.set_xlabel("Throw, in the order thrown")
        axes.set_ylabel(axis_label(one.figure, metric=False))
        legend_above(axes)
        chart.suptitle(verdict(one, metric), x=0.01, ha="left", fontsize=9.5)
        return svg_of(chart)


def verdict(one: Comparison, metric: bool = False) -> str:
    """The answer in one line."""
    if one.difference is None:
        return f"{one.answer}: {one.why}"
    low = -np.inf if one.low is None else one.low
    high = np.inf if one.high is None else one.high
    size = number(one.figure, one.difference, metric=metric, signed=True)
    more = f", {more_throws_words(one.more_throws)} would likely settle it" if one.more_throws else ""
    return f"{one.answer}: {size}, {span(one.figure, low, high, metric=metric, signed=True)}{more}"


def angle_against_ball(throws: pd.DataFrame, relation: Relation) -> str:
    """Hand against ball, every athlete with a mark and a line of their own; a cross at each athlete's mean.

    Args:
        throws: Throws of one pitch.
        relation: What was found on them.
    """
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(5.4, 4.2)
        few = len(relation.own) <= 8
        for i, (athlete, hand, ball, slope) in enumerate(relation.own):
            rows = throws[throws["athlete"] == athlete]
            x = rows[relation.hand].to_numpy(float)
            grey = str(0.15 + 0.5 * (i % 4) / 3)
            mark = "os^Dv<>P"[i % 8]
            axes.plot(
                x,
                rows[relation.ball],
                mark,
                ms=4,
                mfc="white" if i % 2 else grey,
                mec=grey,
                label=athlete if few else None,
            )
            if np.isfinite(slope) and np.isfinite(x).any():
                ends = np.array([np.nanmin(x), np.nanmax(x)])
                axes.plot(
                    ends, ball + slope * (ends - hand), color=grey, lw=1.3, ls=LINE_STYLES[(i + i // 4) % 4]
                )
            axes.plot(hand, ball, "x", color=INK, ms=7, mew=1.6)
        axes.set_xlabel(axis_label(relation.hand, metric=False))
        axes.set_ylabel(axis_label(relation.ball, metric=False))
        if few:
            legend_above(axes)
        return svg_of(chart)


def live_sequence(steps: Sequence[LiveStep], figure: str, worth: float) -> str:
    """The confidence sequence narrowing by throw, with the band of changes too small to be worth having."""
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(6.2, 3.2)
        at = np.array([s.throws for s in steps])
        middle = np.array([s.estimate for s in steps])
        reach = 2.5 * max(worth, float(np.max(np.abs(middle), initial=0.0)))
        low, high = (np.clip([getattr(s, end) for s in steps], -reach, reach) for end in ("low", "high"))
        axes.axhspan(
            -worth, worth, fc="none", ec=HATCH, hatch="///", lw=0.8, label="too small to be worth having"
        )
        axes.fill_between(at, low, high, step="mid", color="#12355b", alpha=0.18, label="95 % at every look")
        axes.plot(at, middle, "o-", color="#12355b", ms=4, lw=1.2, label="difference so far")
        axes.axhline(0, color=INK, lw=0.8)
        settled = next((s for s in steps if s.answer != "cannot tell yet"), None)
        if settled:
            axes.axvline(settled.throws, color=INK, lw=1, ls=":")
            axes.annotate(f" {settled.answer}", (settled.throws, reach), va="top", fontsize=9)
        axes.set_xlabel("Throws so far")
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_ylabel("Second cue less first\n" + axis_label(figure, metric=False).split("\n")[0])
        axes.set_ylim(-reach, reach)
        legend_above(axes)
        return svg_of(chart)


def cue_over_athletes(found: Pooled, figure: str) -> str:
    """Each athlete's own estimate, the same drawn toward the pooled one, and that one with its interval."""
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(6.2, 1.4 + 0.3 * len(found.athletes))
        place = np.arange(len(found.athletes), 0, -1)
        own, se = np.array(found.own), np.array(found.own_se)
        axes.errorbar(own, place, xerr=1.96 * se, fmt="o", color="#12355b", ms=5, lw=1, label="own")
        axes.plot(found.shrunk, place, "D", mfc="white", mec="#8c2f52", ms=6, label="with the others' help")
        axes.errorbar(
            found.pooled,
            0,
            xerr=[[found.pooled - found.low], [found.high - found.pooled]],
            fmt="s",
            color=INK,
            ms=7,
            lw=2,
            label="pooled",
        )
        axes.axvline(0, color="#b8b4aa", lw=0.9)
        axes.set_yticks(np.append(place, 0), [*found.athletes, "all"])
        axes.set_xlabel("Second cue less first: " + axis_label(figure, metric=False).replace("\n", " "))
        legend_above(axes)
        chart.suptitle(found.sentence, x=0.01, ha="left", fontsize=9.5)
        return svg_of(chart)
