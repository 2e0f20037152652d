"""Hand against ball: within athletes, with noise in the angle, through the cue, and over athletes."""

from pathlib import Path

import numpy as np
import pandas as pd
import pingouin
import pytest

from release.stats.across import hartung_knapp, mixed, pooled
from release.stats.mediation import path_through_hand
from release.stats.relate import relate, repeated_measures_correlation, slope

DATA = Path(__file__).parent / "data"


def tidy(athlete, hand, ball, sd=None):
    rows = pd.DataFrame(
        {"athlete": athlete, "pitch": "slider", "cue": "", "session": 0, "hand": hand, "ball_in": ball}
    )
    rows["throw"] = rows.groupby("athlete").cumcount() + 1.0
    return rows if sd is None else rows.assign(hand_sd=sd)


def test_within_athlete_correlation_matches_bland_and_altman_1995():
    # Bland and Altman (1995), BMJ 310:446; data ship with pingouin: r = -0.51, 38 df, p = 0.0008.
    rows = pingouin.read_dataset("rm_corr").rename(columns={"Subject": "athlete"})
    r, low, high, p = repeated_measures_correlation(rows, "pH", "PacO2")
    assert (r, p) == pytest.approx((-0.50677, 0.000847), abs=1e-5)
    assert (low, high) == pytest.approx((-0.71, -0.23), abs=0.01)


def test_two_athletes_give_the_same_correlation_as_the_definition_for_more():
    rows = pingouin.read_dataset("rm_corr").rename(columns={"Subject": "athlete"})
    three, two = rows[rows["athlete"] <= 3], rows[rows["athlete"] <= 2]
    levels = two.groupby("athlete")[["pH", "PacO2"]].transform("mean")
    by_hand = np.corrcoef(two["pH"] - levels["pH"], two["PacO2"] - levels["PacO2"])[0, 1]
    assert repeated_measures_correlation(two, "pH", "PacO2")[0] == pytest.approx(by_hand)
    assert repeated_measures_correlation(three, "pH", "PacO2")[0] != pytest.approx(by_hand, abs=0.01)


def test_noise_in_the_angle_does_not_shrink_the_slope():
    rng = np.random.default_rng(2)
    athlete = np.repeat(np.arange(40), 100)
    angle = rng.normal(0, 6, 4000)
    measured = angle + rng.normal(0, 6, 4000)
    found = slope(
        measured, 0.3 * angle + rng.normal(0, 1, 4000), np.full(4000, 6.0), athlete, np.empty((4000, 0))
    )
    assert found.slope == pytest.approx(0.3, rel=0.05)
    assert found.plain == pytest.approx(0.15, rel=0.1)
    assert found.low < 0.3 < found.high


def test_within_and_between_athletes_can_go_opposite_ways():
    rng = np.random.default_rng(4)
    athlete = np.repeat([f"A-{i}" for i in range(8)], 20)
    level = np.repeat(np.arange(8) * 10.0, 20)
    turn = rng.normal(0, 5, 160)
    found = relate(
        tidy(athlete, level + turn, level - 0.5 * turn + rng.normal(0, 0.5, 160)), "hand", "ball_in"
    )[0]
    assert found.r < -0.9
    assert found.between_r > 0.9
    assert "shrinks" in found.why  # no standard uncertainty was given


def test_an_angle_that_is_all_noise_has_no_slope():
    rng = np.random.default_rng(5)
    rows = tidy(np.repeat(["A", "B", "C"], 30), rng.normal(0, 5, 90), rng.normal(0, 1, 90), sd=5.0)
    found = relate(rows, "hand", "ball_in")[0]
    assert found.within is None
    assert "mostly measurement error" in found.why


def test_paths_match_pingouins_worked_example():
    # pingouin.mediation_analysis on its own `mediation` data, as its documentation prints it:
    # M~X 0.561, Y~M 0.654 (X not held), direct 0.040, indirect 0.357 [0.22, 0.54].
    data = pingouin.read_dataset("mediation")
    found = path_through_hand(*(data[c].to_numpy(float) for c in "XMY"), resamples=500)
    assert found.hand_per_cue == pytest.approx(0.561015, abs=1e-6)
    assert found.direct == pytest.approx(0.039604, abs=1e-6)
    assert found.through == pytest.approx(0.356522, abs=1e-6)
    assert (found.through_low, found.through_high) == pytest.approx((0.22, 0.54), abs=0.05)


def test_noise_in_the_angle_does_not_hide_the_path():
    rng = np.random.default_rng(6)
    cue = np.repeat([0.0, 1.0], 1000)
    hand = 10 * cue + rng.normal(0, 5, 2000)
    found = path_through_hand(
        cue,
        hand + rng.normal(0, 4, 2000),
        0.3 * hand + rng.normal(0, 1, 2000),
        np.full(2000, 4.0),
        resamples=200,
    )
    assert found.share == pytest.approx(1, abs=0.1)


def test_mixed_model_matches_the_published_sleep_study():
    # Belenky et al. (2003); lme4: 251.405, 10.467; SE 6.825, 1.546; SD 24.74, 5.92; residual 25.59.
    wide = pd.read_csv(DATA / "sleepstudy_belenky_2003.csv")
    y = wide.filter(like="d").to_numpy(float).ravel()
    fixed = np.column_stack([np.ones(180), np.tile(np.arange(10.0), 18)])
    model = mixed(y, fixed, fixed, np.repeat(wide["Subject"].to_numpy(), 10))
    assert np.asarray(model.params)[:2] == pytest.approx([251.405, 10.467], abs=1e-3)
    assert np.asarray(model.bse)[:2] == pytest.approx([6.825, 1.546], abs=2e-3)
    assert np.sqrt(np.diag(np.asarray(model.cov_re))) == pytest.approx([24.74, 5.92], abs=0.01)
    assert np.sqrt(model.scale) == pytest.approx(25.59, abs=0.01)


def test_hartung_knapp_matches_statsmodels():
    from statsmodels.stats.meta_analysis import combine_effects

    estimate, se = np.array([2.0, 5.0, -1.0, 3.5]), np.array([1.0, 1.5, 0.8, 2.0])
    theirs = combine_effects(estimate, se**2, method_re="dl", use_t=True)
    centre, low, high = hartung_knapp(estimate, se, theirs.tau2)
    assert centre == pytest.approx(theirs.mean_effect_re)
    assert (high - low) / 2 == pytest.approx(3.182446 * theirs.sd_eff_w_re_hksj, rel=1e-5)


def test_athletes_that_differ_in_direction_are_said_to():
    rng = np.random.default_rng(7)
    parts = []
    for i, effect in enumerate((12, 10, -11, 9, -12)):
        cue = np.tile(["usual", "thumb under"], 12)
        value = effect * (cue == "thumb under") + rng.normal(0, 3, 24)
        parts.append(
            pd.DataFrame(
                {"athlete": f"A-{i}", "session": 0, "throw": np.arange(24.0), "cue": cue, "x": value}
            )
        )
    found = pooled(pd.concat(parts, ignore_index=True), "x", "usual", "thumb under")
    assert "differ in direction" in found.sentence
    assert abs(found.shrunk[0]) < abs(found.own[0]) + 1e-9
    assert found.low < 0 < found.high
