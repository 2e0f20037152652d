"""When the ball left the hand: a hand on a circle lets it go, and it flies straight on."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from release.instant.flight import RADIUS_M
from release.instant.parting import FINGERS, ROLLED_M, ROLLING_M_S, HeldPath, SeenFlight, parting

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
    return HeldPath(time_s=TIMES, ball_m=ball_m, palm=palm)


def flight(time_s, rolled_m=ROLLED_M, rolling_m_s=ROLLING_M_S, *, turned_deg=0.0):
    """The ball in the picture of a camera that stands so far round the arm, let go at 0 as it rolls off."""
    rotation = Rotation.from_euler("y", turned_deg, degrees=True).as_matrix()
    place_m = np.array([0.0, 0.0, FAR_M]) - rotation.T @ [0.0, 0.0, FAR_M]
    seen_m = (ball(time_s, rolled_m, rolling_m_s) - place_m) @ rotation.T
    return SeenFlight(
        time_s=time_s,
        px=seen_m[:, :2] / seen_m[:, 2:] * FOCAL_PX + CENTRE_PX,
        focal_px=FOCAL_PX,
        centre_px=CENTRE_PX,
        rotation=rotation,
        place_m=place_m,
    )


def ball(time_s, rolled_m, rolling_m_s):
    """Where the ball is: held before 0, then going straight on."""
    (start, late), palm = hand(np.array([0.0, 1e-6]))[0], hand(np.array([0.0]))[1][0]
    along = palm @ FINGERS / np.linalg.norm(FINGERS)
    velocity = (late - start) / 1e-6 + rolling_m_s * along
    flying = start + rolled_m * along + velocity * np.maximum(time_s, 0)[:, None]
    return np.where((time_s > 0)[:, None], flying, hand(time_s)[0])


FLOWN_S = TIMES[(TIMES > 0.006) & (TIMES < 0.035)]


@pytest.mark.parametrize("late_s", [-0.006, -0.003, 0.0, 0.003, 0.006])
def test_the_flight_tells_when_the_ball_left_whatever_the_hand_tells(late_s):
    release_s, sd_s = parting(held_path(), [flight(FLOWN_S)], (late_s, 0.006))
    assert abs(release_s) < 0.0012
    assert sd_s < 0.003


@pytest.mark.parametrize(("rolled_m", "rolling_m_s"), [(0.0, 0.0), (0.045, 9.0)])
def test_a_ball_that_rolls_hardly_or_far_leaves_within_the_uncertainty(rolled_m, rolling_m_s):
    release_s, sd_s = parting(held_path(), [flight(FLOWN_S, rolled_m, rolling_m_s)], (0.0, 0.006))
    assert abs(release_s) < 2.5 * sd_s


def test_a_ball_that_goes_straight_already_in_the_hand_does_not_bound_the_release():
    early = TIMES[(TIMES > -0.007) & (TIMES < 0.03)]
    release_s, _ = parting(held_path(), [flight(early)], (-0.002, 0.006))
    assert abs(release_s) < 0.0015


def test_what_does_not_leave_the_hand_tells_nothing():
    seen = flight(FLOWN_S)
    elsewhere = replace(seen, px=seen.px + np.array([0.0, 8 * FOCAL_PX * RADIUS_M / FAR_M]))
    release_s, sd_s = parting(held_path(), [elsewhere], (0.002, 0.003))
    assert release_s == pytest.approx(0.002, abs=1e-4)
    assert sd_s == pytest.approx(0.003, rel=0.05)


def test_where_the_hand_tells_the_time_surely_the_flight_moves_it_little():
    release_s, sd_s = parting(held_path(), [flight(FLOWN_S)], (0.004, 0.0003))
    assert release_s == pytest.approx(0.004, abs=0.0006)
    assert sd_s < 0.001


def test_the_flight_tells_the_more_the_longer_it_is_seen():
    sds = [parting(held_path(), [flight(FLOWN_S[:n])], (0.0, 0.01))[1] for n in (3, 7)]
    assert sds[1] < sds[0]


def test_two_cameras_that_see_the_flight_tell_its_beginning_better_than_either():
    both = [flight(FLOWN_S), flight(FLOWN_S + 0.001, turned_deg=80)]
    release_s, sd_s = parting(held_path(), both, (0.004, 0.01))
    assert abs(release_s) < 0.0008
    assert sd_s < min(parting(held_path(), [one], (0.004, 0.01))[1] for one in both)


def test_what_one_camera_took_for_the_ball_does_not_mislead_the_other():
    right, wrong = flight(FLOWN_S), flight(FLOWN_S, turned_deg=80)
    wrong = replace(wrong, px=wrong.px + np.array([0.0, 8 * FOCAL_PX * RADIUS_M / FAR_M]))
    alone_s, sd_s = parting(held_path(), [right], (0.002, 0.006))
    release_s, _ = parting(held_path(), [right, wrong], (0.002, 0.006))
    assert release_s == pytest.approx(alone_s, abs=sd_s / 2)


def test_the_path_may_be_told_in_the_axes_of_either_camera():
    turned = flight(FLOWN_S, turned_deg=80)
    path = held_path()
    moved = HeldPath(
        time_s=path.time_s,
        ball_m=(path.ball_m - turned.place_m) @ turned.rotation.T,
        palm=turned.rotation @ path.palm,
    )
    here = parting(path, [turned], (0.003, 0.006))
    there = parting(moved, [replace(turned, rotation=np.eye(3), place_m=np.zeros(3))], (0.003, 0.006))
    assert here == pytest.approx(there, abs=1e-9)
