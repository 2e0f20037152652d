"""One pitcher on one page: the state of each pitch, what worked, what could be tried next, what was said.

In:   the pitcher's throws of every session, comparisons, suggestions, notes.
Out:  `PitcherPage`, ready to print; `write.py` prints it as HTML or PDF.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from release.suggest.result import BALL_FIGURES, Option, Suggestion, Target
from release.views.cue_marks import cue_marks
from release.views.figures import angle_by_throw, break_chart
from release.views.report import BREAKS, NO_CUE, charted_angle
from release.views.result import Chart
from release.views.sentences import sentence
from release.views.words import number, words


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionRow:
    """One thing that could be tried next, ready to print."""

    cue: str
    chance_inside: str
    chance_closer: str
    evidence: str
    trial: bool
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PitchPart:
    """One pitch of one pitcher."""

    pitch: str
    state: tuple[str, ...]  # sentences
    wanted: str
    charts: tuple[Chart, ...]
    worked: tuple[str, ...]  # sentences, one a pair of cues that changed something
    needed: str  # which way the hand would have to turn, and by how much
    options: tuple[OptionRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PitcherPage:
    """One pitcher's page."""

    athlete: str
    summary: str
    pitches: tuple[PitchPart, ...]
    notes: tuple[tuple[str, str, str], ...]  # when, kind, text


def build_pitcher_page(
    throws: pd.DataFrame,
    *,
    athlete: str,
    comparisons: pd.DataFrame,
    suggestions: Mapping[str, Suggestion],
    targets: Mapping[str, Target],
    shapes: Mapping[str, tuple[str, ...]],
    notes: Sequence[tuple[str, str, str]] = (),
    metric: bool = False,
) -> PitcherPage:
    """Everything that the pitcher's page prints.

    Args:
        throws: The pitcher's throws in the order thrown over all sessions, columns as in `build_report`
            and `session`; `throw` is renumbered through.
        athlete: The code.
        comparisons: Rows of `release compare` for this pitcher.
        suggestions: By pitch, where a target is set.
        targets: By pitch.
        shapes: By pitch, the words for its usual ball.
        notes: When, kind and text, newest first.
        metric: cm, m and km/h for the reader in place of in, ft and mph.
    """
    throws = throws.assign(
        throw=np.arange(1, len(throws) + 1), cue=throws["cue"].fillna("").replace("", NO_CUE)
    )
    parts = [
        _pitch(
            str(pitch),
            rows,
            comparisons[comparisons["pitch"] == pitch],
            suggestions.get(str(pitch)),
            targets.get(str(pitch)),
            shapes.get(str(pitch), ()),
            metric,
        )
        for pitch, rows in throws.groupby("pitch", sort=False)
    ]
    sessions = throws["session"].nunique() if "session" in throws else 1
    return PitcherPage(
        athlete=athlete,
        summary=f"{len(throws)} throws in {sessions} {'session' if sessions == 1 else 'sessions'}.",
        pitches=tuple(parts),
        notes=tuple(notes),
    )


def _pitch(
    pitch: str,
    rows: pd.DataFrame,
    compared: pd.DataFrame,
    suggestion: Suggestion | None,
    target: Target | None,
    shape: tuple[str, ...],
    metric: bool,
) -> PitchPart:
    pairs = compared.groupby(["cue_a", "cue_b"], sort=False)
    worked = [sentence(pair, metric=metric) for _, pair in pairs if (pair["answer"] == "changed").any()]
    return PitchPart(
        pitch=pitch,
        state=_state(rows, shape, metric),
        wanted="" if target is None else _wanted(target, metric),
        charts=_charts(rows, metric),
        worked=tuple(f"{said.hand} {said.ball}" for said in worked),
        needed="" if suggestion is None else suggestion.why,
        options=() if suggestion is None else tuple(_option(o) for o in suggestion.options),
    )


def _state(rows: pd.DataFrame, shape: tuple[str, ...], metric: bool) -> tuple[str, ...]:
    """The usual hand and ball: mean, and the SD of throws about it."""
    lines = [f"Shape: {' or '.join(shape)}."] if shape else []
    angle = charted_angle(rows, None)
    for figure in ([angle] if angle else []) + [f for f in BALL_FIGURES if f in rows]:
        values = rows[figure].dropna().to_numpy(float)
        if len(values) > 1:
            mean = number(figure, float(values.mean()), metric=metric)
            spread = number(figure, float(values.std(ddof=1)), metric=metric)
            label = words(figure).label.capitalize()
            lines.append(f"{label} {mean}, throws scatter by {spread} (SD of {len(values)}).")
    return tuple(lines)


def _wanted(target: Target, metric: bool) -> str:
    parts = []
    for name, centre, tolerance in zip(BALL_FIGURES, target.centre, target.tolerance, strict=True):
        if np.isfinite(centre):
            wish, give = (number(name, float(v), metric=metric) for v in (centre, tolerance))
            parts.append(f"{words(name).label} {wish} ± {give}")
    return f"Wanted: {', '.join(parts)}."


def _charts(rows: pd.DataFrame, metric: bool) -> tuple[Chart, ...]:
    charts, marks, figure = [], cue_marks(rows["cue"]), charted_angle(rows, None)
    if figure is not None:
        caption = f"{words(figure).label.capitalize()} of each throw over all sessions, by cue."
        charts.append(Chart(svg=angle_by_throw(rows, figure, marks, metric), caption=caption))
    if set(BREAKS) <= set(rows) and rows[BREAKS].notna().all(axis=1).any():
        charts.append(
            Chart(svg=break_chart(rows, marks, metric), caption="Where the ball moved.", square=True)
        )
    return tuple(charts)


def _option(option: Option) -> OptionRow:
    return OptionRow(
        cue=option.cue,
        chance_inside=f"{100 * option.chance_inside:.0f} %",
        chance_closer=f"{100 * option.chance_closer:.0f} %",
        evidence=option.evidence,
        trial=option.is_trial,
        warnings=option.warnings,
    )
