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
    covered = [left_out_coverage(rng.normal(0, 4, 60), np.full(60, 2.0)) for _ in range(40)]
    assert np.mean(covered) == pytest.approx(0.95, abs=0.015)


def test_one_clip_misread_altogether_does_not_widen_all_others():
    rng = np.random.default_rng(4)
    error = rng.normal(0, 5, 200)
    wild = np.append(error[:-1], 170.0)
    assert floor_for(wild, np.full(200, 3.0)) == pytest.approx(floor_for(error, np.full(200, 3.0)), abs=0.3)
