"""Other pitchers' record first, the pitcher's own throws over it."""

import numpy as np
import pandas as pd
import pytest

from release.suggest.response import cue_priors, own_responses, throw_scatter_deg


def throws(athlete: str, cue: str, *hands_deg: float, sd_deg: float = 4.0) -> pd.DataFrame:
    return pd.DataFrame({"athlete": athlete, "cue": cue, "hand_deg": list(hands_deg), "hand_sd_deg": sd_deg})


def record(n: int, adds_deg: float, spread_deg: float, seed: int = 0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(n):
        usual, add = rng.normal(0, 10), rng.normal(adds_deg, spread_deg)
        rows.append(throws(f"P-{i}", "", *(usual + rng.normal(0, 6.4, 8))))
        rows.append(throws(f"P-{i}", "karate-chop it", *(usual + add + rng.normal(0, 6.4, 8))))
    return pd.concat(rows, ignore_index=True)


def test_the_pooled_mean_and_spread_are_those_that_made_the_record():
    priors = cue_priors(record(200, adds_deg=-12, spread_deg=8), ["karate-chop it"])
    assert priors.mean_deg[0] == pytest.approx(-12, abs=1.5)
    assert priors.spread_deg == pytest.approx(8, abs=1.5)
    assert priors.throw_sd_deg == pytest.approx(5, abs=0.4)  # 6.4 with the measurement's 4 taken out
    assert priors.pitchers[0] == 200


def test_pitchers_who_are_alike_show_no_spread():
    assert cue_priors(record(200, -12, 0.0), ["karate-chop it"]).spread_deg < 2.5


def test_a_cue_that_nobody_tried_may_turn_the_hand_either_way():
    priors = cue_priors(record(20, -12, 8), ["unheard of"])
    assert priors.mean_deg[0] == 0
    assert priors.mean_sd_deg[0] >= 10
    assert priors.throws[0] == 0


def test_others_who_never_threw_as_usual_beside_a_cue_tell_nothing_of_it():
    one = throws("P-1", "karate-chop it", *[-30.0] * 8)
    assert cue_priors(one, ["karate-chop it"]).throws.tolist() == [0]
    beside = pd.concat([one, throws("P-2", "", *[0.0] * 4), throws("P-2", "karate-chop it", *[-9.0] * 3)])
    assert cue_priors(beside, ["karate-chop it"]).throws.tolist() == [3]


def test_with_no_throws_of_the_pitcher_the_answer_is_the_others_record():
    priors = cue_priors(record(100, -12, 8), ["karate-chop it"])
    own = own_responses(throws("new", ""), priors)
    assert own.mean_deg[0] == pytest.approx(priors.mean_deg[0])
    assert np.sqrt(own.cov_deg2[0, 0]) == pytest.approx(np.hypot(priors.spread_deg, priors.mean_sd_deg[0]))
    assert np.isnan(own.uncued_deg)


def test_many_throws_of_the_pitcher_outweigh_the_others():
    priors = cue_priors(record(100, -12, 8), ["karate-chop it"])
    own = pd.concat([throws("new", "", *[5.0] * 200), throws("new", "karate-chop it", *[15.0] * 200)])
    response = own_responses(own, priors)
    assert response.mean_deg[0] == pytest.approx(10, abs=0.5)
    assert response.uncued_deg == pytest.approx(5, abs=0.5)


def test_one_throw_moves_the_answer_by_the_normal_formula():
    """Posterior of a normal mean with known variances: Gelman et al., BDA 3, section 2.5."""
    priors = cue_priors(record(100, -12, 8), ["karate-chop it"])
    own = pd.concat([throws("new", "", *[0.0] * 100_000), throws("new", "karate-chop it", 10.0)])
    prior_var = priors.mean_sd_deg[0] ** 2 + priors.spread_deg**2
    noise_var = priors.throw_sd_deg**2 + 16
    expected = (priors.mean_deg[0] / prior_var + 10 / noise_var) / (1 / prior_var + 1 / noise_var)
    assert own_responses(own, priors).mean_deg[0] == pytest.approx(expected, abs=0.01)


def test_a_left_handers_mirror_gets_the_mirrored_answer():
    table = record(50, -12, 8)
    mirrored = table.assign(hand_deg=-table["hand_deg"])
    a, b = (cue_priors(t, ["karate-chop it"]) for t in (table, mirrored))
    assert a.mean_deg[0] == pytest.approx(-b.mean_deg[0])
    assert a.spread_deg == pytest.approx(b.spread_deg)


def test_too_few_throws_to_tell_their_scatter_fall_back_to_the_usual():
    assert throw_scatter_deg(throws("new", "", 1.0, 9.0)) == 5.0


def test_hand_and_ball_of_a_throw_count_together_as_the_full_covariance_has_it():
    """The posterior by the dense formula: a throw's own scatter shared, each measurement's error apart."""
    own = pd.DataFrame(
        {
            "athlete": "own",
            "cue": ["", "", "a", "a"],
            "hand_deg": [-40.0, -44.0, -55.0, -50.0],
            "hand_sd_deg": [4.0, 3.0, 4.0, 5.0],
            "ball_turn_deg": [np.nan, 2.0, -9.0, np.nan],
            "ball_turn_sd_deg": [np.nan, 1.5, 2.0, np.nan],
        }
    )
    priors = cue_priors(own.iloc[:0], ["a"])
    found = own_responses(own, priors)
    rows = np.array([[1, 0], [1, 0], [1, 1], [1, 1], [0, 0], [0, 1]], float)
    throw, value = np.array([0, 1, 2, 3, 1, 2]), np.array([-40, -44, -55, -50, 2, -9.0])
    error = np.diag(np.square([4, 3, 4, 5, 1.5, 2]))
    noise = np.linalg.inv(priors.throw_sd_deg**2 * (throw[:, None] == throw) + error)
    prior = np.diag([1e-6, 1 / (priors.mean_sd_deg[0] ** 2 + priors.spread_deg**2)])
    cov = np.linalg.inv(prior + rows.T @ noise @ rows)
    assert found.cov_deg2[0, 0] == pytest.approx(cov[1, 1], rel=1e-6)
    assert found.mean_deg[0] == pytest.approx((cov @ rows.T @ noise @ value)[1], rel=1e-4)
