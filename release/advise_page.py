"""One pitcher's page from a table of throws: advice, comparisons, the season, and what was said."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from release.advise import advise, hand_figure, labelled
from release.stats.compare import compare
from release.stats.read_throws import ThrowTable
from release.stats.retention import retention, retention_lines, season
from release.stats.write_comparisons import comparison_table
from release.suggest.read_words import Words
from release.suggest.rename import in_use
from release.suggest.response import UNCUED
from release.suggest.result import Advice, Target
from release.views.pitcher import Season, build_pitcher_page
from release.views.result import Photo
from release.views.write import write_pitcher_page

Notes = Sequence[tuple[str, str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the coach asks for."""

    athlete: str
    pitch: str
    words: Words
    target: Target | None = None
    best_throws: Sequence[int] = ()
    usual: str | None = None
    throws_left: int | None = None


def advise_and_write(
    table: ThrowTable,
    asked: Asked,
    out: Path,
    *,
    pdf: bool = False,
    notes: Notes = (),
    photos: Sequence[Photo] = (),
    metric: bool = False,
) -> tuple[Advice, list[str], list[Path]]:
    """Advise on one pitch and write the pitcher's page.

    Args:
        table: Throws of this pitcher and others.
        asked: Whom and what for.
        out: A folder; the page is named after the athlete.
        pdf: Also write the page as a PDF to print.
        notes: When, kind and text of what was said, newest first.
        photos: Of the pitcher's grips.
        metric: cm, m and km/h on the page.

    Returns:
        The advice, what has lasted over the season in words, and the files written.

    Raises:
        ReleaseError: No such throws, no angle of the hand, no page can be written.
    """
    advice = advise(
        table.rows,
        asked.athlete,
        asked.pitch,
        asked.words,
        target=asked.target,
        best_throws=asked.best_throws,
        usual=asked.usual,
        throws_left=asked.throws_left,
    )
    rows = in_use(table.rows, asked.words.renames, asked.words.cues)
    own = rows[rows["athlete"] == asked.athlete]
    seasons = season_of(own, asked, advice.usual)
    compared = compare(own, [f for f in table.figures if own[f].notna().any()])
    page = build_pitcher_page(
        own,
        athlete=asked.athlete,
        comparisons=comparison_table(
            [one.turned() if one.cue_b == advice.usual else one for one in compared if one.cue_b]
        ),
        advice={asked.pitch: advice},
        shapes=asked.words.shapes,
        seasons=seasons,
        notes=notes,
        photos=photos,
        metric=metric,
    )
    name = re.sub(r"[^\w.-]+", "_", asked.athlete).strip(".") or "pitcher"
    files = [out / f"{name}.html", *([out / f"{name}.pdf"] if pdf else [])]
    for file in files:
        write_pitcher_page(page, file)
    lasting = seasons[asked.pitch].lasting if asked.pitch in seasons else ()
    return advice, list(lasting), files


def season_of(own: pd.DataFrame, asked: Asked, usual: str) -> Mapping[str, Season]:
    """The asked pitch over sessions; empty where there is one session only."""
    rows = own[own["pitch"] == asked.pitch]
    if rows["session"].nunique() < 2:
        return {}
    hand = hand_figure(rows, asked.pitch, asked.athlete)
    rows = labelled(rows, hand, usual)
    order = {number: i for i, number in enumerate(sorted(rows["session"].unique()))}
    rows = rows.assign(session=rows["session"].map(order))
    cues = [cue for cue in dict.fromkeys(rows["cue"]) if cue != UNCUED]
    found = [retention(rows, hand, cue) for cue in cues]
    return {
        asked.pitch: Season(
            figure=hand,
            sessions=_session_names(rows),
            means=tuple(season(rows, hand)),
            lasting=tuple(retention_lines(found, "°")),
        )
    }


def _session_names(rows: pd.DataFrame) -> tuple[str, ...]:
    """The day or name of each session where the table has one, else its number from 1."""
    named = next((c for c in ("day", "date", "session_name") if c in rows), None)
    first = rows.groupby("session").first()
    if named is None:
        return tuple(str(int(i) + 1) for i in first.index)
    return tuple(str(v) for v in first[named])
