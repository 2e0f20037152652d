"""One pitcher on one page: the state of each pitch, what worked, what could be tried next, what was said.

In:   the pitcher's throws of every session, comparisons, advice, the season, notes.
Out:  `PitcherPage`, ready to print; `write.py` prints it as HTML or PDF.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from release.stats.result import SessionMean
from release.suggest.result import BALL_FIGURES, NOTHING_SAID, Advice, Option, Shape, Target, share_clauses
from release.views.cue_marks import CueMark, cue_marks
from release.views.figures import angle_by_throw
from release.views.figures_pitcher import distance_chart, season_chart, shape_chart
from release.views.report import BREAKS, charted_angle
from release.views.result import Chart, Photo
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
    idle: tuple[str, ...]  # likewise, of those that made no change worth having
    needed: str  # which way the hand would have to turn, and by how much
    options: tuple[OptionRow, ...]
    planning: tuple[str, ...]
    lasting: tuple[str, ...]  # what has lasted without the cue being said
    photos: tuple[Photo, ...]  # of the grip


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """One pitch over sessions, as the study has it."""

    figure: str
    sessions: tuple[str, ...]  # names, in order
    means: tuple[SessionMean, ...]
    lasting: tuple[str, ...]


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
    advice: Mapping[str, Advice],
    shapes: Sequence[Shape] = (),
    seasons: Mapping[str, Season] | None = None,
    notes: Sequence[tuple[str, str, str]] = (),
    photos: Sequence[Photo] = (),
    metric: bool = False,
) -> PitcherPage:
    """Everything that the pitcher's page prints.

    Args:
        throws: The pitcher's throws in the order thrown over all sessions, columns as in `build_report`
            and `session`; `throw` is renumbered through.
        athlete: The code.
        comparisons: Rows of `release compare` for this pitcher.
        advice: By pitch, where it was asked for.
        shapes: The facility's shape words, whose boxes are drawn on the break chart.
        seasons: By pitch, where there are several sessions.
        notes: When, kind and text, newest first.
        photos: Of the grip; those of pitches not thrown are left out.
        metric: cm, m and km/h for the reader in place of in, ft and mph.
    """
    throws = throws.assign(
        throw=np.arange(1, len(throws) + 1), cue=throws["cue"].fillna("").replace("", NOTHING_SAID)
    )
    parts = [
        _pitch(
            str(pitch),
            rows,
            comparisons[comparisons["pitch"] == pitch],
            advice.get(str(pitch)),
            shapes,
            (seasons or {}).get(str(pitch)),
            tuple(photo for photo in photos if photo.pitch == pitch),
            metric,
        )
        for pitch, rows in throws.groupby("pitch", sort=False)
    ]
    sessions = throws["session"].nunique() if "session" in throws else 1
    return PitcherPage(
        athlete=athlete,
        summary=f"{len(throws)} throws in {sessions} {'session' if sessions == 1 else 'sessions'}.",
        pitches=tuple(sorted(parts, key=lambda part: part.pitch not in advice)),
        notes=tuple(notes),
    )


def _pitch(
    pitch: str,
    rows: pd.DataFrame,
    compared: pd.DataFrame,
    advice: Advice | None,
    shapes: Sequence[Shape],
    season: Season | None,
    photos: tuple[Photo, ...],
    metric: bool,
) -> PitchPart:
    pairs = [pair for _, pair in compared.groupby(["cue_a", "cue_b"], sort=False)]
    changed = [sentence(p, metric=metric) for p in pairs if (p["answer"] == "changed").any()]
    idle = [
        sentence(p, metric=metric)
        for p in pairs
        if (p["answer"] == "no meaningful change").any() and not (p["answer"] == "changed").any()
    ]
    suggestion, target = (advice.suggestion, advice.target) if advice else (None, None)
    marks = cue_marks(rows["cue"])
    return PitchPart(
        pitch=pitch,
        state=_state(rows, advice, metric),
        wanted="" if target is None else _wanted(target, metric),
        charts=(
            *_charts(rows, marks, shapes, advice, metric),
            *_season(season, advice, marks, metric),
            *_distances(rows, marks, advice),
        ),
        worked=tuple(f"{said.hand} {said.ball}" for said in changed),
        idle=tuple(f"{said.hand} {said.ball}" for said in idle),
        needed="" if suggestion is None else suggestion.why,
        options=() if suggestion is None else tuple(_option(o) for o in suggestion.options),
        planning=() if advice is None else advice.planning,
        lasting=() if season is None else season.lasting,
        photos=photos,
    )


def _state(rows: pd.DataFrame, advice: Advice | None, metric: bool) -> tuple[str, ...]:
    """The usual hand and ball: mean, and the SD of throws about it; how far from the wanted ball."""
    lines = [f"Shape of the usual ball: {' or '.join(advice.shape)}."] if advice and advice.shape else []
    angle = charted_angle(rows, None)
    for figure in ([angle] if angle else []) + [f for f in BALL_FIGURES if f in rows]:
        values = rows[figure].dropna().to_numpy(float)
        if len(values) > 1:
            mean = number(figure, float(values.mean()), metric=metric)
            spread = number(figure, float(values.std(ddof=1)), metric=metric)
            label = words(figure).label.capitalize()
            lines.append(f"{label} {mean}, throws scatter by {spread} (SD of {len(values)}).")
    if advice and advice.grip_changes:
        lines.append(f"Grip changed: {'; '.join(advice.grip_changes)}.")
    return tuple(lines + (_distance(advice) if advice else []))


def _distance(advice: Advice) -> list[str]:
    lines = []
    if np.isfinite(advice.usual_distance):
        lines.append(
            f"The usual ball is {advice.usual_distance:.1f} tolerances from the wanted one; "
            f"{advice.inside} of {advice.measured} throws were inside the window."
        )
    slope, low, high = advice.trend
    if np.isfinite(slope) and (low > 0 or high < 0):
        way = "closer" if high < 0 else "further away"
        lines.append(f"From throw to throw it comes {way}, by {abs(slope):.2f} tolerances a throw.")
    shares = share_clauses(advice.own_shares, lambda figure: words(figure).label, " %")
    return lines + [f"{clause[0].upper()}{clause[1:]}." for clause in shares]


def _wanted(target: Target, metric: bool) -> str:
    parts = []
    for name, centre, tolerance in zip(BALL_FIGURES, target.centre, target.tolerance, strict=True):
        if np.isfinite(centre):
            wish, give = (number(name, float(v), metric=metric) for v in (centre, tolerance))
            parts.append(f"{words(name).label} {wish} ± {give}")
    return f"Wanted: {', '.join(parts)}."


def _charts(
    rows: pd.DataFrame,
    marks: Mapping[str, CueMark],
    shapes: Sequence[Shape],
    advice: Advice | None,
    metric: bool,
) -> tuple[Chart, ...]:
    charts, figure = [], charted_angle(rows, None)
    target, arm = (advice.target, advice.arm_angle_deg) if advice else (None, None)
    shapes = shapes if advice else ()
    if figure is not None:
        caption = f"{words(figure).label.capitalize()} of each throw over all sessions, by cue."
        charts.append(Chart(svg=angle_by_throw(rows, figure, marks, metric), caption=caption))
    if set(BREAKS) <= set(rows) and rows[BREAKS].notna().all(axis=1).any():
        caption = "Where the ball moved." + (
            " The boxes are the shape words (common practice, no source); a ball may lie in a box and still "
            "be too fast or too slow for its word."
            if shapes
            else ""
        )
        charts.append(
            Chart(svg=shape_chart(rows, marks, shapes, target, arm, metric), caption=caption, square=True)
        )
    return tuple(charts)


def _distances(rows: pd.DataFrame, marks: Mapping[str, CueMark], advice: Advice | None) -> tuple[Chart, ...]:
    if advice is None or not np.isfinite(advice.distances).any():
        return ()
    caption = "How far each ball was from the wanted one, its worst figure in tolerances."
    return (Chart(svg=distance_chart(rows, advice.distances, marks), caption=caption, on_paper=False),)


def _season(
    season: Season | None, advice: Advice | None, marks: Mapping[str, CueMark], metric: bool
) -> tuple[Chart, ...]:
    if season is None:
        return ()
    usual = (advice.usual if advice else "") or NOTHING_SAID
    known = dict(marks)
    for one in season.means:  # a label of what was tried in the grip is no cue of the sheet
        known.setdefault(one.cue or usual, CueMark(colour="#4d4d4d", marker="X", filled=False))
    svg = season_chart(season.means, season.figure, season.sessions, known, usual, metric)
    caption = (
        f"{words(season.figure).label.capitalize()}: the mean of each session. Described, not drawn: a moved "
        "camera or the time of year can look the same."
    )
    return (Chart(svg=svg, caption=caption),)


def _option(option: Option) -> OptionRow:
    return OptionRow(
        cue=option.cue,
        chance_inside=f"{100 * option.chance_inside:.0f} %",
        chance_closer=f"{100 * option.chance_closer:.0f} %",
        evidence=option.evidence,
        trial=option.is_trial,
        warnings=option.warnings,
    )
