import numpy as np
import pytest

from release.session.clocks import LEAST_TOLD, likely_offsets, told_by_gaps


def two_lists(rng, gaps_s, jitter_s):
    when = np.cumsum(gaps_s)
    return tuple(np.sort(when + rng.normal(0, jitter_s, len(when))) for _ in range(2))


def told(gaps_s, jitter_s, time_sd_s=0.0, seed=0):
    lists = two_lists(np.random.default_rng(seed), gaps_s, jitter_s)
    blank = np.full(len(gaps_s), time_sd_s)
    return told_by_gaps(lists, (blank, blank), np.sqrt(2) * jitter_s)


def test_times_tell_as_much_as_the_lists_share_of_their_unevenness():
    uneven = np.random.default_rng(1).uniform(16, 36, 4000)
    # Variance of the gaps 20^2 / 12, of the jitter in a gap 2 x 2^2.
    assert told(uneven, 2.0) == pytest.approx(1 - 8 / (400 / 12 + 8), abs=0.05)
    assert told(uneven, 2.0) < told(uneven, 0.5)


def test_even_throwing_tells_next_to_nothing():
    assert told(np.full(80, 26.0), 2.0) < 0.2
    assert told(np.full(80, 26.0), 2.0, time_sd_s=17.0) == LEAST_TOLD


def test_a_throw_that_both_lists_lack_is_no_unevenness():
    gaps = np.where(np.arange(80) % 10 == 0, 52.0, 26.0)
    assert told(gaps, 2.0) < 0.2


def test_two_throws_tell_nothing():
    assert told(np.array([26.0, 30.0]), 2.0) == LEAST_TOLD


def test_the_offset_of_two_clocks_is_among_those_to_try():
    rng = np.random.default_rng(2)
    a, b = two_lists(rng, rng.uniform(12, 40, 60), 2.0)
    offset_s, _ = min(likely_offsets(a, b + 5400), key=lambda found: abs(found[0] - 5400))
    assert offset_s == pytest.approx(5400, abs=3)
