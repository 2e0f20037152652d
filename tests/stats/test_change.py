"""The re-randomisation test: exact, invertible, robust, and true to the design."""

from itertools import combinations, groupby, product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from release.stats import change
from release.stats.change import Throws, difference, randomisation_p
from release.stats.draws import redraw
from release.stats.result import Noise

DATA = Path(__file__).parent / "data"
PLAIN = Noise(throw_sd=None, lag_correlation=0.0, drift_sd=0.0, sessions=0)  # a difference of means
FREE_BLOCKS = redraw([0, 1, 1, 0, 1, 0, 0, 1], [0] * 8, None).orders[:, np.repeat(np.arange(8), 2)]


@pytest.fixture
def unweighted(monkeypatch):
    monkeypatch.setattr(change, "WILD", 1e12)


def throws(value, sd=None, session=None):
    n = len(value)
    return Throws(
        value=np.asarray(value, float),
        sd=np.zeros(n) if sd is None else np.asarray(sd, float),
        number=np.arange(1.0, n + 1),
        session=np.zeros(n, np.int64) if session is None else np.asarray(session),
    )


@pytest.mark.usefixtures("unweighted")
def test_darwins_maize_gives_fishers_exact_p():
    # Darwin (1876); Fisher (1935), The Design of Experiments, section 21: 1726 of 32768 orders, two-sided.
    maize = pd.read_csv(DATA / "darwin_1876.csv")
    first = np.array(list(product([1, 0], repeat=15)), np.int8)
    orders = np.stack([1 - first, first], axis=2).reshape(len(first), 30)
    value = maize[["crossed", "self"]].to_numpy()[:, ::-1].ravel()  # self first, so that orders[-1] is it
    orders = orders[::-1] if orders[0, 0] else orders
    pairs = throws(value, session=np.repeat(np.arange(15), 2))
    assert (orders[0][:2] == [0, 1]).all()
    assert randomisation_p(pairs, orders, PLAIN) == pytest.approx(1726 / 32768, abs=1e-12)


@pytest.mark.usefixtures("unweighted")
def test_tea_tasting_gives_fishers_exact_p_with_ties_counted():
    # Fisher (1935): three of four cups told right, two-sided 34/70.
    orders = redraw([0, 0, 0, 0, 1, 1, 1, 1], [0] * 8, None).orders
    assert difference(throws([0, 0, 0, 1, 1, 1, 1, 0]), orders, PLAIN).p == pytest.approx(34 / 70, abs=1e-12)


@pytest.mark.usefixtures("unweighted")
def test_interval_holds_exactly_the_shifts_that_are_not_rejected():
    value = np.random.default_rng(3).normal(0, 5, 16) + 9 * FREE_BLOCKS[0]
    found = difference(throws(value), FREE_BLOCKS)
    for end in (found.low, found.high):
        inside = found.estimate + 0.97 * (end - found.estimate)
        assert randomisation_p(throws(value - end * FREE_BLOCKS[0]), FREE_BLOCKS) <= 0.05
        assert randomisation_p(throws(value - inside * FREE_BLOCKS[0]), FREE_BLOCKS) > 0.05


def test_one_wild_throw_hardly_moves_the_answer():
    value = np.random.default_rng(5).normal(0, 3, 16) + 12 * FREE_BLOCKS[0]
    wild = value.copy()
    wild[4] += 80
    usual, shaken = difference(throws(value), FREE_BLOCKS), difference(throws(wild), FREE_BLOCKS)
    assert shaken.estimate == pytest.approx(usual.estimate, abs=2)
    assert shaken.p <= 0.05


def test_a_straight_drift_over_the_session_is_not_taken_for_a_cue():
    orders = np.array([o for o in FREE_BLOCKS if o[:8].sum() == 2])  # mostly the first cue, then the second
    drifting = difference(throws(np.linspace(0, 20, 16)), orders, Noise(
        throw_sd=None, lag_correlation=0.0, drift_sd=1000.0, sessions=0
    ))  # fmt: skip
    assert drifting.estimate == pytest.approx(0, abs=1e-3)


