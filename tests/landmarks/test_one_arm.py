"""Of what both readers read, only the throwing arm's is kept."""

from dataclasses import replace

import numpy as np
import pytest

from release.landmarks.one_arm import of_one_arm, seen_to_hold
from release.landmarks.result import HAND_POINTS, ArmReading, HandReading, only

FRAMES, RELEASE, PX_PER_M = 31, 20, 200.0
TIME_S = np.arange(FRAMES) / 240
RELEASE_S = (RELEASE - 0.5) / 240
OTHER_ARM_PX = np.array([100.0, 60.0])  # from elbow to elbow: 0.58 m


def wrist_px():
    """20 m/s to the right."""
    return np.stack([100 + 20 * PX_PER_M * TIME_S, np.full(FRAMES, 200.0)], 1)


def arm(*, other_at=(), right=1.0, until=FRAMES):
    rows, wrist = np.arange(0, until, 3), wrist_px()
    points = wrist[:, None] + np.array([[-60, 80], [-30, 40], [0, 0]])
    points[list(other_at)] += OTHER_ARM_PX
    k = len(rows)
    return ArmReading(
        frame_index=rows,
        points_px=points[rows],
        points_cov_px2=np.tile(np.eye(2), (k, 3, 1, 1)),
        upper_arm=np.tile([1.0, 0, 0], (k, 1)),
        upper_arm_sd_deg=np.full(k, 5.0),
        view_px=points[rows, 1],
        right_probability=np.full(k, right),
        found_probability=np.ones(k),
    )


def hand(*, other_at=(), unsure_at=()):
    wrist = wrist_px()
    points = np.repeat(wrist[:, None], len(HAND_POINTS), axis=1)
    points[:, HAND_POINTS.index("elbow")] += [-30, 40]
    points[list(other_at)] += OTHER_ARM_PX
    sd_rad, held = np.full(FRAMES, 0.1), np.where(np.arange(FRAMES) < RELEASE, 0.95, 0.02)
    sd_rad[list(unsure_at)], held[list(other_at)] = 0.5, 0.05
    return HandReading(
        frame_index=np.arange(FRAMES),
        side="R",
        points_px=points,
        points_cov_px2=np.tile(np.eye(2), (FRAMES, 12, 1, 1)),
        ball_radius_px=np.full(FRAMES, 7.0),
        ball_radius_sd_px=np.full(FRAMES, 0.5),
        palm=np.tile(np.eye(3), (FRAMES, 1, 1)),
        palm_cov_rad2=sd_rad[:, None, None] ** 2 * np.eye(3),
        palm_view_px=wrist,
        forearm=np.tile([1.0, 0, 0], (FRAMES, 1)),
        forearm_sd_deg=np.full(FRAMES, 5.0),
        upper_arm=np.tile([0, 1.0, 0], (FRAMES, 1)),
        upper_arm_sd_deg=np.full(FRAMES, 5.0),
        forearm_view_px=wrist,
        view_px=wrist,
        held_probability=held,
        unfamiliarity=np.full(FRAMES, 0.5),
        second_opinion_deg=np.full(FRAMES, np.nan),
        second_opinion_sd_deg=np.full(FRAMES, np.nan),
    )


def left_out(arm, hand):
    """Frames of the arm finder and of the hand that are taken for another arm's."""
    kept = of_one_arm(arm, hand, TIME_S, RELEASE_S, PX_PER_M)
    lost = [read.frame_index[np.isnan(read.points_px).all(axis=(1, 2))] for read in kept]
    assert np.isnan(kept[0].upper_arm[:, 0]).sum() == len(lost[0])
    assert np.isnan(kept[1].palm[:, 0, 0]).sum() == np.isnan(kept[1].upper_arm[:, 0]).sum() == len(lost[1])
    return tuple(frames.tolist() for frames in lost)


def test_all_that_is_read_of_an_arm_as_fast_as_a_throw_is_kept():
    assert left_out(arm(), hand()) == ([], [])


def test_an_arm_finder_on_the_other_arm_is_left_out_where_the_hand_shows_the_throwing_one():
    assert left_out(arm(other_at=range(15, FRAMES)), hand()) == ([15, 18, 21, 24, 27, 30], [])


def test_a_hand_that_jumps_to_the_other_arm_is_left_out_though_the_arm_finder_jumps_with_it():
    jumped = range(RELEASE + 1, FRAMES)
    assert left_out(arm(other_at=jumped), hand(other_at=jumped)) == ([21, 24, 27, 30], list(jumped))


def test_a_hand_that_is_lost_for_some_frames_is_taken_up_again_where_the_arm_finder_leads():
    lost = range(12, 18)
    assert left_out(arm(), hand(other_at=lost)) == ([], list(lost))


def test_before_release_the_hand_that_holds_the_ball_is_the_throwing_one():
    both = range(14)  # the other hand is followed for longer, but the ball is not in it
    assert left_out(arm(other_at=both), hand(other_at=both)) == ([0, 3, 6, 9, 12], list(both))


def test_an_unsure_hand_is_kept_where_the_path_passes_by_and_not_where_it_would_have_to_lead():
    assert left_out(arm(), hand(unsure_at=(10, 29, 30))) == ([], [])
    assert left_out(arm(until=20), hand(unsure_at=(10, 29, 30))) == ([], [29, 30])


def test_an_arm_finder_that_doubts_which_arm_it_sees_is_kept_beside_the_hand_and_not_without_it():
    assert left_out(arm(right=0.2), hand()) == ([0], [])  # with no reading before it
    lost = range(22, FRAMES)
    assert left_out(arm(right=0.2), hand(unsure_at=lost)) == ([0, 24, 27, 30], list(lost))


def test_a_hand_that_was_read_in_few_frames_is_kept_in_them():
    few = np.abs(np.arange(FRAMES) - RELEASE) <= 2
    assert left_out(arm(), only(hand(), few)) == ([], np.flatnonzero(~few).tolist())


@pytest.mark.parametrize(("held", "sd_rad", "seen"), [(0.9, 0.1, True), (0.3, 0.1, False), (0.9, 0.3, False)])
def test_a_hand_is_seen_to_hold_the_ball_where_one_frame_before_release_shows_it_surely(held, sd_rad, seen):
    read = hand(unsure_at=range(FRAMES))
    held_probability, covariance = np.full(FRAMES, 0.2), read.palm_cov_rad2.copy()
    held_probability[RELEASE - 4], covariance[RELEASE - 4] = held, sd_rad**2 * np.eye(3)
    read = replace(read, held_probability=held_probability, palm_cov_rad2=covariance)
    assert seen_to_hold(read, TIME_S, RELEASE_S) is seen
    assert not seen_to_hold(read, TIME_S, RELEASE_S + 0.05)
