"""The release from held and gone, and the refusals."""

import numpy as np
import pytest

from release.instant.arm import bursts, reach_share
from release.instant.ball import held_again, leaving, weighed
from release.instant.detect import (
    BALL_UNSEEN,
    ENDS_BEFORE,
    ENOUGH,
    NO_THROW,
    STARTS_AFTER,
    Span,
    decide,
    held_round,
)

FRAMES = np.arange(100.0, 141.0)
TIMES = FRAMES / 240


def change_of(held, fastest_frame=120.0, reach=1.0, flight=0.0):
    stretched = np.full(len(FRAMES), 1.0) * reach
    seen = np.zeros(len(FRAMES) + 1) + flight
    return leaving(FRAMES, TIMES, held, fastest_s=fastest_frame / 240, reach=stretched, flight=seen)


def held_until(release, soft=0.2):
    return 1 / (1 + np.exp((FRAMES - release) / soft))


@pytest.mark.parametrize("release", [110.5, 120.25, 131.0])
def test_the_change_is_found_to_a_fraction_of_a_frame(release):
    change = change_of(held_until(release))
    assert change.frame_index == pytest.approx(release, abs=0.35)
    assert 0.2 < change.sd_frames < 1


def test_a_frame_of_half_probability_pulls_the_release_to_itself():
    held = np.where(FRAMES < 120, 1.0, 0.0)
    held[20] = 0.5
    assert change_of(held).frame_index == pytest.approx(120.0, abs=0.05)


def test_one_misread_frame_far_off_changes_nothing():
    held = held_until(120.0)
    wrong = held.copy()
    wrong[3] = 0.01
    assert change_of(wrong).frame_index == pytest.approx(change_of(held).frame_index, abs=0.1)


def test_frames_that_say_nothing_are_no_evidence():
    assert change_of(np.full(len(FRAMES), np.nan)).evidence < 0.1


def test_of_two_changes_the_one_near_the_fastest_wrist_is_taken():
    hidden_behind_the_body = np.where((FRAMES > 104) & (FRAMES < 112), 0.05, held_until(130.0))
    assert change_of(hidden_behind_the_body, 128.0).frame_index == pytest.approx(130.0, abs=0.5)


def test_of_two_changes_the_one_near_the_fastest_wrist_is_taken_though_the_other_is_a_little_clearer():
    gone_early = np.where((FRAMES >= 112) & (FRAMES < 120), 0.03, np.where(FRAMES < 128, 0.98, 0.02))
    assert change_of(gone_early, 108.0).frame_index == pytest.approx(111.5, abs=0.5)
    assert change_of(gone_early, 132.0).frame_index == pytest.approx(127.5, abs=0.5)


def test_a_release_is_never_surer_than_the_ball_takes_to_be_seen_clear_of_the_fingers():
    for frames_per_s in (240, 960):
        release, _ = decide(
            change_of(held_until(120.25)),
            span(),
            held_near=0.5,
            fastest_frame=120.0,
            interval_s=1 / frames_per_s,
        )
        assert release.sd_frames / frames_per_s > 0.003


def test_of_two_changes_alike_the_one_with_the_arm_stretched_is_taken():
    twice = np.where((FRAMES >= 112) & (FRAMES < 120), 0.02, np.where(FRAMES < 128, 0.98, 0.02))
    stretched_late = np.where(FRAMES < 120, 0.5, 1.0)
    assert change_of(twice, 120.0, reach=stretched_late).frame_index == pytest.approx(127.5, abs=0.5)
    assert change_of(twice, 120.0, reach=1.5 - stretched_late).frame_index == pytest.approx(111.5, abs=0.5)


def flying_from(frame, evidence):
    seen = np.zeros(len(FRAMES) + 1)
    seen[np.searchsorted(FRAMES, frame) : np.searchsorted(FRAMES, frame) + 3] = evidence
    return seen


def test_a_ball_seen_flying_away_outweighs_a_clearer_change_of_the_hand():
    hidden = np.where((FRAMES >= 112) & (FRAMES < 120), 0.02, np.where(FRAMES < 130, 0.9, 0.1))
    assert change_of(hidden, 112.0).frame_index == pytest.approx(111.5, abs=0.5)
    seen = change_of(hidden, 112.0, flight=flying_from(130, 12.0))
    assert seen.frame_index == pytest.approx(129.5, abs=0.6)
    assert seen.flight == 12.0


def test_a_doubtful_flight_moves_nothing_that_the_hand_shows_clearly():
    clear = change_of(held_until(120.25))
    doubtful = change_of(held_until(120.25), flight=flying_from(132, 4.0))
    assert doubtful.frame_index == pytest.approx(clear.frame_index, abs=1e-6)
    assert doubtful.flight == 0.0


def test_a_flight_alone_is_enough_for_the_ball_to_have_been_seen_leaving():
    nothing = np.full(len(FRAMES), np.nan)
    for evidence, answered in ((0.0, False), (8.0, True)):
        change = change_of(nothing, flight=flying_from(122, evidence))
        release, why = decide(change, span(), held_near=0.5, fastest_frame=119.0, interval_s=1 / 240)
        assert (release is not None) == answered
        assert (why == BALL_UNSEEN) == (not answered)


