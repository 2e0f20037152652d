"""How well two readings of the same throws agree, by one person or by two."""

import warnings

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from release.stats.equivalence import detectable_change
from release.stats.result import Agreement, LimitsOfAgreement


def limits_of_agreement(first: ArrayLike, second: ArrayLike) -> LimitsOfAgreement:
    """Bias and 95 % limits of agreement (Bland and Altman 1986), first minus second.

    Args:
        first: Shape (n,).
        second: Shape (n,); pairs with a NaN are left out.
    """
    d = np.asarray(first, float) - np.asarray(second, float)
    d = d[np.isfinite(d)]
    bias, sd = float(d.mean()), float(d.std(ddof=1))
    half = float(stats.t.ppf(0.975, len(d) - 1)) * sd / np.sqrt(len(d))
    return LimitsOfAgreement(
        bias=bias,
        sd=sd,
        low=bias - 1.96 * sd,
        high=bias + 1.96 * sd,
        bias_low=bias - half,
        bias_high=bias + half,
    )


def agreement(readings: NDArray[np.float64]) -> Agreement:
    """All six intraclass correlations, the standard error of measurement, and limits for two readings.

    Args:
        readings: Shape (throws, readings); throws with a NaN are left out.

    Raises:
        ValueError: Fewer than five throws were read by all, which the correlations need.
    """
    import pingouin  # slow to load: only where it is used

    readings = readings[np.isfinite(readings).all(axis=1)]
    n, k = readings.shape
    if n < 5 or k < 2:
        raise ValueError(f"{n} throws with {k} readings each; agreement needs five throws and two readings")
    long = pd.DataFrame(
        {
            "throw": np.repeat(np.arange(n), k),
            "reading": np.tile(np.arange(k), n),
            "value": readings.ravel(),
        }
    )
    with warnings.catch_warnings(), np.errstate(divide="ignore", invalid="ignore"):  # readings all equal
        warnings.simplefilter("ignore", DeprecationWarning)  # pandas' about what pingouin calls
        table = pingouin.intraclass_corr(long, targets="throw", raters="reading", ratings="value")
    left = readings - readings.mean(axis=1, keepdims=True) - readings.mean(axis=0) + readings.mean()
    sem = float(np.sqrt(np.sum(left**2) / ((n - 1) * (k - 1))))
    return Agreement(
        readings=k,
        throws=n,
        icc={
            str(row["Type"]): (float(row["ICC"]), float(row["CI95"][0]), float(row["CI95"][1]))
            for _, row in table.iterrows()
        },
        sem=sem,
        detectable=detectable_change(sem),
        limits=limits_of_agreement(readings[:, 0], readings[:, 1]) if k == 2 else None,
    )
