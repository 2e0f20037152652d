"""How an athlete's throws scatter, from earlier sessions: SD, correlation with the throw before, drift.

Restricted maximum likelihood over a grid; every cue of every session has a level of its own, so that what
cues did does not count as scatter.
"""

from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from release.stats.change import USUAL_NOISE
from release.stats.read_throws import ThrowTable
from release.stats.result import Noise

LEAST_SESSIONS, LEAST_THROWS = 3, 30  # fewer tell less than the usual values (our choice)
LAGS = np.arange(0.0, 0.85, 0.1)
LEAST_DRIFT = 0.25  # no session is taken to drift just like the ones before (our choice)
DRIFTS = (0.25, 0.5, 1.0, 1.5, 2.0)

Floats = NDArray[np.float64]


def noise_of(rows: pd.DataFrame, figure: str) -> Noise:
    """The scatter of one athlete's pitch in one figure; the usual values where too little is known.

    Args:
        rows: Throws of earlier sessions with `session`, `throw`, `cue` and the figure.
        figure: The column.
    """
    rows = rows[np.isfinite(rows[figure])]
    sessions = [s for _, s in rows.groupby("session") if len(s) >= 4]
    if len(sessions) < LEAST_SESSIONS or sum(map(len, sessions)) < LEAST_THROWS:
        return USUAL_NOISE
    parts = [_part(s, figure) for s in sessions]
    fits = [(*_likelihood(parts, lag, drift), lag, drift) for lag, drift in product(LAGS, DRIFTS)]
    _, sd, usual_drift, lag, drift = max(fits)
    return Noise(
        throw_sd=sd,
        lag_correlation=float(lag),
        drift=usual_drift,
        drift_sd=max(drift, LEAST_DRIFT),
        sessions=len(sessions),
    )


def _part(rows: pd.DataFrame, figure: str) -> tuple[Floats, Floats, Floats]:
    """Values, throw numbers, and the columns of the cues' levels of one session."""
    levels = pd.get_dummies(rows["cue"]).to_numpy(float)
    return rows[figure].to_numpy(float), rows["throw"].to_numpy(float), levels


def _likelihood(
    parts: list[tuple[Floats, Floats, Floats]], lag: float, drift: float
) -> tuple[float, float, float]:
    """Restricted log likelihood, profiled (Patterson and Thompson 1971); the SD; the usual drift in SDs."""
    squares, free, log_det, of_trend, of_value = 0.0, -1, 0.0, 0.0, 0.0
    for y, number, X in parts:
        trend = (number - (number.min() + number.max()) / 2) / max(np.ptp(number), 1.0)
        V = lag ** np.abs(number[:, None] - number) + drift**2 * np.outer(trend, trend)
        Vi = np.linalg.inv(V)
        XVX = X.T @ Vi @ X
        P = Vi - Vi @ X @ np.linalg.solve(XVX, X.T @ Vi)  # V^-1, less what the levels explain
        squares += float(y @ P @ y)
        of_trend, of_value = of_trend + float(trend @ P @ trend), of_value + float(trend @ P @ y)
        free += len(y) - X.shape[1]
        log_det += float(np.linalg.slogdet(V)[1] + np.linalg.slogdet(XVX)[1])
    variance = (squares - of_value**2 / of_trend) / free
    sd = float(np.sqrt(max(variance, 1e-12)))
    return -0.5 * (free * np.log(sd**2) + log_det + np.log(of_trend)), sd, of_value / of_trend / sd


def noise_by_athlete(table: ThrowTable) -> dict[tuple[str, str, str], Noise]:
    """The scatter of every athlete, pitch and figure of a table of earlier sessions."""
    return {
        (str(athlete), str(pitch), figure): noise_of(rows, figure)
        for (athlete, pitch), rows in table.rows.groupby(["athlete", "pitch"], sort=False)
        for figure in table.figures
    }


def noise_of_table(table: ThrowTable, athlete: str | None, pitch: str | None, figure: str | None) -> Noise:
    """The scatter in one figure of one athlete and pitch; of all rows where neither is named."""
    rows = table.rows
    rows = rows[(rows["athlete"] == athlete) | (not athlete)]
    rows = rows[(rows["pitch"] == pitch) | (not pitch)]
    return noise_of(rows, figure or table.figures[0]) if len(rows) and table.figures else USUAL_NOISE
