"""A live session on a table of the throws so far."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from release.errors import ReleaseError
from release.stats.equivalence import smallest_worth
from release.stats.live import drawn_cues, pair_differences, so_far
from release.stats.read_throws import ThrowTable
from release.stats.result import LiveStep, Noise


class NotLive(ReleaseError):
    """The table or the options do not make one live session."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveSession:
    """Where a live session stands."""

    cues: tuple[str, str]
    figure: str
    worth: float
    seed: int
    thrown: int
    next_cue: str
    not_drawn: int  # pairs, the open one too, not thrown as drawn: described, never called changed
    described: float | None  # second cue's mean less the first's over those pairs; None where one is missing
    steps: tuple[LiveStep, ...]


def two_cues(cues: Sequence[str]) -> tuple[str, str]:
    """The two cues of a live session.

    Raises:
        NotLive: They are not two different ones.
    """
    if len(cues) != 2 or cues[0] == cues[1]:
        raise NotLive("a live session has two different cues: give --cue twice")
    return cues[0], cues[1]


def live_session(
    table: ThrowTable | None,
    cues: Sequence[str],
    figure: str,
    seed: int,
    worth: float | None = None,
    noise: Noise | None = None,
) -> LiveSession:
    """What is known so far, and the next cue.

    Raises:
        NotLive: Not two cues, no such figure, no smallest change worth having, or more than one athlete,
            pitch or session.
    """
    first, second = two_cues(cues)
    worth = smallest_worth(figure, {}) if worth is None else worth
    if worth is None:
        raise NotLive(f"say the smallest change of {figure} worth having with --worth")
    rows = table.rows if table else None
    if rows is None:
        start = drawn_cues((first, second), 1, seed)[0]
        return LiveSession(
            cues=(first, second),
            figure=figure,
            worth=worth,
            seed=seed,
            thrown=0,
            next_cue=start,
            not_drawn=0,
            described=None,
            steps=(),
        )
    if figure not in rows:
        raise NotLive(f"the table has no column {figure}")
    if len(rows[["athlete", "pitch", "session"]].drop_duplicates()) > 1:
        raise NotLive("a live session is one athlete's, of one pitch, in one session; the table holds more")
    drawn = drawn_cues((first, second), len(rows) + 1, seed)
    cue = list(rows["cue"])
    as_drawn = [given == wanted for given, wanted in zip(cue, drawn, strict=False)]
    pairs = np.array([all(as_drawn[i : i + 2]) for i in range(0, len(cue), 2)], bool)
    value = np.array(pd.to_numeric(rows[figure], errors="coerce"), float)  # all empty: not measured yet
    left_out = ~np.repeat(pairs, 2)[: len(value)]
    means = rows.assign(value=value)[left_out].groupby("cue")["value"].mean()
    value[left_out] = np.nan
    return LiveSession(
        cues=(first, second),
        figure=figure,
        worth=worth,
        seed=seed,
        thrown=len(rows),
        next_cue=drawn[-1],
        not_drawn=int(np.sum(~pairs)),
        described=_told(means.get(second, np.nan) - means.get(first, np.nan)),
        steps=tuple(so_far(pair_differences(list(value), drawn[:-1], (first, second)), worth, noise)),
    )


def _told(difference: float) -> float | None:
    return float(difference) if np.isfinite(difference) else None
