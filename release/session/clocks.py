"""How far apart two lists' clocks may stand: the few offsets and drifts under which their times agree."""

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import gaussian_filter1d

MOST_DRIFT = 1e-4  # 100 ppm
SPREAD_S = 3.0  # two clocks' jitter of 2 s each
APART_S = 8.0  # offsets closer than this are one
MOST_KEPT = 200  # even throwing lets the clocks stand in about as many ways as there are throws
LONG_S = 50_000
LONG_PAIRS = 1_000_000  # of lists so long the times tell far more about the clocks
WORTH, WORTH_LONG = 0.5, 0.8  # of the best agreement

NEAR_MEDIAN = 0.45  # gaps this near to the median are one throw after another, none missing between
LEAST_TOLD = 0.05  # even throwing still rules out clocks under which the lists hardly meet

F = NDArray[np.float64]


def likely_offsets(a_s: F, b_s: F) -> list[tuple[float, float]]:
    """Offsets and drifts (b = a + offset + drift (a - a[0])) worth trying, best first.

    Cross-correlates the two lists' throws on a grid of a second, for each drift that would blur it.

    Args:
        a_s: Times of one list, increasing.
        b_s: Times of the other, increasing.
    """
    long_s = max(float(np.ptp(a_s)), float(np.ptp(b_s)))
    step_s = 1.0 if long_s < LONG_S else 3.0
    steps = int(np.ceil(MOST_DRIFT * long_s / (4 * step_s)))
    drifts = np.linspace(-MOST_DRIFT, MOST_DRIFT, 2 * steps + 1) if steps > 1 else np.zeros(1)
    length = next_fast_len(int((np.ptp(a_s) * (1 + MOST_DRIFT) + np.ptp(b_s)) / step_s) + 64, real=True)
    b = rfft(gaussian_filter1d(_grid(b_s - b_s[0], step_s, length), max(SPREAD_S / step_s, 1.5), mode="wrap"))
    agreement, best = np.full(length, -np.inf), np.zeros(length)
    for drift in drifts:
        a = rfft(_grid((a_s - a_s[0]) * (1 + drift), step_s, length))
        level = np.asarray(irfft(b * np.conj(a), length))
        better = level > agreement
        agreement[better], best[better] = level[better], drift
    shifts = np.arange(length)
    shifts = np.where(shifts > np.ptp(b_s) / step_s + 32, shifts - length, shifts) * step_s + b_s[0] - a_s[0]
    found: list[tuple[float, float]] = []
    top, near = float(agreement.max()), int(APART_S / step_s)
    worth = WORTH if len(a_s) * len(b_s) < LONG_PAIRS else WORTH_LONG
    while len(found) < MOST_KEPT:
        peak = int(agreement.argmax())
        if agreement[peak] < worth * top or agreement[peak] <= 0:
            break
        found.append((float(shifts[peak]), float(best[peak])))
        agreement[np.arange(peak - near, peak + near + 1) % length] = -np.inf
    return found


def told_by_gaps(times_s: tuple[F, F], time_sd_s: tuple[F, F], jitter_sd_s: float) -> float:
    """How much of what the times say of the clocks is to be believed, from LEAST_TOLD to 1.

    Two lists' times tell by the unevenness that they share. Where throws come evenly, most of the unevenness
    in either list is its own jitter, and any shift by a whole throw agrees with some of it by chance. Of two
    normal variables the share of variance that they have in common is how much one tells of the other.

    Args:
        times_s: Of each list, increasing.
        time_sd_s: Of each list, beyond the jitter.
        jitter_sd_s: Of a difference of the two clocks; that is also the jitter of a gap in one list.
    """
    squared = np.concatenate([_squared(np.diff(times)) for times in times_s])
    if len(squared) < 3:
        return LEAST_TOLD
    seen = squared.mean() * (1 - np.sqrt(2 / len(squared)))  # a standard error less than is seen
    own = jitter_sd_s**2 + 2 * np.mean(np.concatenate(time_sd_s) ** 2)
    return float(np.clip(1 - own / max(seen, 1e-9), LEAST_TOLD, 1))


def _squared(gaps: F) -> F:
    """How far gaps between one throw and the next lie from the usual one, squared."""
    usual = np.median(gaps) if len(gaps) else 0.0
    return (gaps[np.abs(gaps - usual) < NEAR_MEDIAN * usual] - usual) ** 2


def _grid(times: F, step_s: float, length: int) -> F:
    return np.bincount((times / step_s).astype(np.int64), minlength=length).astype(float)[:length]
