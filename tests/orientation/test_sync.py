"""Known shifts of known motions and sounds."""

import numpy as np
import pytest

from release.orientation.sync import (
    joint_curves,
    offset_of_curves,
    offset_of_fit,
    offset_of_sound,
)
from tests.synthetic import some_throw

RNG = np.random.default_rng(0)
THROW = some_throw(RNG)


def curves(start_s, fps, seconds=0.17):
    at = start_s + np.arange(0, seconds, 1 / fps)
    return at, joint_curves(THROW.posed(at).points_m, at)


@pytest.mark.parametrize("shift_s", [0.0, 0.0013, -0.0071])
@pytest.mark.parametrize("second_fps", [240.0, 120.0])
def test_a_known_shift_of_the_joints_is_found_to_a_fraction_of_a_frame(shift_s, second_fps):
    first_s, first = curves(-0.085, 240.0)
    second_s, second = curves(-0.084, second_fps)
    found = offset_of_curves(first_s, first, second_s - shift_s, second, guess_s=0.002, reach_s=0.015)
    assert found.offset_s == pytest.approx(shift_s, abs=0.25 / 240)


def test_clips_that_share_too_little_have_no_offset():
    first_s, first = curves(-0.085, 240.0)
    assert offset_of_curves(first_s, first, first_s + 0.5, first, guess_s=0.0, reach_s=0.01) is None


def test_curves_do_not_depend_on_where_the_arm_is_seen_from():
    at, seen = curves(-0.085, 240.0)
    turned = THROW.posed(at).points_m @ np.array([[0, 0, 1.0], [0, 1, 0], [-1, 0, 0]]) + [5, 1, 2]
    assert joint_curves(turned, at) == pytest.approx(seen)


def test_the_fits_least_cost_is_found_with_its_width():
    # Minus twice a normal log likelihood of width 0.4 ms.
    found = offset_of_fit(lambda s: ((s - 0.0123) / 4e-4) ** 2, 0.010, 0.008)
    assert found.offset_s == pytest.approx(0.0123, abs=1e-6)
    assert found.sd_s == pytest.approx(4e-4, rel=0.01)


def test_a_cost_that_is_flat_and_rough_at_its_least_still_has_a_place_and_a_width():
    # Costs of rendered pairs lie level for a millisecond, and each fit ends where its own search did.
    def cost(offset_s):
        off_ms = abs(offset_s - 0.0123) * 1000
        return 30 * max(off_ms - 0.8, 0) ** 2 + 0.5 * np.cos(offset_s * 2 * np.pi / 0.0011)

    found = offset_of_fit(cost, 0.0123, 0.012)
    assert found.offset_s == pytest.approx(0.0123, abs=0.0005)
    assert 0.2e-3 < found.sd_s < 3e-3


def test_a_cost_that_falls_to_the_end_of_the_search_is_no_offset():
    assert offset_of_fit(lambda s: s, 0.0, 0.008) is None


@pytest.mark.parametrize("shift_s", [0.25, -0.04])
def test_two_sound_tracks_are_shifted_by_their_onsets(shift_s):
    rate, rng = 16_000, np.random.default_rng(1)
    bangs_s = (0.4, 0.71, 1.3)

    def track(late_s):
        sound = 0.01 * rng.normal(size=2 * rate)
        for bang in bangs_s:
            at = int((bang - late_s) * rate)
            sound[at : at + 800] += np.exp(-np.arange(800) / 150) * rng.normal(size=800)
        return sound

    found = offset_of_sound(track(0.0), track(shift_s), rate)
    assert found.offset_s == pytest.approx(shift_s, abs=0.002)


def test_noise_alone_has_no_onsets():
    rng = np.random.default_rng(2)
    assert offset_of_sound(rng.normal(size=32_000), rng.normal(size=32_000), 16_000) is None
