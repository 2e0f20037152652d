"""When the ball left the hand: a hand on a circle lets it go, and it flies straight on."""

import numpy as np
import pytest

from release.instant.flight import RADIUS_M
from release.instant.parting import FINGERS, ROLLED_M, ROLLING_M_S, HeldPath, parting

FOCAL_PX, FAR_M, CENTRE_PX = 1500.0, 6.0, (640.0, 360.0)
ARM_M, FASTEST_M_S = 0.7, 33.0
TIMES = (np.arange(-20, 20) + 0.3) / 240  # release is at 0


def hand(time_s):
    """Where the ball is held, and the palm's axes: the arm swings in the picture's plane, fastest at 0."""
    speed = FASTEST_M_S / ARM_M
    turned = speed * 0.03 * np.tanh(np.asarray(time_s) / 0.03)
    distal = np.stack([np.sin(turned), -np.cos(turned), np.zeros_like(turned)], axis=-1)
    palm = np.stack([np.cos(turned), np.sin(turned), np.zeros_like(turned)], axis=-1)
    thumb = np.cross(distal, palm)
    return distal * ARM_M + [0, 0, FAR_M], np.stack([thumb, distal, palm], axis=-1)


def held_path():
    ball_m, palm = hand(TIMES)
    return HeldPath(time_s=TIMES, ball_m=ball_m, palm=palm, focal_px=FOCAL_PX, centre_px=CENTRE_PX)


def seen_px(time_s, rolled_m=ROLLED_M, rolling_m_s=ROLLING_M_S):
    """The ball in the picture, let go at 0 as it rolls off the fingers; held before."""
    (start, late), palm = hand(np.array([0.0, 1e-6]))[0], hand(np.array([0.0]))[1][0]
    along = palm @ FINGERS / np.linalg.norm(FINGERS)
    velocity = (late - start) / 1e-6 + rolling_m_s * along
    flying = start + rolled_m * along + velocity * np.maximum(time_s, 0)[:, None]
    place = np.where((time_s > 0)[:, None], flying, hand(time_s)[0])
    return place[:, :2] / place[:, 2:] * FOCAL_PX + CENTRE_PX


FLOWN_S = TIMES[(TIMES > 0.006) & (TIMES < 0.035)]


@pytest.mark.parametrize("late_s", [-0.006, -0.003, 0.0, 0.003, 0.006])
def test_the_flight_tells_when_the_ball_left_whatever_the_hand_tells(late_s):
    release_s, sd_s = parting(held_path(), FLOWN_S, seen_px(FLOWN_S), (late_s, 0.006))
    assert abs(release_s) < 0.0012
    assert sd_s < 0.003


@pytest.mark.parametrize(("rolled_m", "rolling_m_s"), [(0.0, 0.0), (0.045, 9.0)])
def test_a_ball_that_rolls_hardly_or_far_leaves_within_the_uncertainty(rolled_m, rolling_m_s):
    release_s, sd_s = parting(held_path(), FLOWN_S, seen_px(FLOWN_S, rolled_m, rolling_m_s), (0.0, 0.006))
    assert abs(release_s) < 2.5 * sd_s


def test_a_ball_that_goes_straight_already_in_the_hand_does_not_bound_the_release():
    early = TIMES[(TIMES > -0.007) & (TIMES < 0.03)]
    release_s, _ = parting(held_path(), early, seen_px(early), (-0.002, 0.006))
    assert abs(release_s) < 0.0015


def test_what_does_not_leave_the_hand_tells_nothing():
    elsewhere = seen_px(FLOWN_S) + np.array([0.0, 8 * FOCAL_PX * RADIUS_M / FAR_M])
    release_s, sd_s = parting(held_path(), FLOWN_S, elsewhere, (0.002, 0.003))
    assert release_s == pytest.approx(0.002, abs=1e-4)
    assert sd_s == pytest.approx(0.003, rel=0.05)


def test_where_the_hand_tells_the_time_surely_the_flight_moves_it_little():
    release_s, sd_s = parting(held_path(), FLOWN_S, seen_px(FLOWN_S), (0.004, 0.0003))
    assert release_s == pytest.approx(0.004, abs=0.0006)
    assert sd_s < 0.001


def test_the_flight_tells_the_more_the_longer_it_is_seen():
    sds = [parting(held_path(), FLOWN_S[:n], seen_px(FLOWN_S[:n]), (0.0, 0.01))[1] for n in (3, 7)]
    assert sds[1] < sds[0]
