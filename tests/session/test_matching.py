import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from release.session import matching
from release.session.matching import Band, match_probability, whole_band

WAYS = {"cells": matching._by_cells, "rows": matching._by_rows}


def every_matching(n, m):
    """All order-preserving matchings, by brute force."""
    for k in range(min(n, m) + 1):
        for rows in combinations(range(n), k):
            for columns in combinations(range(m), k):
                yield list(zip(rows, columns, strict=True))


def brute_force(odds):
    weights = {tuple(pairs): math.prod(odds[i, j] for i, j in pairs) for pairs in every_matching(*odds.shape)}
    total = sum(weights.values())
    chance = np.zeros(odds.shape)
    for pairs, weight in weights.items():
        for i, j in pairs:
            chance[i, j] += weight / total
    return chance, math.log(total)


def in_logarithms(odds):
    """Forward-backward over whole bands, every sum as its logarithm."""

    def summed(log_odds):
        logs = np.zeros((len(log_odds) + 1, log_odds.shape[1] + 1))
        for i, row in enumerate(log_odds):
            logs[i + 1, 0] = logs[i, 0]
            logs[i + 1, 1:] = np.logaddexp(logs[i, 1:], np.logaddexp.accumulate(row + logs[i, :-1]))
        return logs

    log_odds = np.log(odds)
    before, after = summed(log_odds), summed(log_odds[::-1, ::-1])[::-1, ::-1]
    return np.exp(log_odds + before[:-1, :-1] + after[1:, 1:] - before[-1, -1]), before[-1, -1]


@settings(deadline=None)
@given(data=st.data(), n=st.integers(1, 5), m=st.integers(1, 5))
@pytest.mark.parametrize("way", WAYS)
def test_probabilities_are_those_of_all_matchings(way, data, n, m):
    odds = np.array(data.draw(st.lists(st.floats(0, 1e6), min_size=n * m, max_size=n * m))).reshape(n, m)
    expected, log_all = brute_force(odds)
    band = whole_band(n, m)
    actual = WAYS[way](band, odds.ravel(), m)
    assert actual[0].reshape(n, m) == pytest.approx(expected, abs=1e-9)
    assert actual[1] == pytest.approx(log_all)


@settings(deadline=None)
@given(data=st.data(), n=st.integers(1, 5), m=st.integers(1, 6))
def test_a_narrow_band_forbids_what_lies_outside(data, n, m):
    start = np.sort(data.draw(st.lists(st.integers(0, m - 1), min_size=n, max_size=n)))
    stop = np.maximum.accumulate(np.minimum(start + data.draw(st.integers(0, 3)), m))
    band = Band(start=np.asarray(start), stop=stop)
    odds = np.zeros((n, m))
    odds[band.row, band.column] = np.linspace(0.5, 50, len(band.row))
    expected, log_all = brute_force(odds)
    actual = match_probability(band, odds[band.row, band.column], m)
    assert actual[0] == pytest.approx(expected[band.row, band.column], abs=1e-9)
    assert actual[1] == pytest.approx(log_all)


def test_long_lists_do_not_overflow():
    n = 3000
    band = Band(start=np.maximum(np.arange(n) - 1, 0), stop=np.minimum(np.arange(n) + 2, n))
    chance, log_all = match_probability(band, np.where(band.row == band.column, 1e9, 1e-3), n)
    assert chance[band.row == band.column] == pytest.approx(1, abs=1e-6)
    assert log_all == pytest.approx(n * math.log(1e9), rel=1e-6)


@settings(deadline=None, max_examples=20)
@given(
    n=st.integers(1, 100),
    m=st.integers(1, 80),
    log_odds=st.floats(-20, 130),
    spread=st.floats(0, 10),
    seed=st.integers(0, 99),
)
@example(n=1000, m=120, log_odds=10, spread=2, seed=0)  # the sums of one row lie e^1900 apart
@example(n=120, m=1000, log_odds=10, spread=2, seed=0)
@example(n=1000, m=30, log_odds=30, spread=2, seed=0)
@pytest.mark.parametrize("way", WAYS)
def test_sums_far_beyond_any_float_still_give_probabilities(way, n, m, log_odds, spread, seed):
    odds = np.exp(np.random.default_rng(seed).normal(log_odds, spread, (n, m)).clip(max=138))
    expected, log_all = in_logarithms(odds)
    actual = WAYS[way](whole_band(n, m), odds.ravel(), m)
    assert actual[0].reshape(n, m) == pytest.approx(expected, abs=1e-9)
    assert actual[1] == pytest.approx(log_all)


@pytest.mark.parametrize(("n", "m"), [(1000, 120), (1000, 35)])
def test_many_rows_against_few_give_probabilities(n, m):
    odds = np.full(n * m, 1e12)
    chance, _ = match_probability(whole_band(n, m), odds, m)
    assert chance.min() >= 0
    assert chance.max() <= 1
    assert chance.sum() == pytest.approx(min(n, m))  # at such odds, all of the few
