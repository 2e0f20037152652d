"""A session's report as ready-to-print values, from tables and pictures.

In:   a tidy table of throws (`athlete, pitch, throw, cue, block`, figures, `FIGURE_sd`), comparisons as
      `release compare` writes them, the release frame of each throw, what was refused.
Out:  `Report`; `write.py` prints it.
"""

from collections.abc import Mapping, Sequence

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from release.jpeg import jpeg_of
from release.orientation.result import ANGLES, FIELD_ANGLES
from release.views.cue_marks import CueMark, cue_marks
from release.views.faces import hide_faces
from release.views.figures import angle_by_throw, break_chart
from release.views.overlay import arm_close_up, draw_arm
from release.views.result import (
    AthletePart,
    Chart,
    ComparisonRow,
    CueGroup,
    Refusal,
    ReleasePicture,
    Report,
    Sentence,
    ThrowCard,
)
from release.views.sentences import sentence
from release.views.words import from_both_phones, number, span, words

CARD_WIDTH_PX = 420
JPEG_QUALITY = 82
BREAKS = ["horizontal_break_in", "induced_vertical_break_in"]
NO_CUE = "no cue"


def build_report(
    throws: pd.DataFrame,
    *,
    title: str,
    comparisons: pd.DataFrame | None = None,
    pictures: Sequence[ReleasePicture] = (),
    refusals: Sequence[Refusal] = (),
    notes: Sequence[str] = (),
    session_svg: str | None = None,
    facts: Mapping[str, str] | None = None,
    main_outcome: str | None = None,
    metric: bool = False,
) -> Report:
    """Everything that the report page prints.

    Args:
        throws: One row a throw. Figures are columns named with their unit; `FIGURE_sd` is optional.
        title: What the page is called.
        comparisons: Columns `athlete, pitch, figure, cue_a, cue_b, n_a, n_b, difference, low, high, p,
            answer, more_throws`; `difference` is cue_b less cue_a. None where nothing was compared.
        pictures: The release frame of each throw that has one.
        refusals: What could not be measured or linked, and why.
        notes: What limits the session as a whole.
        session_svg: The picture of how clips, sheet and flight file were linked.
        facts: Versions and settings, printed at the end.
        main_outcome: The figure named before the session.
        metric: cm, m and km/h for the reader in place of in, ft and mph.
    """
    throws = throws.assign(cue=throws["cue"].fillna("").replace("", NO_CUE)).sort_values(["athlete", "throw"])
    compared = _comparable(comparisons)
    shown = {(p.athlete, p.throw): p for p in pictures}
    parts = [
        _athlete(str(name), rows, compared[compared["athlete"] == name], shown, main_outcome, metric)
        for name, rows in throws.groupby("athlete")
    ]
    caption = "How clips, throw sheet and flight file were matched; doubtful matches are marked."
    return Report(
        title=title,
        summary=_summary(throws),
        athletes=tuple(parts),
        session_picture=None if session_svg is None else Chart(svg=session_svg, caption=caption),
        refusals=tuple(refusals),
        notes=tuple(notes),
        facts=tuple((facts or {}).items()),
    )


def _comparable(comparisons: pd.DataFrame | None) -> pd.DataFrame:
    """Rows with two cues and a difference, numbers as numbers."""
    if comparisons is None or comparisons.empty:
        return pd.DataFrame(columns=["athlete"])
    numbers = ["difference", "low", "high", "p", "more_throws"]
    rows = comparisons.assign(**{c: pd.to_numeric(comparisons[c], errors="coerce") for c in numbers})
    return rows[rows["difference"].notna() & (rows["cue_b"].fillna("") != "")]


def _summary(throws: pd.DataFrame) -> str:
    counts = throws.groupby("athlete").size()
    each = ", ".join(f"{name}: {count}" for name, count in counts.items())
    return f"{len(throws)} throws of {len(counts)} {'athlete' if len(counts) == 1 else 'athletes'} ({each})."


def _athlete(
    name: str,
    rows: pd.DataFrame,
    compared: pd.DataFrame,
    pictures: Mapping[tuple[str, int], ReleasePicture],
    main_outcome: str | None,
    metric: bool,
) -> AthletePart:
    marks = cue_marks(rows["cue"])
    charts, groups = [], []
    for pitch, of_pitch in rows.groupby("pitch", sort=False):
        charts += _charts(str(pitch), of_pitch, marks, main_outcome, metric)
        for cue, of_cue in of_pitch.groupby("cue", sort=False):
            cards = [
                _card(row, pictures.get((name, int(row["throw"]))), metric) for _, row in of_cue.iterrows()
            ]
            groups.append(
                CueGroup(pitch=str(pitch), cue=str(cue), colour=marks[str(cue)].colour, cards=tuple(cards))
            )
    return AthletePart(
        athlete=name,
        sentences=_sentences(compared, main_outcome, metric),
        groups=tuple(groups),
        charts=tuple(charts),
        comparisons=tuple(_comparison(r, main_outcome, metric) for _, r in compared.iterrows()),
    )


