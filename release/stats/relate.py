"""How the ball's movement goes with the position of the hand.

Within athletes and between athletes are two questions and are kept apart. The within-athlete slope
corrects for the known measurement error of the angle, which would otherwise shrink it: the moments of
Fuller (1987), Measurement Error Models, section 1.2, with athletes' levels and covariates taken out.
"""

import warnings
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from release.stats.own_error import own_sd
from release.stats.result import Relation, Slope

LEAST_RELIABILITY = 0.2  # below it the correction would rest on the error model alone (our choice)
LEAST_CLUSTERS = 10  # of athletes, for their own sandwich; with fewer each throw stands for itself

Floats = NDArray[np.float64]


def relate(rows: pd.DataFrame, hand: str, ball: str) -> list[Relation]:
    """Relate a hand figure to a ball figure, pitch by pitch.

    Args:
        rows: As `read_throws` gives it. Intent (`intent_percent`), fatigue (`throw`) and the kind of ball
            (`ball`) are taken out where the table has them; `HAND_sd` is the angle's standard uncertainty.
        hand: Column of the angle, degrees.
        ball: Column of the ball's figure, inches.
    """
    return [_pitch(str(pitch), part, hand, ball) for pitch, part in rows.groupby("pitch", sort=False)]


def _pitch(pitch: str, rows: pd.DataFrame, hand: str, ball: str) -> Relation:
    rows = rows[np.isfinite(rows[hand]) & np.isfinite(rows[ball])]
    counts = rows.groupby("athlete")[hand].transform("size")
    means = rows.groupby("athlete")[[hand, ball]].mean()
    differ = len(means) >= 3 and bool((means.nunique() > 1).all())
    between = stats.pearsonr(means[hand], means[ball]) if differ else None
    rows = rows[counts >= 3]
    blank = Relation(
        pitch=pitch,
        hand=hand,
        ball=ball,
        throws=len(rows),
        athletes=rows["athlete"].nunique(),
        r=None,
        r_low=None,
        r_high=None,
        p=None,
        within=None,
        own=(),
        between_r=float(between.statistic) if between else None,
        between_p=float(between.pvalue) if between else None,
        why="",
    )
    if len(rows) < 5 or rows[hand].std() == 0 or rows[ball].std() == 0:
        return replace(blank, why="needs five throws that vary, three or more an athlete")
    r, low, high, p = repeated_measures_correlation(rows, hand, ball)
    sd = own_sd(rows, hand)
    athlete = pd.factorize(rows["athlete"])[0]
    within = slope(rows[hand].to_numpy(float), rows[ball].to_numpy(float), sd, athlete, covariates(rows))
    why = "" if within else "the angle's spread within athletes is mostly measurement error: no slope"
    if not sd.any():
        why = f"no {hand}_sd: noise in the angle shrinks this slope"
    own = tuple(_own(str(name), part, hand, ball) for name, part in rows.groupby("athlete", sort=False))
    return replace(blank, r=r, r_low=low, r_high=high, p=p, within=within, own=own, why=why)


def repeated_measures_correlation(rows: pd.DataFrame, x: str, y: str) -> tuple[float, float, float, float]:
    """r with its 95 % interval and p (Bland and Altman 1995, BMJ 310:446).

    pingouin's for three athletes and more; for one or two, which it refuses, the correlation about the
    athletes' levels with its own degrees of freedom, which is the same thing.
    """
    import pingouin  # slow to load: only where it is used

    athlete = pd.factorize(rows["athlete"])[0]
    groups = int(athlete.max()) + 1
    if groups >= 3:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # pandas' about what pingouin calls
            found = pingouin.rm_corr(rows, x=x, y=y, subject="athlete").iloc[0]
        low, high = found["CI95"]
        return float(found["r"]), float(low), float(high), float(found["pval"])
    level_x, level_y = (_without_levels(rows[name].to_numpy(float), athlete) for name in (x, y))
    r, free = float(np.corrcoef(level_x, level_y)[0, 1]), len(rows) - groups - 1
    half = 1.96 / np.sqrt(max(free - 1, 1))
    p = 2 * float(stats.t.sf(abs(r) * np.sqrt(free / max(1 - r**2, 1e-12)), free))
    return r, float(np.tanh(np.arctanh(r) - half)), float(np.tanh(np.arctanh(r) + half)), p


