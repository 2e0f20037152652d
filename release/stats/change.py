"""Did a figure differ between two cues? Exact re-randomisation of the units that were drawn.

In:   one figure of each throw with its standard uncertainty, throw numbers, sessions, allowed orders.
Out:  the difference (second cue minus first), its interval, and p.

The statistic is the squared generalised-least-squares contrast over its variance, given a working
model of the scatter: throws correlated with the one before, a straight trend over the session shrunk
toward none, a throw's variance the throw-to-throw variance plus its measurement variance. Wild throws
are down-weighted by the robust scale of the residuals about the allowed order that fits best, whichever
that is: every order is judged with the same weights, so p is exact under any scatter, and a poor working
model costs power only. The interval is every shift that the test would not reject. With the weights kept, the
contrast is linear in the shift and the ends have a closed form; with few throws they are refined.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from release.stats.result import Difference, Noise

USUAL_NOISE = Noise(throw_sd=None, lag_correlation=0.4, drift_sd=1.0, sessions=0)
WILD = 2.5  # robust SDs beyond which a throw loses weight (common practice, no source)
ROUNDS = 4  # of weighting; the weights settle in two or three
FEW = 100  # throws up to which the interval's ends are refined; with more the weights hardly move
HALVINGS = 6

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Throws:
    """One figure of n throws in the order thrown; every value finite."""

    value: Floats  # shape (n,)
    sd: Floats  # shape (n,), standard uncertainty of each; 0 where not known
    number: Floats  # shape (n,), running number of the throw in its session
    session: NDArray[np.int64]  # shape (n,), sessions numbered from 0


def difference(
    throws: Throws, orders: NDArray[np.int8], noise: Noise = USUAL_NOISE, *, refine: bool = True
) -> Difference:
    """Compare two cues.

    Args:
        throws: The throws of both cues.
        orders: Shape (m, n), 0 for the first cue and 1 for the second, every allowed order or a sample of
            them; row 0 is the order as thrown.
        noise: Working model of the scatter.
        refine: Refine the interval's ends where there are few throws, which takes tens of milliseconds.

    Returns:
        The difference; without scatter its interval has no width. `low` and `high` are infinite where no
        shift can be rejected.

    Raises:
        ValueError: A value is not finite, or a cue has no throw.
    """
    if not np.isfinite(throws.value).all() or orders.shape[1:] != throws.value.shape:
        raise ValueError(f"need finite values and orders of shape (m, {len(throws.value)})")
    n_b = int(orders[0].sum())
    n_a = len(throws.value) - n_b
    if not n_a or not n_b:
        raise ValueError("need throws of both cues")
    z = orders.astype(np.float64) - 0.5
    contrast = _fitted(throws, z, noise)
    ends = {alpha: _interval(contrast, alpha) for alpha in (0.05, 0.10)}
    if refine and len(throws.value) <= FEW:
        ends = {alpha: _refined(throws, z, noise, contrast, alpha, *end) for alpha, end in ends.items()}
    best, level = _attainable(orders)
    return Difference(
        estimate=contrast.estimate,
        se=float(contrast.scale / np.sqrt(contrast.information[0])),
        low=ends[0.05][0],
        high=ends[0.05][1],
        low90=ends[0.10][0],
        high90=ends[0.10][1],
        p=contrast.p,
        best_p=best,
        level=level,
        n_a=n_a,
        n_b=n_b,
    )


def randomisation_p(throws: Throws, orders: NDArray[np.int8], noise: Noise = USUAL_NOISE) -> float:
    """The p of `difference` alone, for simulations."""
    return _fitted(throws, orders.astype(np.float64) - 0.5, noise).p


@dataclass(frozen=True, slots=True, kw_only=True)
class _Contrast:
    of_value: Floats  # shape (m,), z' A y: information times the estimate under each order
    of_observed: Floats  # shape (m,), z' A z_observed
    information: Floats  # shape (m,), z' A z
    scale: float  # residual SD

    @property
    def estimate(self) -> float:
        return float(self.of_value[0] / self.information[0])

    @property
    def p(self) -> float:
        """Share of orders at least as extreme as the observed one; ties count, with a tolerance."""
        statistic = self.of_value**2 / self.information
        return float(np.mean(statistic >= statistic[0] * (1 - 1e-9) - 1e-12))


def _fitted(throws: Throws, z: Floats, noise: Noise) -> _Contrast:
    """Weights from the order that fits best, then the contrast of every order."""
    levels = np.array([np.median(throws.value[throws.session == s]) for s in throws.session])
    contrast, residual = None, throws.value - levels
    neighbours = z[:, 1:] * z[:, :-1]
    for _ in range(ROUNDS):
        weight = _weight(residual, _robust_scale(residual), throws.sd)
        contrast, residual = _contrast(throws, z, neighbours, noise, weight)
    assert contrast is not None
    return contrast


def _contrast(
    throws: Throws, z: Floats, neighbours: Floats, noise: Noise, weight: Floats
) -> tuple[_Contrast, Floats]:
    """The contrast of every order at the given weights, and the residuals about the best."""
    X, penalty = _nuisance(throws, noise)
    y = throws.value - noise.drift * (noise.throw_sd or 0.0) * X[:, -1]
    diagonal, beside = _precision(throws, noise.lag_correlation, weight)
    AX = _times(diagonal, beside, X)
    inverse = np.linalg.inv(X.T @ AX + np.diag(penalty))

    def cleared(v: Floats) -> Floats:
        """A v, less what the nuisance columns explain."""
        return _times(diagonal, beside, v) - AX @ (inverse @ (AX.T @ v))

    zAX = z @ AX
    # z is -1/2 or 1/2, so that its squares add up to a quarter of the diagonal.
    information = 0.25 * diagonal.sum() + 2 * neighbours @ beside - np.sum((zAX @ inverse) * zAX, axis=1)
    information = np.maximum(information, 1e-12 * diagonal.sum())
    of_value = z @ cleared(y)
    best = int(np.argmax(of_value**2 / information))
    shifted = y - z[best] * of_value[best] / information[best]
    residual = shifted - X @ (inverse @ (AX.T @ shifted))
    spread = residual @ _times(diagonal, beside, residual) / max(len(y) - X.shape[1] - 1, 1)
    contrast = _Contrast(
        of_value=of_value,
        of_observed=z @ cleared(z[0]),
        information=information,
        scale=float(np.sqrt(max(spread, 0.0))),
    )
    return contrast, residual


def _nuisance(throws: Throws, noise: Noise) -> tuple[Floats, Floats]:
    """A level for each session and one trend across a session, -0.5 to 0.5, with their ridge penalties."""
    sessions = np.unique(throws.session)
    levels = (throws.session[:, None] == sessions).astype(float)
    trend = np.zeros(len(throws.value))
    for s in sessions:
        inside = throws.session == s
        number = throws.number[inside]
        trend[inside] = (number - (number.min() + number.max()) / 2) / max(np.ptp(number), 1.0)
    penalty = np.append(np.zeros(len(sessions)), 1 / max(noise.drift_sd, 1e-3) ** 2)
    return np.column_stack([levels, trend]), penalty


def _precision(throws: Throws, lag_correlation: float, weight: Floats) -> tuple[Floats, Floats]:
    """Diagonal and next-to-diagonal of the inverse covariance of a weighted AR(1) series.

    A throw that is missing between two lets their correlation fall; a new session starts afresh.
    """
    gap = np.maximum(np.diff(throws.number), 1)
    follows = np.where(np.diff(throws.session) == 0, lag_correlation**gap, 0.0)
    innovation = 1 - np.append(0.0, follows) ** 2
    diagonal = 1 / innovation
    diagonal[:-1] += follows**2 / innovation[1:]
    beside = -follows / innovation[1:]
    root = np.sqrt(weight)
    return diagonal * weight, beside * root[1:] * root[:-1]


def _times(diagonal: Floats, beside: Floats, v: Floats) -> Floats:
    """The tridiagonal matrix times a vector or the columns of a matrix."""
    turned = v.T
    out = turned * diagonal
    out[..., 1:] += turned[..., :-1] * beside
    out[..., :-1] += turned[..., 1:] * beside
    return out.T


def _weight(residual: Floats, scale: float, sd: Floats) -> Floats:
    """1 for a usual throw; less for a wild or poorly measured one. Shape (n,)."""
    if scale == 0:
        return np.ones_like(residual)
    between = max(scale**2 - float(np.median(sd**2)), scale**2 / 4)
    measured = (between + float(np.mean(sd**2))) / (between + sd**2)
    size = np.abs(residual) / (WILD * scale)
    return measured / np.maximum(size, 1.0) ** 2


def _robust_scale(residual: Floats) -> float:
    """Median absolute deviation as an SD; the plain SD where more than half are equal."""
    scale = 1.4826 * float(np.median(np.abs(residual)))
    return scale if scale > 0 else float(np.std(residual))


def _interval(contrast: _Contrast, alpha: float) -> tuple[float, float]:
    """Every shift that is not rejected at `alpha`.

    Under a shift u off the estimate, order z is as extreme as the observed one while
    |e - u d| >= g |u|, which is an interval round 0; p(u) is the share of orders whose interval holds u.
    """
    c, d, q = contrast.of_value, contrast.of_observed, contrast.information
    estimate = c[0] / q[0]
    e, g = c - estimate * d, np.sqrt(q * q[0])
    e[0] = 0.0
    same = g - np.abs(d) <= 1e-9 * g  # the observed order and its mirror image tie at every shift
    with np.errstate(divide="ignore", invalid="ignore"):
        above = np.where(e > 0, e / (g + d), -e / (g - d))
        below = np.where(e > 0, e / (g - d), -e / (g + d))
    above[same], below[same] = np.inf, np.inf
    k = int(np.floor(alpha * len(c) + 1e-9))
    return float(estimate - np.sort(below)[::-1][k]), float(estimate + np.sort(above)[::-1][k])


def _refined(
    throws: Throws, z: Floats, noise: Noise, contrast: _Contrast, alpha: float, low: float, high: float
) -> tuple[float, float]:
    """The ends with the weights found anew at each shift, which makes them exact; by halving."""

    def kept(shift: float) -> bool:
        return _fitted(replace(throws, value=throws.value - shift * z[0]), z, noise).p > alpha

    def end(first: float) -> float:
        reach = first - contrast.estimate
        if not np.isfinite(reach) or reach == 0:
            return first
        inner, outer = 0.0, 1.0  # in units of the reach
        while kept(contrast.estimate + outer * reach):
            inner, outer = outer, outer * 1.3
            if outer > 100:
                return float(np.copysign(np.inf, reach))
        inner = inner or 0.7
        while inner > 0.01 and not kept(contrast.estimate + inner * reach):
            inner, outer = inner * 0.7, inner
        for _ in range(HALVINGS):
            middle = (inner + outer) / 2
            inner, outer = (middle, outer) if kept(contrast.estimate + middle * reach) else (inner, middle)
        return contrast.estimate + outer * reach

    return end(low), end(high)


def _attainable(orders: NDArray[np.int8]) -> tuple[float, float]:
    """The least two-sided p, and the largest attainable level at or below 0.05."""
    best = 2 * float(np.mean((orders == orders[0]).all(axis=1)))
    return min(best, 1.0), float(np.floor(0.05 / best + 1e-9) * best)
