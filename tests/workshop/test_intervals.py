"""The floor that makes stated intervals hold."""

import numpy as np
import pytest

from release.workshop.intervals import floor_for, left_out_coverage


def test_the_floor_is_what_the_stated_uncertainty_lacks():
    rng = np.random.default_rng(1)
    sd = np.full(4000, 3.0)
    error = rng.normal(0, 5, 4000)
    assert floor_for(error, sd) == pytest.approx(4.0, abs=0.3)  # 3, 4 and 5


def test_intervals_that_hold_already_get_none():
    rng = np.random.default_rng(2)
    assert floor_for(rng.normal(0, 1, 500), np.full(500, 2.0)) == 0.0


def test_a_clip_is_never_judged_by_its_own_floor():
    rng = np.random.default_rng(3)
    covered = [left_out_coverage(rng.standard_t(3, 60) * 4, np.full(60, 2.0)) for _ in range(40)]
    assert np.mean(covered) == pytest.approx(0.95, abs=0.015)


def test_too_few_clips_take_the_largest():
    assert floor_for(np.array([1.0, 9.8]), np.array([0.0, 0.0])) == pytest.approx(9.8 / 1.959964)
