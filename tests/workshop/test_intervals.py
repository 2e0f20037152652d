"""The factor that makes stated uncertainties true."""

import numpy as np
import pytest

from release.workshop.intervals import factor_for, left_out_coverage, own_factor_for


def test_the_factor_is_how_much_too_small_the_stated_uncertainty_is():
    rng = np.random.default_rng(1)
    sd = rng.uniform(2, 8, 4000)
    assert factor_for(rng.normal(0, 1.7 * sd), sd) == pytest.approx(1.7, abs=0.08)


def test_intervals_that_hold_already_stay_as_they_are():
    rng = np.random.default_rng(2)
    assert factor_for(rng.normal(0, 1, 500), np.full(500, 2.0)) == 1.0


def test_a_clip_is_never_judged_by_its_own_factor():
    rng = np.random.default_rng(3)
    alone = [None] * 60
    covered = [left_out_coverage(rng.normal(0, 4, 60), np.full(60, 2.0), alone) for _ in range(40)]
    assert np.mean(covered) == pytest.approx(0.95, abs=0.015)


def test_a_pitcher_is_never_judged_by_his_own_throws():
    error, sd = np.array([1.0, 1.0, 30.0, 30.0, 30.0]), np.full(5, 2.0)
    assert left_out_coverage(error, sd, [None, None, "one", "one", "one"]) == pytest.approx(2 / 5)
    assert left_out_coverage(error, sd, [None] * 5) == 1.0


def test_one_clip_misread_altogether_does_not_widen_all_others():
    rng = np.random.default_rng(4)
    error, sd = rng.normal(0, 5, 200), np.full(200, 3.0)
    wild = np.append(error[:-1], 170.0)
    assert factor_for(wild, sd) == pytest.approx(factor_for(error, sd), abs=0.1)


def test_what_all_throws_of_one_pitcher_share_is_no_part_of_a_throws_own_uncertainty():
    rng = np.random.default_rng(5)
    pitchers, throws = 400, 5
    shared = np.repeat(rng.normal(0, 6, pitchers), throws)
    error, sd = shared + rng.normal(0, 2, len(shared)), np.full(len(shared), 4.0)
    filmed_as = [str(k) for k in np.repeat(np.arange(pitchers), throws)]
    assert own_factor_for(error, sd, filmed_as) == pytest.approx(2 / 4, abs=0.03)
    assert factor_for(error, sd) == pytest.approx(np.hypot(6, 2) / 4, abs=0.1)
    with pytest.raises(ValueError, match="--throws"):
        own_factor_for(error[:2], sd[:2], ["1", None])