def test_a_badly_measured_throw_counts_for_less():
    value, sd = np.zeros(16), np.ones(16)
    value[:] = np.random.default_rng(1).normal(0, 3, 16)
    value[2] += 5
    poor = sd.copy()
    poor[2] = 30
    moved = (
        difference(throws(value, sd), FREE_BLOCKS).estimate
        - difference(throws(value, poor), FREE_BLOCKS).estimate
    )
    assert abs(moved) > 0.3


def test_fewer_than_eight_blocks_cannot_reach_one_in_twenty():
    for blocks, best in ((4, 2 / 6), (6, 2 / 20), (8, 2 / 70)):
        orders = redraw([0, 1] * (blocks // 2), [0] * blocks, None).orders[:, np.repeat(np.arange(blocks), 2)]
        found = difference(throws(np.arange(2.0 * blocks) % 5), orders)
        assert found.best_p == pytest.approx(best)


@given(st.floats(-50, 50), st.floats(0.1, 20), st.integers(0, 10**6))
@settings(max_examples=10, deadline=None)
def test_shifting_stretching_and_swapping_change_the_answer_as_they_should(shift, stretch, seed):
    value = np.random.default_rng(seed).standard_t(3, 16)
    one = difference(throws(value), FREE_BLOCKS)
    moved = difference(throws(shift + stretch * value), FREE_BLOCKS)
    swapped = difference(throws(value), 1 - FREE_BLOCKS)
    assert moved.p == one.p == swapped.p
    assert moved.estimate == pytest.approx(stretch * one.estimate, rel=1e-6, abs=1e-6)
    assert (swapped.low, swapped.high) == pytest.approx((-one.high, -one.low))


def test_p_is_uniform_over_the_orders_that_could_have_been_drawn():
    # Exactness: with the throws fixed, each of the 70 orders as the observed one; at most 5 % reject.
    value = np.random.default_rng(9).standard_t(2, 16).cumsum()
    p = []
    for k in range(70):
        orders = FREE_BLOCKS.copy()
        orders[[0, k]] = orders[[k, 0]]
        p.append(randomisation_p(throws(value), orders))
    assert np.mean(np.array(p) <= 0.05) <= 0.05
    assert sorted(p)[1] == pytest.approx(2 / 70)


class TestRedraw:
    def test_lists_every_allowed_order_once(self):
        orders = redraw([0, 1, 0, 1, 1, 0], [0] * 6, None).orders
        assert {tuple(np.flatnonzero(o)) for o in orders} == set(combinations(range(6), 3))

    def test_keeps_strata_balanced_and_runs_short(self):
        draws = redraw([0, 1, 1, 0, 1, 0, 0, 1], [0, 0, 0, 0, 1, 1, 1, 1], 2)
        assert (draws.orders[:, :4].sum(axis=1) == 2).all()
        assert max(len(list(run)) for order in draws.orders for _, run in groupby(order)) == 2
        assert len(draws.orders) == draws.possible < 36

    def test_leaves_a_third_cue_where_it_was(self):
        draws = redraw([0, 2, 1, 2, 0, 1], [0] * 6, None)
        assert draws.possible == 6
        assert (draws.orders[:, [1, 3]] == -1).all()

    def test_samples_long_designs_evenly_and_under_the_run_rule(self):
        draws = redraw([0, 1] * 20, [0] * 40, 3)
        assert not draws.listed
        assert np.abs(draws.orders.mean(axis=0) - 0.5).max() < 0.06
        assert (draws.orders.sum(axis=1) == 20).all()

    def test_refuses_an_order_that_the_rule_forbids(self):
        with pytest.raises(ValueError, match="more than 2 units of one cue in a row"):
            redraw([0, 0, 0, 1, 1, 1], [0] * 6, 2)