def _sentences(compared: pd.DataFrame, main_outcome: str | None, metric: bool) -> tuple[Sentence, ...]:
    if compared.empty:
        return ()
    pairs = compared.groupby(["pitch", "cue_a", "cue_b"], sort=False)
    return tuple(sentence(pair, main_outcome=main_outcome, metric=metric) for _, pair in pairs)


def _charts(
    pitch: str, rows: pd.DataFrame, marks: Mapping[str, CueMark], main_outcome: str | None, metric: bool
) -> list[Chart]:
    charts = []
    figure = charted_angle(rows, main_outcome)
    if figure is not None:
        caption = f"{pitch.capitalize()}: {words(figure).label} of each throw, with its 95 % interval; " + (
            "the lines are the means of the cues, shaded bands the blocks."
        )
        charts.append(Chart(svg=angle_by_throw(rows, figure, marks, metric), caption=caption))
    if set(BREAKS) <= set(rows) and rows[BREAKS].notna().all(axis=1).any():
        caption = f"{pitch.capitalize()}: where the ball moved; a cross marks the mean of each cue."
        charts.append(Chart(svg=break_chart(rows, marks, metric), caption=caption, square=True))
    return charts


def charted_angle(rows: pd.DataFrame, main_outcome: str | None) -> str | None:
    """The angle that is drawn over the throws: the main outcome if an angle, else the first one measured."""
    order = [main_outcome] if main_outcome and main_outcome.endswith("_deg") else []
    order += ["forearm_rotation_deg", "palm_turn_deg", *(f"{name}_deg" for name in ANGLES)]
    return next((f for f in order if f in rows and rows[f].notna().any()), None)


def _card(row: pd.Series, picture: ReleasePicture | None, metric: bool) -> ThrowCard:
    throw = int(row["throw"])
    angles = [(words(f"{a}_deg").label, _with_interval(row, f"{a}_deg", metric)) for a in ANGLES]
    hidden = {words(f"{a}_deg").label for a in FIELD_ANGLES}  # shown only where measured
    angles = [(label, text) for label, text in angles if text or label not in hidden]
    return ThrowCard(
        title=f"Throw {throw}",
        alt=f"Release frame of throw {throw}, the throwing arm drawn, everything but the arm made coarse",
        jpeg=b"" if picture is None else _jpeg(_drawn(picture)),
        angles=tuple((label, text or "not measured") for label, text in angles),
        both=from_both_phones(*(_name(row, column) for column in ("clip_name", "second_clip"))),
        flags=() if picture is None else picture.flags,
    )


def _name(row: pd.Series, column: str) -> str | None:
    name = row.get(column)
    return name if isinstance(name, str) and name else None


def _with_interval(row: pd.Series, figure: str, metric: bool) -> str:
    value = float(row.get(figure, np.nan))
    if not np.isfinite(value):
        return ""
    sd = float(row.get(f"{figure}_sd", np.nan))
    interval = (
        f" ({span(figure, value - 1.96 * sd, value + 1.96 * sd, metric=metric)})" if np.isfinite(sd) else ""
    )
    return number(figure, value, metric=metric) + interval


def _drawn(picture: ReleasePicture) -> NDArray[np.uint8]:
    """Faces hidden, the arm drawn, cut to forearm and hand."""
    safe = hide_faces(picture.image, picture.drawing)
    if picture.drawing is None or "wrist" not in picture.drawing.points_px:
        return safe
    return draw_arm(*arm_close_up(safe, picture.drawing, width_px=CARD_WIDTH_PX))


def _jpeg(image: NDArray[np.uint8]) -> bytes:
    height = round(image.shape[0] * CARD_WIDTH_PX / image.shape[1])
    fitted = cv2.resize(image, (CARD_WIDTH_PX, height), interpolation=cv2.INTER_AREA)
    return jpeg_of(np.asarray(fitted, np.uint8), JPEG_QUALITY)


def _comparison(row: pd.Series, main_outcome: str | None, metric: bool) -> ComparisonRow:
    figure = str(row["figure"])
    p = float(row["p"])
    return ComparisonRow(
        pitch=str(row["pitch"]),
        figure=words(figure).label,
        cues=f"“{row['cue_b']}” against “{row['cue_a']}”",
        throws=f"{int(row['n_b'])} and {int(row['n_a'])}",
        difference=number(figure, float(row["difference"]), metric=metric, signed=True),
        interval=span(figure, float(row["low"]), float(row["high"]), metric=metric, signed=True),
        p="" if not np.isfinite(p) else f"{p:.3f}" if p >= 0.001 else "< 0.001",
        answer=str(row["answer"]),
        main=figure == main_outcome,
    )
