"""The answer in plain sentences: what the cue did to the hand, to the ball, and how sure that is.

In:   rows of `release compare` for one athlete, pitch and pair of cues; `difference` is cue_b less cue_a.
"""

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

from release.stats.result import more_throws_words
from release.views.result import Sentence
from release.views.words import number, span, words

OPENINGS = {
    "changed": "“{b}” instead of “{a}” changed the {what}",
    "no meaningful change": "“{b}” instead of “{a}” made no change worth having in the {what}",
    "cannot tell yet": "Whether “{b}” instead of “{a}” changes the {what} cannot be told yet",
    "design too small": "Too few blocks were drawn to tell whether “{b}” instead of “{a}” changes the {what}",
}
HAND_FIRST = ("forearm_rotation_deg", "palm_turn_deg", "wrist_flexion_deg", "wrist_deviation_deg")
BALL_FIRST = ("horizontal_break_in", "induced_vertical_break_in", "speed_mph")
STRENGTH = ("changed", "no meaningful change", "cannot tell yet", "design too small")


def sentence(rows: pd.DataFrame, *, main_outcome: str | None = None, metric: bool = False) -> Sentence:
    """What one cue instead of another did, for one athlete and pitch.

    Args:
        rows: Comparison rows of one athlete, pitch and pair of cues.
        main_outcome: The figure named before the session; it leads where it is among the rows.
        metric: cm, m and km/h for the reader in place of in, ft and mph.
    """
    pitch = str(rows["pitch"].iloc[0])
    hand = _part(rows, "hand", HAND_FIRST, main_outcome, metric)
    ball = _part(rows, "ball", BALL_FIRST, main_outcome, metric)
    return Sentence(
        hand=f"{pitch.capitalize()}: {hand or 'the hand could not be compared.'}",
        ball=ball or "The ball was not measured on enough of these throws to compare.",
        sure=_sure(_leading(rows, main_outcome), main_outcome),
    )


def _part(
    rows: pd.DataFrame, kind: str, order: tuple[str, ...], main_outcome: str | None, metric: bool
) -> str:
    part = rows[[words(f).kind == kind for f in rows["figure"]]]
    if part.empty:
        return ""
    answers = [a for a in STRENGTH if (part["answer"] == a).any()]
    leading = part[part["figure"] == main_outcome]["answer"].to_list() or answers[:1]
    told = part[part["answer"] == leading[0]]
    told = told.iloc[np.argsort([_rank(f, order, main_outcome) for f in told["figure"]], kind="stable")][:3]
    opening = OPENINGS[leading[0]].format(
        a=part["cue_a"].iloc[0], b=part["cue_b"].iloc[0], what="hand at release" if kind == "hand" else "ball"
    )
    return f"{opening}: {_listed([_figure(row, metric) for row in told.to_dict('records')])}."


def _rank(figure: str, order: tuple[str, ...], main_outcome: str | None) -> int:
    if figure == main_outcome:
        return -1
    return order.index(figure) if figure in order else len(order)


def _figure(row: dict[Hashable, Any], metric: bool) -> str:
    """'forearm rotation 19° toward supination (95 % interval 12° to 26°)'."""
    name, spoken = str(row["figure"]), words(str(row["figure"]))
    size, low, high = (float(row[k]) for k in ("difference", "low", "high"))
    direction = spoken.more if size >= 0 else spoken.less
    if size < 0:
        size, low, high = -size, -high, -low
    interval = span(name, low, high, metric=metric)
    if number(name, size, metric=metric) == number(name, 0.0, metric=metric):
        direction = "apart"
    return f"{spoken.label} {number(name, size, metric=metric)} {direction} (95 % interval {interval})"


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def _leading(rows: pd.DataFrame, main_outcome: str | None) -> dict[Hashable, Any]:
    """The row the certainty is spoken of: the main outcome, else the first of HAND_FIRST, else any."""
    order = np.argsort([_rank(f, HAND_FIRST, main_outcome) for f in rows["figure"]], kind="stable")
    return rows.iloc[order].to_dict("records")[0]


def _sure(row: dict[Hashable, Any], main_outcome: str | None) -> str:
    label, answer = words(str(row["figure"])).label, str(row["answer"])
    named = "named before the session" if row["figure"] == main_outcome else "not named before the session"
    throws = f"{int(row['n_a'])} and {int(row['n_b'])} throws"
    text = f"How sure: {label} ({named}), {throws}: {answer}"
    p = float(row["p"])
    if np.isfinite(p):
        text += (
            f"; drawing the cues again as they were drawn gives so large a difference in {_share(p)} of draws"
        )
    more = row.get("more_throws")
    if answer == "cannot tell yet" and pd.notna(more):
        text += f"; {more_throws_words(int(more))} would likely settle it"
    return text + "."


def _share(p: float) -> str:
    return f"{100 * p:.1f} %" if p >= 0.001 else "fewer than 0.1 %"
