"""The readings as one window."""

import numpy as np
import pytest

from release.orientation.window import read_twice


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
