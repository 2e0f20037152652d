"""The readings as one window."""

import numpy as np
import pytest

from release.orientation.window import (
    USUAL_DEVIATION_RAD,
    USUAL_DEVIATION_SD_RAD,
    drawn_out,
    read_twice,
)


def test_a_direction_read_twice_counts_by_how_sure_each_reading_is():
    one, other = np.array([[1.0, 0, 0]]), np.array([[0, 1.0, 0]])
    mean, sd = read_twice((one, np.array([1.0])), (other, np.array([2.0])))
    assert mean[0] == pytest.approx(np.array([4, 1, 0]) / np.sqrt(17))
    assert sd == pytest.approx([np.sqrt(0.8)])


def test_a_direction_read_once_stands_and_one_never_read_stays_unread():
    nan, x = np.full(3, np.nan), np.array([1.0, 0, 0])
    mean, sd = read_twice(
        (np.stack([x, nan, nan]), [3.0, np.nan, np.nan]), (np.stack([nan, x, nan]), [np.nan, 2.0, np.nan])
    )
    assert mean[:2] == pytest.approx(np.stack([x, x]))
    assert np.isnan(mean[2]).all()
    np.testing.assert_array_equal(sd, [3.0, 2.0, np.nan])


def wrists(deviation_rad, turn_rad, side="R"):
    """Forearms and palms in the picture's plane, the palm toward the camera; the palm further turned."""
    angle = np.zeros(len(turn_rad)) + turn_rad
    forearm = np.stack([np.sin(angle), -np.cos(angle), np.zeros(len(angle))], axis=1)
    bent = angle - deviation_rad if side == "R" else angle + deviation_rad
    along = np.stack([np.sin(bent), -np.cos(bent), np.zeros(len(angle))], axis=1)
    thumb = np.stack([-along[:, 1], along[:, 0], np.zeros(len(angle))], axis=1)
    thumb = -thumb if side == "L" else thumb
    return forearm, np.stack([thumb, along, np.tile([0.0, 0, -1], (len(angle), 1))], axis=2)


def deviation_deg(forearm, palm):
    return np.degrees(np.arcsin(np.sum(forearm * palm[:, :, 0], axis=1)))


@pytest.mark.parametrize("side", ["R", "L"])
def test_a_deviation_drawn_toward_the_usual_one_is_drawn_out_again(side):
    rng = np.random.default_rng(4)
    true = USUAL_DEVIATION_RAD + USUAL_DEVIATION_SD_RAD * rng.standard_normal(4000)
    sd_rad = np.radians(6.0)  # of what the picture alone tells
    seen = true + sd_rad * rng.standard_normal(4000)
    own = 1 / (1 + (sd_rad / USUAL_DEVIATION_SD_RAD) ** 2)
    mean = USUAL_DEVIATION_RAD + own * (seen - USUAL_DEVIATION_RAD)  # a normal distribution's posterior
    variance = own * sd_rad**2
    forearm, palm = wrists(mean, rng.uniform(-1, 1, 4000), side)
    assert np.polyfit(np.degrees(true), deviation_deg(forearm, palm), 1)[0] == pytest.approx(own, abs=0.01)
    cov = np.tile(2 / 3 * variance * np.eye(3), (4000, 1, 1))
    forearm, palm, wider = drawn_out(forearm, np.full(4000, np.sqrt(variance / 3)), palm, cov)
    assert deviation_deg(forearm, palm) == pytest.approx(np.degrees(seen), abs=1e-6)
    assert wider[:, 2, 2] == pytest.approx(2 / 3 * variance / own)  # about the line of sight
    assert wider[:, 0, 0] == pytest.approx(2 / 3 * variance)


def test_forearm_and_palm_give_way_by_how_unsure_each_is():
    forearm, palm = wrists(np.radians([24.0]), np.zeros(1))
    cov = np.tile(np.radians(5.0) ** 2 * np.eye(3), (1, 1, 1))
    moved, turned, _ = drawn_out(forearm, np.radians([1.0]), palm, cov)
    by_forearm = np.degrees(np.arccos(np.sum(moved * forearm)))
    by_palm = np.degrees(np.arccos(np.sum(turned[0, :, 1] * palm[0, :, 1])))
    assert by_palm == pytest.approx(25 * by_forearm, rel=1e-6)
    assert by_palm + by_forearm == pytest.approx(20 * 26 / (44**2 / 12 - 26), rel=1e-6)


def test_what_says_next_to_nothing_is_drawn_out_to_twice_its_distance_at_most():
    forearm, palm = wrists(np.radians([14.0]), np.zeros(1))
    moved, turned, _ = drawn_out(forearm, np.radians([40.0]), palm, np.eye(3)[None])
    assert deviation_deg(moved, turned) == pytest.approx([24.0])


def test_a_hand_of_which_either_is_unread_stays_as_it_is():
    forearm, palm = wrists(np.radians([14.0, 14.0]), np.zeros(2))
    forearm[0], palm[1] = np.nan, np.nan
    cov = np.tile(0.01 * np.eye(3), (2, 1, 1))
    moved, turned, wider = drawn_out(forearm, np.full(2, 0.1), palm, cov)
    np.testing.assert_array_equal(moved, forearm)
    np.testing.assert_array_equal(turned, palm)
    np.testing.assert_array_equal(wider, cov)