def test_what_the_hand_shows_counts_a_thousand_to_one_at_most_against_a_flight():
    hand, nothing = np.array([30.0, -30.0]), np.zeros(2)
    assert np.argmax(weighed(hand, nothing)) == 0
    assert np.argmax(weighed(hand, np.array([0.0, np.log(900)]))) == 0
    assert np.argmax(weighed(hand, np.array([0.0, np.log(1100)]))) == 1


def test_the_reach_is_told_by_the_longest_and_a_misreading_does_not_make_it():
    wrist = np.column_stack([np.linspace(50, 100, 21), np.zeros(21)])
    wrist[5] = [900.0, 0.0]
    share = reach_share(wrist, np.zeros((21, 2)))
    assert share[-1] == pytest.approx(1.0, abs=0.05)
    assert share[0] == pytest.approx(0.5, abs=0.05)
    assert (reach_share(np.full((4, 2), np.nan), np.zeros((4, 2))) == 1).all()


def test_a_hand_that_never_held_anything_throws_nothing():
    held = np.full(len(FRAMES), 0.1)
    release, why = decide(
        change_of(held),
        span(),
        held_near=held_round(TIMES, held, 0.5),
        fastest_frame=120.0,
        interval_s=1 / 240,
    )
    assert (release, why) == (None, NO_THROW)


def test_a_hand_that_is_surely_and_then_less_surely_held_shows_no_release():
    dimmed = np.where(FRAMES < 120, 0.98, 0.7)
    release, why = decide(change_of(dimmed), span(), held_near=0.5, fastest_frame=119.0, interval_s=1 / 240)
    assert (release, why) == (None, BALL_UNSEEN)
    assert change_of(np.where(FRAMES < 120, 0.98, 0.2)).evidence > ENOUGH


@pytest.mark.parametrize("step", [2, 3])
def test_frames_tell_as_much_however_many_there_are_a_second(step):
    """What frames show is alike for some time, not for some frames."""
    soft = np.where(FRAMES < 120, 0.9, 0.15)
    every, some = FRAMES, FRAMES[::step]
    evidence = [
        leaving(
            frames,
            frames / 240,
            soft[np.isin(FRAMES, frames)],
            fastest_s=0.5,
            reach=np.ones(len(frames)),
            flight=np.zeros(len(frames) + 1),
        ).evidence
        for frames in (every, some)
    ]
    assert evidence[1] == pytest.approx(evidence[0], rel=0.25)


def test_a_ball_that_is_back_in_the_hand_was_not_thrown():
    pulled_back = np.where((FRAMES > 110) & (FRAMES < 120), 0.05, 0.9)
    left = np.array([110, 135]) / 240
    assert held_again(TIMES, pulled_back, left).tolist() == [True, False]
    assert not held_again(TIMES, held_until(110), left).any()
    assert not held_again(TIMES, np.where(FRAMES < 120, pulled_back, np.nan), left).any(), "unseen, not held"
    assert not held_again(TIMES[:12], pulled_back[:12], left).any(), "too short to tell"


def test_a_flight_from_a_hand_that_goes_on_holding_the_ball_is_something_else():
    elsewhere = (FRAMES >= 108) & (FRAMES < 113)  # another hand is taken for it
    held = np.where(elsewhere, 0.05, held_until(131.0))
    told = change_of(held, 118.0, flight=flying_from(111, 11.5))
    assert told.frame_index == pytest.approx(131.0, abs=0.5)
    assert told.evidence > ENOUGH


def test_a_hand_that_is_empty_all_the_while_lets_no_ball_go():
    unsure, gone = np.full(len(FRAMES), 0.47), FRAMES >= 120
    assert change_of(np.where(gone, 0.02, unsure)).evidence < ENOUGH
    assert change_of(np.where(gone, 0.02, np.where(FRAMES >= 116, 0.95, unsure))).evidence > ENOUGH


def span(n_frames=300, first=100, last=140):
    return Span(first=first, last=last, n_frames=n_frames, step=1)


@pytest.mark.parametrize(
    ("held", "where", "source", "why"),
    [
        pytest.param(held_until(120), span(), "ball", None, id="seen leaving"),
        pytest.param(np.full(41, 0.99), span(141), None, ENDS_BEFORE, id="held to the clip's end"),
        pytest.param(np.full(41, 0.01), span(first=0), None, STARTS_AFTER, id="gone from the first frame"),
        pytest.param(np.full(41, np.nan), span(), None, BALL_UNSEEN, id="ball never seen"),
    ],
)
def test_what_is_decided(held, where, source, why):
    near = held_round(TIMES, held, 119 / 240)
    release, reason = decide(change_of(held), where, held_near=near, fastest_frame=119.0, interval_s=1 / 240)
    assert reason == why
    assert (release.source if release else None) == source


def test_the_wrist_is_fastest_where_it_moves_most():
    t = FRAMES / 240
    wrist = np.column_stack([300 * np.tanh((FRAMES - 120) / 4), np.zeros(41)])
    still = np.zeros((41, 2))
    elbow = wrist - [60.0, 0.0]
    fastest = bursts(FRAMES, t, wrist, elbow, still)[0]
    assert fastest.frame_index == pytest.approx(120, abs=1.5)
    assert fastest.speed_m_s == pytest.approx(300 / 4 * 240 * 0.26 / 60, rel=0.1)
