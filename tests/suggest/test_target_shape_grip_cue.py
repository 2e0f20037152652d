"""The wanted ball, its shape in words, grips and cues."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from release.suggest.cue import Cue, current_words, renamed
from release.suggest.grip import changes, faults
from release.suggest.read_words import WordsFileWrong, read_words
from release.suggest.result import Target
from release.suggest.shape import from_usual_arm, words
from release.suggest.target import (
    best_throws_target,
    distance,
    pitcher_share,
    trend_per_throw,
)

TARGET = Target(centre=np.array([82.0, np.nan, 10.0]), tolerance=np.array([2.0, 1.0, 1.5]))
SHAPES = read_words().shapes


def test_distance_is_the_worst_figure_in_tolerances_and_forgets_what_was_not_wished():
    balls = np.array([[82, 99, 10], [84, 99, 10], [82, 99, 13], [np.nan, 0, 10]], float)
    assert distance(balls, TARGET) == pytest.approx([0, 1, 2, np.nan], nan_ok=True)


def test_a_target_of_best_throws_is_their_median():
    balls = np.array([[80, 1, 9], [81, 2, 10], [90, 3, 11], [50, 0, 0]], float)
    target = best_throws_target(balls, np.array([True, True, True, False]), np.ones(3))
    assert target.centre == pytest.approx([81, 2, 10])
    with pytest.raises(ValueError, match="at least three wanted throws, got 1"):
        best_throws_target(balls, np.array([True, False, False, False]), np.ones(3))


def test_the_trend_is_robust_to_one_wild_throw():
    closing = np.array([5, 4.5, 4, 3.5, 30, 2.5, 2, 1.5])
    slope, low, high = trend_per_throw(closing)
    assert slope == pytest.approx(-0.5)
    assert low <= slope <= high
    assert np.isnan(trend_per_throw(np.array([1.0, np.nan, 2.0]))).all()


def test_scatter_splits_into_the_pitchers_and_the_measurements():
    rng = np.random.default_rng(0)
    values = rng.normal(0, 3, 4000) + rng.normal(0, 4, 4000)
    assert pitcher_share(values, np.full(4000, 4.0)) == pytest.approx(9 / 25, abs=0.05)


@pytest.mark.parametrize(
    ("below", "vertical", "horizontal", "first"),
    [
        pytest.param(3, 9, 1, "cutter-like"),
        pytest.param(8, 0, 2, "gyro slider"),
        pytest.param(12, 1, 15, "sweeping"),
        pytest.param(13, -8, 12, "slurvy"),
        pytest.param(16, -14, 2, "curve-like"),
        pytest.param(8, 4, -8, "backed up"),
    ],
)
def test_the_middle_of_each_box_has_its_word(below, vertical, horizontal, first):
    assert words(below, vertical, horizontal, SHAPES)[0] == first


def test_near_a_boundary_both_words_are_said():
    assert set(words(9, 0, 7, SHAPES)) >= {"gyro slider", "sweeping"}
    assert words(9, np.nan, 7, SHAPES) == ()


@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(0, 90))
def test_turning_for_the_arm_angle_keeps_the_size_of_the_break(vertical, horizontal, arm_angle):
    turned = from_usual_arm(vertical, horizontal, arm_angle)
    assert np.hypot(*turned) == pytest.approx(np.hypot(vertical, horizontal))


def test_a_sidearmers_arm_side_run_is_an_overhanders_rise():
    """Backspin from straight sidearm pushes to the arm side (negative): from 45 degrees, half way up."""
    vertical, horizontal = from_usual_arm(0.0, -10.0, arm_angle_deg=0.0)
    assert (vertical, horizontal) == pytest.approx((7.07, -7.07), abs=0.01)


def test_a_change_of_one_field_is_shown_as_just_that():
    before = {"grip_thumb": "side", "grip_index": "flat", "grip_seams": "two-seam rails"}
    assert changes(before, {**before, "grip_thumb": "under"}) == ("thumb: side -> under",)
    assert changes(before, before) == ()
    assert changes(before, {"grip_thumb": "under", "grip_index": ""}) == ("thumb: side -> under",)


def test_a_grip_that_is_not_in_the_record_is_named():
    assert faults({"grip_thumb": "sideways"}) == ("thumb is 'sideways', not one of under, angled, side",)
    assert faults({"grip_colour": "red"}) == ("no such grip field: grip_colour",)
    assert faults({"grip_thumb": "side", "grip_seams": "anything"}) == ()


CUES = (Cue(words="chop it", meant="more beside it"), Cue(words="karate chop", meant="more beside it"))


def test_renaming_a_cue_to_one_on_the_list_merges_them_without_loss():
    merged = renamed(CUES, "chop it", "karate chop")
    assert [cue.words for cue in merged] == ["karate chop"]
    assert current_words(merged) == {"karate chop": "karate chop", "chop it": "karate chop"}
    said = [replace(cue, said_by=who) for cue, who in zip(CUES, ("the hitting coach", "C-2"), strict=True)]
    assert renamed(said, "chop it", "karate chop")[0].said_by == "C-2, the hitting coach"


def test_a_renamed_cue_is_still_found_by_its_first_wording():
    twice = renamed(renamed(CUES[:1], "chop it", "hammer"), "hammer", "side of the ball")
    assert current_words(twice)["chop it"] == "side of the ball"
    assert renamed(twice, "side of the ball", "side of the ball") == twice
    assert renamed(CUES, "gone", "new") == CUES


def test_a_facilitys_own_words_are_read_and_a_wrong_one_is_named(tmp_path):
    file = tmp_path / "words.toml"
    file.write_text('[[cues]]\nwords = "late thumb"\nmeant = "more in front"\n')
    assert read_words(file).cues == (Cue(words="late thumb", meant="more in front"),)
    file.write_text('[[cues]]\nwords = "late thumb"\nmeant = "magic"\n')
    with pytest.raises(WordsFileWrong, match="needs words and one of"):
        read_words(file)
    file.write_text('[[shapes]]\nname = "odd"\nhorizontal_break_in = [3, 1]\n')
    with pytest.raises(WordsFileWrong, match="needs a low and a high"):
        read_words(file)
    with pytest.raises(WordsFileWrong, match="there is no file"):
        read_words(tmp_path / "none.toml")
