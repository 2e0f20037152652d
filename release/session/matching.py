"""All order-preserving matchings of two lists, summed up: how likely is each pair, over all of them.

A matching pairs some rows of list A with rows of list B, each at most once and never crossing. Its weight is
the product of the odds of its pairs, odds being how much likelier the two rows are as one throw than as two
rows that only one list has. Forward-backward over the band of pairs that can match at all.

The sums over long lists are beyond any float, and those of one row lie further apart than floats reach. So
none is kept. Let S[i, j] sum the matchings of the rows before i with the columns before j. Kept are ratios
and probabilities, finite whatever the sums are:

    below[j] = S[i, j] / S[i, j + 1], from 0 to 1
    grown[j] = S[i + 1, j] / S[i, j] = 1 + added[j], where added[j + 1] = below[j] (added[j] + odds[i, j])
    split[j]: the probability that the rows before i take columns before j only, the others none of these
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.blas import dtbsv

MOST_ODDS = 1e60  # sums of such stay finite

F = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The pairs that can match: for row i of A, rows start[i]..stop[i]-1 of B; both bounds never fall."""

    start: NDArray[np.int64]  # shape (n,)
    stop: NDArray[np.int64]  # shape (n,)

    @property
    def row(self) -> NDArray[np.int64]:
        """Row of A of each pair, pairs in reading order."""
        return np.repeat(np.arange(len(self.start)), self.stop - self.start)

    @property
    def column(self) -> NDArray[np.int64]:
        """Row of B of each pair."""
        counts = self.stop - self.start
        before = np.repeat(np.cumsum(counts) - counts, counts)
        return np.arange(counts.sum()) - before + np.repeat(self.start, counts)


def whole_band(n: int, m: int) -> Band:
    """Every row of A with every row of B."""
    return Band(start=np.zeros(n, np.int64), stop=np.full(n, m, np.int64))


def match_probability(band: Band, odds: F, m: int) -> tuple[F, float]:
    """The probability of each pair and the log of the summed weight of all matchings.

    Args:
        band: n rows.
        odds: One for each pair of the band, 0 where it is forbidden.
        m: Rows of B.

    Returns:
        Shape (pairs,), and the log evidence (0 where nothing can match).
    """
    odds = np.minimum(odds, MOST_ODDS)
    wide = len(odds) > 40 * max(len(band.start), 1)
    chance, log_all = (_by_rows if wide else _by_cells)(band, odds, m)
    return np.minimum(chance, 1.0), log_all  # rounding may pass 1


def _by_cells(band: Band, odds: F, m: int) -> tuple[F, float]:
    """Narrow bands, cell by cell."""
    start, stop, cells = band.start.tolist(), band.stop.tolist(), odds.tolist()
    below, log_all = [1.0] * m, 0.0
    kept: list[float] = []  # below, of each pair before its row
    grown: list[float] = []  # of each pair, at the column after it
    for lo, hi in zip(start, stop, strict=True):
        grow = 1.0
        for j in range(lo, hi):
            ratio, before = below[j], grow
            grow = 1 + ratio * (grow - 1 + cells[len(kept)])
            kept.append(ratio)
            grown.append(grow)
            below[j] = ratio * before / grow
        log_all += math.log(grow)
    chance = (odds * np.array(kept) / np.array(grown)).tolist()
    split, known, at = [1.0] * (m + 1), m, len(cells)
    for lo, hi in zip(reversed(start), reversed(stop), strict=True):
        for j in range(known - 1, lo - 1, -1):  # no later row comes so low
            split[j] = split[j + 1] * below[j]
        known, across = min(lo, known), 0.0
        for j in range(hi, lo, -1):
            at -= 1
            chance[at] *= split[j]
            split[j] = split[j] / grown[at] + across
            across = chance[at] + kept[at] * across
        split[lo] += across
    return np.array(chance), log_all


def _by_rows(band: Band, odds: F, m: int) -> tuple[F, float]:
    """Wide bands, a row at a time: the same as `_by_cells`."""
    ends = np.cumsum(band.stop - band.start)
    spans = np.stack([band.start, band.stop, ends - (band.stop - band.start), ends], axis=1)
    spans = spans[band.stop > band.start].tolist()
    below, log_all = np.ones(m), 0.0
    kept, grown = np.empty(len(odds)), np.empty(len(odds))
    for lo, hi, first, end in spans:
        ratio, grow = below[lo:hi], grown[first:end]
        kept[first:end] = ratio
        grow[:] = 1 + _carried_up(ratio, ratio * odds[first:end])
        ratio /= grow
        ratio[1:] *= grow[:-1]
        log_all += math.log(grow[-1])
    chance = odds * kept / grown
    split, known = np.ones(m + 1), m
    for lo, hi, first, end in reversed(spans):
        split[lo:known] = split[known] * np.cumprod(below[lo:known][::-1])[::-1]
        known = lo
        chance[first:end] *= split[lo + 1 : hi + 1]
        split[lo + 1 : hi + 1] /= grown[first:end]
        split[lo:hi] += _carried_down(kept[first:end], chance[first:end])
    return chance, log_all


def _carried_up(ratio: F, new: F) -> F:
    """x[j] = ratio[j] x[j - 1] + new[j], as the bidiagonal system that this is."""
    system = np.ones((2, len(new)), order="F")
    system[1, :-1] = -ratio[1:]
    return dtbsv(1, system, new, lower=1, diag=1)


def _carried_down(ratio: F, new: F) -> F:
    """x[j] = new[j] + ratio[j] x[j + 1]."""
    system = np.ones((2, len(new)), order="F")
    system[0, 1:] = -ratio[:-1]
    return dtbsv(1, system, new, lower=0, diag=1)
