"""The clock from balls whose speed is known, seen by cameras whose place is known."""

from dataclasses import replace

import numpy as np
import pytest

from release.camera.ball_speed import BALL_RADIUS_M, BallSpeed, ball_speed, check_clock
from tests.camera.cameras import looking

SIDE = looking([1.5, -6.0, 1.6], [2.5, 0.0, 1.7], 1500)
BEHIND = looking([-6.0, 0.3, 1.9], [2.0, 0, 1.7], 2500)
MPH = 0.44704  # m/s, exact by definition


def flight(camera, speed_m_s, *, fps=240, frames=8, slowed=1.0, noise_px=0.0, rng=None):
    """Times on the clip's clock, centres and radii of a ball with gravity."""
    at = np.arange(frames) / fps
    start, way = np.array([1.8, -0.5, 1.75]), np.array([0.995, 0.06, -0.05])
    place = start + speed_m_s * at[:, None] * way / np.linalg.norm(way)
    place[:, 2] -= 9.81 / 2 * at**2
    far = ((place - camera.position_m) @ camera.rotation.T)[:, 2]
    px, radius = camera.pixel(place), camera.focal_px * BALL_RADIUS_M / far
    if rng is not None:
        px, radius = px + rng.normal(0, noise_px, px.shape), radius + rng.normal(0, noise_px, radius.shape)
    return at * slowed, px, radius


def test_a_known_speed_comes_back_where_the_ball_crosses_the_picture():
    assert ball_speed(SIDE, *flight(SIDE, 38.0)).m_s == pytest.approx(38.0, rel=0.01)


def test_one_radius_from_the_hand_will_do():
    time_s, px, radius = flight(SIDE, 38.0)
    px[0], radius[1:] = np.nan, np.nan
    assert ball_speed(SIDE, time_s, px, radius).m_s == pytest.approx(38.0, rel=0.02)
    assert ball_speed(SIDE, time_s, px, np.full(8, np.nan)) is None


def test_from_behind_little_is_seen_of_the_speed_and_it_is_said():
    seen = ball_speed(BEHIND, *flight(BEHIND, 38.0))
    assert seen.sd_m_s > 0.25 * seen.m_s
    assert abs(seen.m_s - 38.0) < seen.sd_m_s


def test_stated_uncertainty_is_that_of_repeated_readings():
    rng = np.random.default_rng(1)
    found = [ball_speed(SIDE, *flight(SIDE, 38.0, noise_px=1.0, rng=rng)) for _ in range(80)]
    z = np.array([(f.m_s - 38.0) / f.sd_m_s for f in found])
    assert np.std(z) == pytest.approx(1.0, abs=0.3)


def test_an_unsure_focal_length_counts_where_the_ball_flies_away_from_the_camera():
    unsure = np.diag([0.0] * 6 + [0.05**2])
    side, behind = (
        ball_speed(replace(c, covariance=unsure), *flight(c, 38.0)).sd_m_s
        - ball_speed(c, *flight(c, 38.0)).sd_m_s
        for c in (SIDE, BEHIND)
    )
    assert behind > 5 * max(side, 1e-6)


def test_a_clip_slowed_eight_times_cannot_pass_for_real_time():
    slowed = ball_speed(SIDE, *flight(SIDE, 85 * MPH, slowed=8.0))
    check = check_clock(slowed, 85, 1.0)
    assert check.verdict == "contradicts"
    assert check.slowdown == 8.0


def test_the_right_clock_is_confirmed_and_an_unknown_one_filled():
    for slowed in (1.0, 4.0, 8.0):
        seen = ball_speed(SIDE, *flight(SIDE, 85 * MPH, slowed=slowed))
        assert check_clock(seen, 85, slowed).verdict == "agrees"
        filled = check_clock(seen, 85, None)
        assert (filled.verdict, filled.slowdown) == ("fills", slowed)


def test_a_speed_that_fits_no_rate_or_two_fills_nothing():
    assert check_clock(BallSpeed(m_s=38 / 2.8, sd_m_s=0.1), 85, None).verdict == "cannot tell"
    assert check_clock(BallSpeed(m_s=38 / 2.8, sd_m_s=5.0), 85, None).verdict == "cannot tell"


def test_two_frames_are_no_flight():
    assert ball_speed(SIDE, *flight(SIDE, 38.0, frames=2)) is None
