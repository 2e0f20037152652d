"""By how much the clocks of two clips of one throw differ, from the motion of the joints itself.

In:   for each clip times and curves that look the same from anywhere (angles and turning speeds).
Out:  the offset to add to the second clock, with its standard uncertainty.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from release.orientation.angles import unit

Array = NDArray[np.float64]

STEP_S = 0.0005  # of the first search
LEAST_SHARED_S = 0.03  # the curves must share this much
COARSE_S = 0.003  # of the search by the fit: its cost falls smoothly over some frames
NEAR_SHARE = 0.7  # of a coarse step, to both sides: the last parabola runs through what lies there
MOVES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """What to add to the second clock to get the first."""

    offset_s: float
    sd_s: float


def joint_curves(path_m: Array, time_s: Array) -> Array:
    """Curves of one arm that do not depend on where it is seen from, shape (k, 3).

    The elbow's flexion, and how fast forearm and hand turn in space; each freed of its mean and size.

    Args:
        path_m: Shape (k, 8, 3), CHAIN_POINTS of chain.py; time_s: shape (k,).
    """
    upper, fore = unit(path_m[:, 1] - path_m[:, 0]), unit(path_m[:, 2] - path_m[:, 1])
    hand = unit(path_m[:, 4] - path_m[:, 2])
    bend = np.arccos(np.clip(np.sum(upper * fore, axis=1), -1, 1))
    turning = [np.linalg.norm(np.gradient(d, time_s, axis=0), axis=1) for d in (fore, hand)]
    curves = np.column_stack([bend, *turning])
    return (curves - curves.mean(axis=0)) / np.maximum(curves.std(axis=0), 1e-9)


def offset_of_curves(
    first_s: Array, first: Array, second_s: Array, second: Array, *, guess_s: float, reach_s: float
) -> Offset | None:
    """The offset at which the second clip's curves lie best on the first's; None where none does.

    Args:
        first_s: Shape (k,); first: shape (k, c). Likewise for the second clip, at its own rate.
        guess_s: Searched `reach_s` to both sides of it.

    Returns:
        Found to a fraction of a frame by the parabola through the least three sums of squares; its
        uncertainty by that parabola's width, the curves' differences taken as their noise.
    """
    spline = CubicSpline(first_s, first)

    def apart(offset: float) -> float:
        moved = second_s + offset
        inside = (moved >= first_s[0]) & (moved <= first_s[-1])
        if not inside.any() or np.ptp(moved[inside]) < LEAST_SHARED_S:
            return np.nan
        return float(np.mean((spline(moved[inside]) - second[inside]) ** 2))

    tried = guess_s + np.arange(-reach_s, reach_s + STEP_S / 2, STEP_S)
    values = np.array([apart(offset) for offset in tried])
    if not np.isfinite(values).any():
        return None
    best = int(np.nanargmin(values))
    if best in (0, len(tried) - 1) or not np.isfinite(values[[best - 1, best + 1]]).all():
        return None
    # Neighbouring samples of a smooth curve err alike: a tenth of them count as independent.
    worth = max(len(second_s) * second.shape[1] / 10, 1.0)
    found = parabola(tried[best - 1 : best + 2], values[best - 1 : best + 2])
    return Offset(offset_s=found[0], sd_s=float(np.sqrt(values[best] / worth / max(found[1], 1e-12))))


def parabola(x: Array, y: Array) -> tuple[float, float]:
    """Place of the least value of the parabola through three points, and half its second derivative."""
    curve = np.polyfit(x - x[1], y, 2)
    if curve[0] <= 0:
        return float(x[int(np.argmin(y))]), 0.0
    return float(x[1] + np.clip(-curve[1] / (2 * curve[0]), x[0] - x[1], x[2] - x[1])), float(curve[0])


def offset_of_fit(cost: Callable[[float], float], guess_s: float, reach_s: float) -> Offset | None:
    """The offset of least cost of a fit to both clips; None where it lies at the end of the search.

    Args:
        cost: Minus twice the log likelihood at an offset.
        guess_s: Searched `reach_s` to both sides of it, and once more round the end if the best lies there;
            then closely round the best.

    Returns:
        The place and width of the parabola through all costs near the least: of two fits half a millisecond
        apart either may be the better by where its search happened to end.
    """
    costs: dict[float, float] = {}

    def tried_at(offsets: Array) -> Array:
        costs.update({float(offset): cost(float(offset)) for offset in offsets})
        return np.array([costs[float(offset)] for offset in offsets])

    for _ in range(MOVES):
        tried = guess_s + np.arange(-reach_s, reach_s + COARSE_S / 2, COARSE_S)
        best = int(np.argmin(tried_at(tried)))
        guess_s = float(tried[best])
        if 0 < best < len(tried) - 1:
            break
    else:
        return None
    place = guess_s
    for step in (COARSE_S / 2, COARSE_S / 6):
        x = place + step * np.array([-1.0, 0.0, 1.0])
        place, _ = parabola(x, tried_at(x))
    near = np.array([pair for pair in costs.items() if abs(pair[0] - place) < NEAR_SHARE * COARSE_S])
    bend, slope, _ = np.polyfit(near[:, 0] - place, near[:, 1], 2)
    if bend <= 0:
        return None
    return Offset(offset_s=float(place - slope / (2 * bend)), sd_s=float(1 / np.sqrt(bend)))


def offset_of_sound(first: Array, second: Array, rate_hz: float) -> Offset | None:
    """The offset of two sound tracks by their onsets; None where no onset stands out in both.

    Sound runs 3 m in 9 ms, so with phones apart this is a first guess for the motion to mend.

    Args:
        first, second: Mono samples from each clip's first frame on, shape (n,), at `rate_hz`.
    """
    strength = [_onsets(track, rate_hz) for track in (first, second)]
    size = 1 << int(np.ceil(np.log2(len(strength[0]) + len(strength[1]))))
    a, b = (np.fft.rfft(s, size) for s in strength)
    alike = np.fft.irfft(a * np.conj(b), size)
    lag = int(np.argmax(alike))
    spread = float(alike.std())
    if spread == 0 or alike[lag] < 8 * spread:  # noise alone seldom peaks at five
        return None
    around = np.arange(lag - 1, lag + 2)
    place, _ = parabola(around.astype(float), -alike[around % size])
    steps = place - size if place > size / 2 else place
    return Offset(offset_s=float(steps * ONSET_STEP_S), sd_s=0.01)


ONSET_STEP_S = 0.001


def _onsets(track: Array, rate_hz: float) -> Array:
    """Rises of the loudness, in steps of a millisecond."""
    step = max(round(rate_hz * ONSET_STEP_S), 1)
    whole = track[: len(track) // step * step].astype(float).reshape(-1, step)
    loud = np.log(np.mean(whole**2, axis=1) + 1e-8)
    rises = np.maximum(np.diff(loud, prepend=loud[:1]), 0.0)
    return rises - rises.mean()
