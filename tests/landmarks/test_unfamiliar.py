import numpy as np
import pytest

from release.landmarks.infer_network import run, usual_odds
from release.landmarks.result import READ_PX
from release.landmarks.unfamiliar import log_odds, strangeness

TOLD = 0.98


def test_strangeness_is_the_share_of_renders_that_were_found_less_strange():
    usual = np.quantile(log_odds(np.linspace(0.01, 0.5, 1001)), np.linspace(0, 1, 101))
    assert strangeness(np.array([0.5, 0.255, 0.01]), usual) == pytest.approx([1, 0.5, 0], abs=0.002)


def test_no_picture_is_stranger_than_one_surely_strange():
    assert strangeness(np.array([1.0, 0.0]), np.array([-5.0, 0.0, 5.0])).tolist() == [1.0, 0.0]


def test_noise_and_a_bare_wall_are_told_from_throwing_arms():
    rng = np.random.default_rng(4)
    noise = rng.integers(0, 256, (8, READ_PX["hand"], READ_PX["hand"], 3)).astype(np.uint8)
    walls = np.broadcast_to(rng.integers(60, 220, (8, 1, 1, 3)).astype(np.uint8), noise.shape)
    read = run("hand", np.concatenate([noise, walls]))
    assert np.mean(strangeness(read["strange"], usual_odds()) > TOLD) >= 0.9
