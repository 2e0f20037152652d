"""Suggestions on hand-made records whose best answer is known."""

import numpy as np
import pandas as pd
import pytest

from release.suggest.ball import with_balls
from release.suggest.next import evidence, needed_turn_deg, suggest, warnings
from release.suggest.response import cue_priors, own_responses
from release.suggest.result import BallResponse, CuePriors, CueResponses, Target

# Half an inch more toward the glove side for each degree of supination (negative), nothing else.
SWEEPS = BallResponse(
    at_uncued=np.array([80.0, 2.0, 4.0]),
    per_deg=np.array([0.0, 0.0, -0.5]),
    per_deg_sd=np.full(3, 0.02),
    scatter_sd=np.array([0.5, 0.5, 0.5]),
)
MORE_SWEEP = Target(centre=np.array([np.nan, np.nan, 9.0]), tolerance=np.array([1.0, 1.5, 1.5]))


def responses(**turns_deg: tuple[float, float, int]) -> CueResponses:
    """Cues as name=(mean, sd, own throws)."""
    cues = tuple(turns_deg)
    means, sds, throws = (np.array(column) for column in zip(*turns_deg.values(), strict=True))
    zeros = np.zeros(len(cues), int)
    others = CuePriors(
        cues=cues,
        mean_deg=np.zeros(len(cues)),
        mean_sd_deg=np.full(len(cues), 12.0),
        spread_deg=8.0,
        throw_sd_deg=5.0,
        pitchers=zeros,
        throws=zeros,
    )
    return CueResponses(
        cues=cues,
        uncued_deg=0.0,
        uncued_sd_deg=1.0,
        mean_deg=means.astype(float),
        cov_deg2=np.diag(np.square(sds.astype(float))),
        throws=throws,
        throw_sd_deg=5.0,
        others=others,
    )


def test_five_inches_at_half_an_inch_a_degree_need_ten_degrees_of_supination():
    turn, sd = needed_turn_deg(SWEEPS, MORE_SWEEP)
    assert turn == pytest.approx(-10)
    assert sd == pytest.approx(0.4)  # 10 degrees times 4 % of the slope


def test_the_cue_that_turns_the_hand_by_what_is_needed_comes_first():
    found = suggest(responses(chop=(-10, 2, 8), behind=(8, 2, 8), push=(0, 2, 8)), SWEEPS, MORE_SWEEP)
    assert found.options[0].cue == "chop"
    assert not found.options[0].is_trial
    assert found.options[0].chance_inside > found.options[1].chance_inside
    assert found.needed_turn_deg == pytest.approx(-10)
    assert "toward supination" in found.why


def test_of_two_equal_promises_the_one_that_teaches_more_comes_first():
    """Equal chances by symmetry of the window; one is known, one is a trial."""
    flat = BallResponse(
        at_uncued=np.array([80.0, 2.0, 9.0]),
        per_deg=np.zeros(3),
        per_deg_sd=np.zeros(3),
        scatter_sd=np.array([0.5, 0.5, 2.0]),
    )
    found = suggest(responses(known=(0, 1, 20), unknown=(0, 12, 0)), flat, MORE_SWEEP)
    assert found.options[0].cue == "unknown"
    assert [option.is_trial for option in found.options] == [True, True]
    assert "not known to follow the hand" in found.why


def test_the_mirrored_pitcher_gets_the_mirrored_advice():
    mirrored = BallResponse(
        at_uncued=SWEEPS.at_uncued,
        per_deg=-SWEEPS.per_deg,
        per_deg_sd=SWEEPS.per_deg_sd,
        scatter_sd=SWEEPS.scatter_sd,
    )
    one = suggest(responses(a=(-10, 2, 8), b=(10, 2, 8)), SWEEPS, MORE_SWEEP)
    other = suggest(responses(a=(10, 2, 8), b=(-10, 2, 8)), mirrored, MORE_SWEEP)
    assert [o.cue for o in one.options] == [o.cue for o in other.options] == ["a", "b"]
    assert one.needed_turn_deg == pytest.approx(-other.needed_turn_deg)
    assert one.options[0].chance_inside == pytest.approx(other.options[0].chance_inside, abs=0.03)


def test_a_balls_way_tells_of_the_turn_of_the_hand_that_threw_it():
    balls = np.array([[80.0, 2.0, 10.0], [80.0, 2.0, np.nan]])
    seen = with_balls(pd.DataFrame(index=range(2)), balls, SWEEPS)
    assert seen["ball_turn_deg"].to_list() == pytest.approx([-12, np.nan], nan_ok=True)
    assert seen["ball_turn_sd_deg"].to_list() == pytest.approx([1, np.nan], nan_ok=True)


def test_the_same_record_gives_the_same_list():
    assert suggest(responses(a=(-10, 2, 8)), SWEEPS, MORE_SWEEP) == suggest(
        responses(a=(-10, 2, 8)), SWEEPS, MORE_SWEEP
    )


def test_an_empty_record_lists_every_cue_as_a_trial():
    empty = pd.DataFrame({"athlete": [], "cue": [], "hand_deg": [], "hand_sd_deg": []}).astype(
        {"hand_deg": float, "hand_sd_deg": float}
    )
    found = suggest(own_responses(empty, cue_priors(empty, ["a", "b"])), SWEEPS, MORE_SWEEP)
    assert [option.is_trial for option in found.options] == [True, True]
    assert found.options[0].evidence == "nothing is known of it yet: a trial"


def test_a_contradictory_record_is_wide_not_sure():
    """Half of the throws under one cue turned far one way, half the other."""
    rows = [("own", "", 0.0)] * 8 + [("own", "a", 25.0)] * 4 + [("own", "a", -25.0)] * 4
    own = pd.DataFrame(rows, columns=["athlete", "cue", "hand_deg"]).assign(hand_sd_deg=4.0)
    response = own_responses(own, cue_priors(own, ["a"]))
    option = suggest(response, SWEEPS, MORE_SWEEP).options[0]
    assert response.throw_sd_deg > 15
    assert option.is_trial
    assert option.chance_inside < 0.3


def test_more_supination_and_a_spent_plan_are_warned_of():
    assert "supination" in warnings(-8, 5, None)[0]
    assert warnings(8, 5, None) == ()
    assert "today's plan" in warnings(8, 5, 0)[0]


@pytest.mark.parametrize(
    ("own", "others", "pitchers", "rests"),
    [
        pytest.param(6, 24, 5, "6 throws by this pitcher and 24 throws by 5 other pitchers"),
        pytest.param(8, 8, 1, "8 throws by this pitcher and 8 throws by one other pitcher"),
        pytest.param(0, 9, 2, "no throw by this pitcher and 9 throws by 2 other pitchers"),
        pytest.param(1, 0, 0, "1 throw by this pitcher"),
    ],
)
def test_the_evidence_names_what_it_rests_on(own, others, pitchers, rests):
    line = evidence(-12, 2, own=own, others=others, pitchers=pitchers)
    assert line == f"turns the hand 12 ± 4° toward supination; from {rests}"


def test_a_target_without_any_wish_is_refused():
    with pytest.raises(ValueError, match="at least one of them given"):
        Target(centre=np.full(3, np.nan), tolerance=np.ones(3))
