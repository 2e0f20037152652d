"""How far measured releases and angles are from the truth.

In:   for each clip its truth, and what was measured or refused.
Out:  one row a figure: error, the error of the best constant answer, coverage, refusals.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.instant.result import ReleaseInstant
from release.orientation.angles import WRAPPED, wrap_deg
from release.orientation.result import ANGLES, Estimate, Orientation

Array = NDArray[np.float64]
Z95 = 1.959964  # two-sided 95 % of a normal distribution


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One clip's truth beside its answer; the clip has a release in view."""

    release_frame: float
    angles_deg: Mapping[str, float]
    carried: Mapping[str, bool]  # whether the view can carry the angle at all
    filmed_as: str | None  # one athlete before one camera, where known
    release: ReleaseInstant | None
    orientation: Orientation | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseScore:
    """Release errors in frames over the clips with a release in view."""

    n: int
    refused: int
    error_frames: Array  # shape (answered,), measured minus true
    covered: float  # share of 95 % intervals that hold the truth; NaN without any

    @property
    def median(self) -> float:
        return _quantile(np.abs(self.error_frames), 0.5)

    @property
    def p90(self) -> float:
        return _quantile(np.abs(self.error_frames), 0.9)

    def within(self, frames: float) -> float:
        """Share of all clips answered within so many frames; a refusal counts as a miss."""
        return float(np.sum(np.abs(self.error_frames) <= frames) / self.n) if self.n else np.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleScore:
    """One angle over the clips with a release in view; degrees."""

    name: str
    n: int
    excused: int  # refused, and the view cannot carry it
    unexcused: int  # refused, and the view could: a miss
    error_deg: Array  # shape (answered,), measured minus true
    repeatability_deg: float  # SD of the error within athlete and camera; NaN where none has two throws
    constant_deg: float  # median absolute error of the best constant answer
    slope: float  # of measured on true; NaN with fewer than three
    covered: float
    width_deg: float  # median width of the 95 % interval

    @property
    def median(self) -> float:
        return _quantile(np.abs(self.error_deg), 0.5)

    @property
    def p90(self) -> float:
        return _quantile(np.abs(self.error_deg), 0.9)

    @property
    def bias(self) -> float:
        return _quantile(self.error_deg, 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """Scores of a folder of clips."""

    release: ReleaseScore
    angles: Sequence[AngleScore]
    without_release: int  # clips with no throw, or its release out of view
    refused_rightly: int  # of those


def score_release(answers: Sequence[Answer]) -> ReleaseScore:
    """Errors of the release instant; intervals are value +- 1.96 sd."""
    pairs = [(a.release, a.release_frame) for a in answers if a.release is not None]
    error = np.array([r.frame_index - true for r, true in pairs], float)
    sd = np.array([r.sd_frames for r, _ in pairs], float)
    covered = float(np.mean(np.abs(error) <= Z95 * sd)) if len(pairs) else np.nan
    return ReleaseScore(
        n=len(answers), refused=len(answers) - len(pairs), error_frames=error, covered=covered
    )


def score_angles(answers: Sequence[Answer]) -> list[AngleScore]:
    """A row for each angle that any clip has truth for."""
    return [_score_angle(name, answers) for name in ANGLES if any(name in a.angles_deg for a in answers)]


def best_constant_error_deg(true_deg: Array, *, wrapped: bool = False) -> float:
    """The least median absolute error that one constant answer can have.

    The best constant is the middle of the shortest interval that holds half of the values (as
    np.quantile counts a half, the median of an even number lies between its two middle values).
    """
    if true_deg.size == 0:
        return np.nan
    candidates = (
        np.arange(-180, 180, 0.25) if wrapped else np.arange(true_deg.min(), true_deg.max() + 0.25, 0.25)
    )
    difference = true_deg[None, :] - candidates[:, None]
    return float(np.median(np.abs(wrap_deg(difference) if wrapped else difference), axis=1).min())


def within_sd(error: Array, group: Sequence[str | None]) -> float:
    """Standard deviation within groups, pooled; rows of no group are left out, NaN without a group of two.

    Args:
        error: Shape (n,).
        group: Length n.
    """
    parts = [error[[g == name for g in group]] for name in {g for g in group if g is not None}]
    free = sum(len(part) - 1 for part in parts)
    return float(np.sqrt(sum(len(part) * np.var(part) for part in parts) / free)) if free else np.nan


def _score_angle(name: str, answers: Sequence[Answer]) -> AngleScore:
    given = [(a, _estimate(a, name)) for a in answers]
    measured = [(a.angles_deg[name], e) for a, e in given if e is not None and e.value is not None]
    refused = [a for a, e in given if e is None or e.value is None]
    true = np.array([t for t, _ in measured], float)
    error = np.array([_difference(name, e.value, t) for t, e in measured], float)
    low = np.array([_difference(name, e.low, e.value) for _, e in measured], float)
    high = np.array([_difference(name, e.high, e.value) for _, e in measured], float)
    inside = (low <= -error) & (-error <= high)
    excused = sum(not a.carried.get(name, True) for a in refused)
    return AngleScore(
        name=name,
        n=len(answers),
        excused=excused,
        unexcused=len(refused) - excused,
        error_deg=error,
        repeatability_deg=within_sd(
            error, [a.filmed_as for a, e in given if e is not None and e.value is not None]
        ),
        constant_deg=best_constant_error_deg(
            np.array([a.angles_deg[name] for a in answers]), wrapped=name in WRAPPED
        ),
        slope=float(np.polyfit(true, true + error, 1)[0]) if len(true) > 2 and np.ptp(true) > 0 else np.nan,
        covered=float(np.mean(inside)) if len(inside) else np.nan,
        width_deg=_quantile(high - low, 0.5),
    )


def _estimate(answer: Answer, name: str) -> Estimate | None:
    return None if answer.orientation is None else answer.orientation.figures.get(name)


def _difference(name: str, a: float | None, b: float | None) -> float:
    """a - b; bounds lie within a turn of their value, so they are never wrapped past it."""
    difference = float(a if a is not None else np.nan) - float(b if b is not None else np.nan)
    return float(wrap_deg(np.array(difference))) if name in WRAPPED and abs(difference) < 360 else difference


def _quantile(values: Array, q: float) -> float:
    return float(np.quantile(values, q)) if len(values) else np.nan
