"""What a cue does over athletes: a mixed model with athletes' own effects, and partial pooling.

The interval is Hartung and Knapp's (2001), which keeps its level with few athletes; the mixed model
(statsmodels) gives the spread between athletes, and what fatigue and the cue of the throw before do.
"""

import warnings
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM

from release.errors import ReleaseError
from release.stats.result import Pooled

Floats = NDArray[np.float64]


class TooFewAthletes(ReleaseError):
    """Pooling needs three athletes who threw under both cues."""

    def __init__(self, count: int, cue_a: str, cue_b: str) -> None:
        super().__init__(f"{count} athletes threw enough under both {cue_a} and {cue_b}; pooling needs three")


def pooled(rows: pd.DataFrame, figure: str, cue_a: str, cue_b: str) -> Pooled:
    """Pool the difference cue_b minus cue_a over athletes.

    Args:
        rows: As `read_throws` gives it, one pitch, in the order thrown.
        figure: The outcome.
        cue_a: First cue.
        cue_b: Second cue.

    Raises:
        TooFewAthletes: Fewer than three athletes threw under both cues.
    """
    rows = rows[np.isfinite(rows[figure]) & rows["cue"].isin([cue_a, cue_b])]
    both = rows.groupby("athlete")["cue"].transform("nunique") == 2
    rows = rows[both & (rows.groupby("athlete")[figure].transform("size") >= 4)]
    rows = rows.sort_values(["athlete", "session", "throw"], kind="stable")
    athletes = tuple(dict.fromkeys(rows["athlete"]))
    if len(athletes) < 3:
        raise TooFewAthletes(len(athletes), cue_a, cue_b)
    cue = np.asarray(rows["cue"] == cue_b, np.float64)
    before = np.r_[0.0, cue[:-1]] - 0.5
    turn = (rows["athlete"] != rows["athlete"].shift()) | (rows["session"] != rows["session"].shift())
    before[turn.to_numpy()] = 0.0
    number = rows["throw"].to_numpy(float)
    fixed = np.column_stack([np.ones(len(rows)), cue, number - number.mean(), before]).astype(np.float64)
    model = mixed(rows[figure].to_numpy(float), fixed, fixed[:, :2], rows["athlete"].to_numpy())
    spread = np.asarray(model.cov_re)
    between = float(np.sqrt(max(spread[1, 1], 0.0))) if len(spread) > 1 else 0.0
    own, se = zip(*(_own(rows[rows["athlete"] == a], figure, cue_b) for a in athletes), strict=True)
    centre, low, high = hartung_knapp(np.array(own), np.array(se), between**2)
    keep = between**2 / (between**2 + np.array(se) ** 2)
    return Pooled(
        athletes=athletes,
        own=own,
        own_se=se,
        shrunk=tuple(float(v) for v in centre + keep * (np.array(own) - centre)),
        pooled=centre,
        low=low,
        high=high,
        between_sd=between,
        per_throw=float(model.params[2]),
        carry_over=float(model.params[3]),
        carry_over_p=float(model.pvalues[3]),
        sentence=_sentence(np.array(own), np.array(se), low, high),
    )


def mixed(y: Floats, fixed: Floats, random: Floats, group: NDArray[np.object_]) -> Any:
    """Linear mixed model by restricted maximum likelihood.

    Args:
        y: Shape (n,).
        fixed: Shape (n, p).
        random: Shape (n, q), columns whose effect differs between groups.
        group: Shape (n,).
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a variance of 0 is a fair answer and is reported as such
        try:
            return MixedLM(y, fixed, groups=group, exog_re=random).fit(reml=True)
        except np.linalg.LinAlgError:  # groups differ so little in the other effects that they have no spread
            return MixedLM(y, fixed, groups=group, exog_re=random[:, :1]).fit(reml=True)


def hartung_knapp(estimate: Floats, se: Floats, between_variance: float) -> tuple[float, float, float]:
    """Pooled estimate and 95 % interval (Hartung and Knapp 2001, Statistics in Medicine 20:3875-3889)."""
    weight = 1 / (se**2 + between_variance)
    centre = float(np.sum(weight * estimate) / np.sum(weight))
    k = len(estimate)
    variance = float(np.sum(weight * (estimate - centre) ** 2) / ((k - 1) * np.sum(weight)))
    half = float(stats.t.ppf(0.975, k - 1)) * np.sqrt(variance)
    return centre, centre - half, centre + half


def _own(rows: pd.DataFrame, figure: str, cue_b: str) -> tuple[float, float]:
    """One athlete's difference with the trend over throws taken out, and its standard error."""
    number = rows["throw"].to_numpy(float)
    cue = (rows["cue"] == cue_b).to_numpy(float)
    X = np.column_stack([np.ones(len(rows)), cue, number - number.mean()])
    y = rows[figure].to_numpy(float)
    inverse = np.linalg.pinv(X.T @ X)
    beta = inverse @ X.T @ y
    variance = float(np.sum((y - X @ beta) ** 2)) / max(len(y) - 3, 1)
    return float(beta[1]), float(np.sqrt(max(variance * inverse[1, 1], 1e-12)))


def _sentence(own: Floats, se: Floats, low: float, high: float) -> str:
    up, down = int(np.sum(own - 1.96 * se > 0)), int(np.sum(own + 1.96 * se < 0))
    if up and down:
        return f"Athletes differ in direction ({up} clearly up, {down} down): no average speaks for all."
    if low <= 0 <= high:
        return "Over athletes the direction cannot be told."
    return "Over athletes the figure goes " + ("up." if low > 0 else "down.")
