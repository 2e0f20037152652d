"""The mean hands of two cues drawn over each other: each wrist and forearm angle in the view that shows it.

Out:  directions in the plane of a drawing, x right and y up; of a right hand (or a mirrored left).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from release.stats.result import Comparison
from release.views.cue_marks import CueMark, cue_marks
from release.views.figures import INK, STYLE, svg_of
from release.views.web import pages

Direction = tuple[float, float]
DASHES = ("-", (0, (4, 2)))  # first and second cue
VIEWS = {
    "wrist_flexion_deg": "Wrist, seen from the thumb's side\npalm above",
    "wrist_deviation_deg": "Wrist, seen from the back of the hand\nthumb to the left",
    "forearm_rotation_deg": "Forearm, seen from the elbow\nline: to the thumb; arrow: the palm faces",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanHand:
    """The mean of a cue's throws by one athlete of one pitch."""

    cue: str
    mark: CueMark
    mean_deg: Mapping[str, float]  # the angles of VIEWS that were measured
    sd_deg: Mapping[str, float]  # of the throws; 0 for one throw


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Two cues in one athlete's throws of one pitch."""

    athlete: str
    pitch: str
    hands: tuple[MeanHand, MeanHand]
    nearest: tuple[Any | None, Any | None]  # the clip of each cue that lies nearest to its mean
    answers: tuple[Comparison, ...]


def mean_hand(clips: Sequence[Any], cue: str, mark: CueMark) -> MeanHand:
    """The mean hand of those clips that carry this cue and are not rejected."""
    found = {key: np.array(pages.values_of(pages.of_cue(clips, cue), key)) for key in VIEWS}
    known = {key: values for key, values in found.items() if len(values)}
    return MeanHand(
        cue=cue,
        mark=mark,
        mean_deg={key: float(values.mean()) for key, values in known.items()},
        sd_deg={key: float(v.std(ddof=1)) if len(v) > 1 else 0.0 for key, v in known.items()},
    )


def nearest_mean(clips: Sequence[Any], hand: MeanHand) -> Any | None:
    """The clip of the hand's cue that lies nearest to its mean; None where no clip has all its angles."""

    def apart_deg(clip: Any) -> float:
        values = [(pages.values_of([clip], key), mean) for key, mean in hand.mean_deg.items()]
        return sum(abs(found[0] - mean) if found else np.inf for found, mean in values)

    nearest = min(pages.of_cue(clips, hand.cue), key=apart_deg, default=None)
    return nearest if nearest is not None and apart_deg(nearest) < np.inf else None


def groups(clips: Sequence[Any], cues: tuple[str, str], answers: Sequence[Comparison]) -> tuple[Group, ...]:
    """Every athlete and pitch that the two cues were compared in, with the mean hands of their throws."""
    marks, found = cue_marks(pages.cue_classes(clips)), []
    for athlete, pitch in dict.fromkeys((one.athlete, one.pitch) for one in answers):
        thrown = [c for c in clips if c.throw]
        own = [c for c in thrown if (c.throw["athlete"], c.throw["pitch"]) == (athlete, pitch)]
        first, second = (mean_hand(own, cue, marks[cue]) for cue in cues)
        found.append(
            Group(
                athlete=athlete,
                pitch=pitch,
                hands=(first, second),
                nearest=(nearest_mean(own, first), nearest_mean(own, second)),
                answers=tuple(one for one in answers if (one.athlete, one.pitch) == (athlete, pitch)),
            )
        )
    return tuple(found)


def direction(key: str, angle_deg: float) -> Direction:
    """Where the hand points in the view of an angle; in that of the forearm's rotation, its thumb's side."""
    turn = np.radians(angle_deg)
    along, across = float(np.cos(turn)), float(np.sin(turn))
    if key == "wrist_flexion_deg":
        return along, across
    return (across, along) if key == "wrist_deviation_deg" else (-across, along)


def chart(group: Group) -> str:
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
