"""A fit that begins at an earlier one of nearly the same frames comes to the same arm, sooner."""

from dataclasses import replace

import numpy as np
import pytest

from release.orientation import arm_fit
from release.orientation.arm_fit import fit_arm
from release.orientation.window import part
from tests.synthetic import Noise, readings, some_camera, some_throw


@pytest.fixture
def window():
    rng = np.random.default_rng(5)
    return readings(some_throw(rng), some_camera(rng), Noise(), rng)


@pytest.fixture
def earlier(window):
    """Of all frames but the last two, with its release 3 ms before."""
    return fit_arm(part(window, window.time_s < window.time_s[-2]), -0.003)


def test_it_comes_to_the_same_arm(window, earlier):
    anew, begun = fit_arm(window, 0.0), fit_arm(window, 0.0, begun=earlier.begun)
    # Both stop where a step gains little: within a tenth of a standard deviation.
    sd = np.sqrt(np.diag(anew.covariance))[6:]
    assert np.abs(begun.pose.joints - anew.pose.joints)[0] == pytest.approx(0, abs=0.1 * sd.min())
    assert begun.speed_m_s == pytest.approx(anew.speed_m_s, rel=0.01)


def test_it_tries_no_start_again_but_where_the_focal_length_is_another(window, earlier, monkeypatch):
    def tried(_):
        raise AssertionError("started anew")

    monkeypatch.setattr(arm_fit, "starts", tried)
    fit_arm(window, 0.0, begun=earlier.begun)
    with pytest.raises(AssertionError, match="anew"):
        fit_arm(replace(window, focal_px=1.1 * window.focal_px), 0.0, begun=earlier.begun)
