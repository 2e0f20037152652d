"""All order-preserving matchings of two lists, summed up: how likely is each pair, over all of them.

A matching pairs some rows of list A with rows of list B, each at most once and never crossing. Its weight is
the product of the odds of its pairs, odds being how much likelier the two rows are as one throw than as two
rows that only one list has. Forward-backward over the band of pairs that can match at all.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

TOO_LARGE = 1e60  # products of three such stay finite


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


def match_probability(band: Band, odds: NDArray[np.float64], m: int) -> tuple[NDArray[np.float64], float]:
    """The probability of each pair and the log of the summed weight of all matchings.

    Args:
        band: n rows.
        odds: One for each pair of the band, 0 where it is forbidden.
        m: Rows of B.

    Returns:
        Shape (pairs,), and the log evidence (0 where nothing can match).
    """
    odds = np.minimum(odds, TOO_LARGE)
    wide = len(odds) > 40 * max(len(band.start), 1)
    return _by_rows(band, odds, m) if wide else _by_cells(band, odds)


def _by_cells(band: Band, odds: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Narrow bands, cell by cell: `sums` holds the matchings so far that end below each column."""
    start, stop, cells = band.start.tolist(), band.stop.tolist(), odds.tolist()
    n = len(start)
    sums, base, scale = [1.0], 0, 0.0  # sums[k]: matchings that use columns below base + k; flat beyond
    kept: list[tuple[list[float], float]] = []
    at = 0
    for lo, hi in zip(start, stop, strict=True):
        width = hi - lo
        if base < lo:
            sums = sums[lo - base :] or sums[-1:]
            base = lo
        while len(sums) <= width:
            sums.append(sums[-1])
        kept.append((sums, scale))
        added, new = 0.0, [sums[0]]
        for k in range(width):
            added += cells[at + k] * sums[k]
            new.append(sums[k + 1] + added)
        at += width
        if new[-1] > TOO_LARGE:
            scale += math.log(new[-1])
            new = [value / new[-1] for value in new]
        sums = new
    log_all = scale + math.log(sums[-1])
    return np.array(_backward(start, stop, cells, kept, log_all, n)), log_all


def _backward(
    start: list[int],
    stop: list[int],
    cells: list[float],
    kept: list[tuple[list[float], float]],
    log_all: float,
    n: int,
) -> list[float]:
    chance = [0.0] * len(cells)
    # after[k]: matchings of the later rows that use columns from top - k on; flat beyond.
    after, top, scale = [1.0], stop[-1] if n else 0, 0.0
    at = len(cells)
    for i in range(n - 1, -1, -1):
        lo, hi = start[i], stop[i]
        width = hi - lo
        at -= width
        if top > hi:
            after = after[top - hi :] or after[-1:]
            top = hi
        while len(after) <= width:
            after.append(after[-1])
        before, before_scale = kept[i]
        factor = math.exp(before_scale + scale - log_all) if before_scale + scale - log_all > -700 else 0.0
        added, new = 0.0, [after[0]]
        for k in range(width):  # column hi - 1 - k; columns above it start at after[k]
            cell = cells[at + width - 1 - k]
            chance[at + width - 1 - k] = cell * before[width - 1 - k] * after[k] * factor
            added += cell * after[k]
            new.append(after[k + 1] + added)
        if new[-1] > TOO_LARGE:
            scale += math.log(new[-1])
            new = [value / new[-1] for value in new]
        after = new
    return chance


def _by_rows(band: Band, odds: NDArray[np.float64], m: int) -> tuple[NDArray[np.float64], float]:
    """Wide bands, a row at a time over the band's columns."""
    n = len(band.start)
    at = np.concatenate([[0], np.cumsum(band.stop - band.start)])
    forward, scale = np.ones(m + 1), 0.0
    kept = np.empty(len(odds))
    kept_scale = np.empty(n)
    for i in range(n):
        lo, hi = band.start[i], band.stop[i]
        kept[at[i] : at[i + 1]], kept_scale[i] = forward[lo:hi], scale
        grown = np.cumsum(odds[at[i] : at[i + 1]] * forward[lo:hi])
        if len(grown):
            forward[lo + 1 : hi + 1] += grown
            forward[hi + 1 :] += grown[-1]
        if forward[-1] > TOO_LARGE:
            scale += math.log(forward[-1])
            forward /= forward[-1]
    log_all = scale + math.log(forward[-1])
    backward, scale = np.ones(m + 1), 0.0  # backward[j]: matchings of later rows with columns from j on
    chance = np.empty(len(odds))
    for i in range(n - 1, -1, -1):
        lo, hi = band.start[i], band.stop[i]
        cells = odds[at[i] : at[i + 1]]
        factor = math.exp(max(kept_scale[i] + scale - log_all, -700))
        chance[at[i] : at[i + 1]] = cells * kept[at[i] : at[i + 1]] * backward[lo + 1 : hi + 1] * factor
        grown = np.cumsum((cells * backward[lo + 1 : hi + 1])[::-1])[::-1]
        if len(grown):
            backward[lo:hi] += grown
            backward[:lo] += grown[0]
        if backward[0] > TOO_LARGE:
            scale += math.log(backward[0])
            backward /= backward[0]
    return chance, log_all