def covariates(rows: pd.DataFrame) -> Floats:
    """Columns for intent, fatigue and ball, centred; shape (throws, k)."""
    columns = [rows["throw"].to_numpy(float)]
    if "intent_percent" in rows:
        intent = pd.to_numeric(rows["intent_percent"], errors="coerce")
        if intent.notna().any():
            columns.append(intent.fillna(intent.mean()).to_numpy(float))
    if "ball" in rows:
        columns += list(pd.get_dummies(rows["ball"], drop_first=True).to_numpy(float).T)
    made = np.column_stack(columns)
    return made[:, made.std(axis=0) > 0]


def slope(x: Floats, y: Floats, sd: Floats, athlete: NDArray[np.intp], covariate: Floats) -> Slope | None:
    """Within-athlete slope of y on x with the measurement error of x accounted for.

    Args:
        x: Shape (n,), the angle.
        y: Shape (n,).
        sd: Shape (n,), standard uncertainty of x; 0 where not known.
        athlete: Shape (n,), codes from 0.
        covariate: Shape (n, k), taken out of both.

    Returns:
        The slope with a sandwich interval, clustered by athlete where there are enough of them; None where
        measurement error makes up more than four fifths of the spread.
    """
    x, y = _without_levels(x, athlete), _without_levels(y, athlete)
    if covariate.shape[1]:
        C = np.column_stack([_without_levels(c, athlete) for c in covariate.T])
        C = C[:, C.std(axis=0) > 1e-9]
        x, y = x - C @ np.linalg.lstsq(C, x)[0], y - C @ np.linalg.lstsq(C, y)[0]
        lost = C.shape[1]
    else:
        lost = 0
    n, groups = len(x), int(athlete.max()) + 1
    kept = (n - groups - lost) / n  # share of the error's variance that is left after taking levels out
    spread = float(x @ x)
    signal = spread - float(np.sum(sd**2)) * kept
    if kept <= 0 or spread <= 0 or signal / spread < LEAST_RELIABILITY:
        return None
    b = float(x @ y) / signal
    score = x * (y - b * x) + b * sd**2 * kept
    if groups >= LEAST_CLUSTERS:
        score, free = np.bincount(athlete, weights=score), groups - 1
    else:
        free = max(n - groups - lost - 1, 1)
    se = float(np.sqrt(np.sum(score**2) * len(score) / max(len(score) - 1, 1))) / signal
    half = float(stats.t.ppf(0.975, free)) * se
    return Slope(
        slope=b, low=b - half, high=b + half, plain=float(x @ y) / spread, reliability=signal / spread
    )


def _without_levels(v: Floats, athlete: NDArray[np.intp]) -> Floats:
    return v - (np.bincount(athlete, weights=v) / np.bincount(athlete))[athlete]


def _own(name: str, rows: pd.DataFrame, hand: str, ball: str) -> tuple[str, float, float, float]:
    x, y = rows[hand].to_numpy(float), rows[ball].to_numpy(float)
    found = slope(x, y, own_sd(rows, hand), np.zeros(len(x), np.intp), np.empty((len(x), 0)))
    return name, float(x.mean()), float(y.mean()), found.slope if found else float("nan")


def relation_table(found: Sequence[Relation]) -> pd.DataFrame:
    """A row a pitch, ready to write."""
    return pd.DataFrame(
        [
            {
                "pitch": one.pitch,
                "hand": one.hand,
                "ball": one.ball,
                "throws": one.throws,
                "athletes": one.athletes,
                "r_within": one.r,
                "r_low": one.r_low,
                "r_high": one.r_high,
                "p": one.p,
                "slope": one.within.slope if one.within else None,
                "slope_low": one.within.low if one.within else None,
                "slope_high": one.within.high if one.within else None,
                "slope_uncorrected": one.within.plain if one.within else None,
                "reliability": one.within.reliability if one.within else None,
                "r_between": one.between_r,
                "p_between": one.between_p,
                "why": one.why,
            }
            for one in found
        ]
    )
