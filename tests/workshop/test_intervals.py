"""The factor that makes stated uncertainties true."""

import numpy as np
import pytest

from release.workshop.intervals import factor_for, left_out_coverage


def test_the_factor_is_how_much_too_small_the_stated_uncertainty_is():
    rng = np.random.default_rng(1)
    sd = rng.uniform(2, 8, 4000)
    assert factor_for(rng.normal(0, 1.7 * sd), sd) == pytest.approx(1.7, abs=0.08)


def test_intervals_that_hold_already_stay_as_they_are():
    rng = np.random.default_rng(2)
    assert factor_for(rng.normal(0, 1, 500), np.full(500, 2.0)) == 1.0


def test_a_clip_is_never_judged_by_its_own_factor():
    rng = np.random.default_rng(3)
    covered = [left_out_coverage(rng.normal(0, 4, 60), np.full(60, 2.0)) for _ in range(40)]
    assert np.mean(covered) == pytest.approx(0.95, abs=0.015)


def test_one_clip_misread_altogether_does_not_widen_all_others():
    rng = np.random.default_rng(4)
    error, sd = rng.normal(0, 5, 200), np.full(200, 3.0)
    wild = np.append(error[:-1], 170.0)
    assert factor_for(wild, sd) == pytest.approx(factor_for(error, sd), abs=0.1)
