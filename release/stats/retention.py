"""Has a change lasted without the cue being said? One athlete's throws over several sessions.

Later throws were not drawn: cue, time of year and camera cannot be told apart, so this describes and never
calls a cue the cause. The session is the unit: throws of one session share its camera and its day.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from release.stats.equivalence import smallest_worth
from release.stats.result import Retention, SessionMean

USUAL = ""
TOO_FEW = "needs three sessions in all, some before the cue was said and some after"

Floats = NDArray[np.float64]


def season(rows: pd.DataFrame, figure: str) -> list[SessionMean]:
    """The mean of each session's throws under each cue, in the order thrown.

    Args:
        rows: One athlete's throws of one pitch; `session` numbered in order, `cue` "" for the usual.
        figure: The column.
    """
    found = []
    for _, part in rows[rows[figure].notna()].groupby(["session", "cue"], sort=False):
        value = part[figure].to_numpy(float)
        half = float("nan")
        if len(value) > 1:
            half = float(stats.t.ppf(0.975, len(value) - 1) * stats.sem(value))
        mean = float(value.mean())
        found.append(
            SessionMean(
                session=int(part["session"].iloc[0]),
                cue=str(part["cue"].iloc[0]),
                mean=mean,
                low=mean - half,
                high=mean + half,
                throws=len(value),
            )
        )
    return sorted(found, key=lambda one: one.session)


def retention(rows: pd.DataFrame, figure: str, cue: str, *, worth: float | None = None) -> Retention:
    """Compare usual throws of later sessions with those before the cue was first said.

    Args:
        rows: As for `season`, in the order thrown within a session.
        figure: The column.
        cue: The cue; throws after its first mention in a session are left out, since they may carry it over.
        worth: The smallest change worth having; None for the usual of the figure's unit.

    Returns:
        "has lasted" where the 95 % interval lies on the cue's side of 0, "has not lasted" where the 90 %
        interval lies inside the smallest change worth having (two one-sided tests), else "cannot tell yet".
    """
    rows = rows[rows[figure].notna()]
    first = rows.loc[rows["cue"] == cue, "session"].min()
    silent = rows[(rows["cue"] == USUAL) & ~_said_already(rows)]
    before = silent[silent["session"] <= first]
    after = silent[silent["session"] > first]
    said = _said(rows, figure, cue)
    a, b = (_session_means(part, figure) for part in (before, after))
    lasted = float(b.mean() - a.mean()) if len(a) and len(b) else float("nan")
    se, free = _standard_error(a, b)
    ends = [lasted + float(stats.t.ppf(q, free)) * se if free else np.inf for q in (0.975, 0.95)]
    answer = "cannot tell yet"
    why = "" if free else TOO_FEW
    limit = smallest_worth(figure, {}) if worth is None else worth
    if free:
        wide, narrow = ends[0] - lasted, ends[1] - lasted
        if limit is not None and abs(lasted) + narrow < limit:
            answer = "has not lasted"
        elif np.isfinite(said) and lasted * said > 0 and abs(lasted) > wide:
            answer = "has lasted"
    return Retention(
        figure=figure,
        cue=cue,
        said=said,
        lasted=lasted,
        low=2 * lasted - ends[0] if free else -np.inf,
        high=ends[0],
        sessions_before=len(a),
        sessions_after=len(b),
        throws_before=len(before),
        throws_after=len(after),
        answer=answer,
        why=why,
    )


def _said_already(rows: pd.DataFrame) -> pd.Series:
    """Throws of a session that come after any cue was said in it."""
    return (rows["cue"] != USUAL).groupby(rows["session"]).cumsum() > 0


def _said(rows: pd.DataFrame, figure: str, cue: str) -> float:
    """Mean over sessions of cued minus usual throws."""
    means = rows.pivot_table(index="session", columns="cue", values=figure)
    if cue not in means or USUAL not in means:
        return float("nan")
    return float((means[cue] - means[USUAL]).mean())


def _session_means(rows: pd.DataFrame, figure: str) -> Floats:
    return rows.groupby("session")[figure].mean().to_numpy(float)


def _standard_error(before: Floats, after: Floats) -> tuple[float, int]:
    """Of the difference of two groups of session means with one variance; 0 degrees of freedom: unknown."""
    free = len(before) + len(after) - 2
    if not len(before) or not len(after) or free < 1:
        return float("nan"), 0
    squares = sum(float(np.sum((group - group.mean()) ** 2)) for group in (before, after))
    return float(np.sqrt(squares / free * (1 / len(before) + 1 / len(after)))), free


def retention_lines(found: Sequence[Retention], unit: str) -> list[str]:
    """What has lasted, a line a cue."""
    lines = []
    for one in found:
        if np.isnan(one.lasted):
            lines.append(f"“{one.cue}”: cannot tell yet whether it lasts; {TOO_FEW}")
            continue
        ends = f" [{one.low:+.1f} to {one.high:+.1f}]" if np.isfinite(one.high) else ""
        said = f", while it was said {one.said:+.1f}{unit}" if np.isfinite(one.said) else ""
        why = f"; {one.why}" if one.why else ""
        lines.append(
            f"“{one.cue}”: {one.answer}; without it being said {one.lasted:+.1f}{unit}{ends} against before"
            f"{said} (sessions before: {one.sessions_before}, after: {one.sessions_after}{why})"
        )
    return lines
