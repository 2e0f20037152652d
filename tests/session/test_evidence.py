"""What speeds say of a pair: the ball as a clip shows it against the ball as the flight unit measures it."""

import numpy as np
import pandas as pd
import pytest

from release.session.align import link
from release.session.evidence import SPEED_SEEN, _camera_factor, speed_log_ratio
from release.session.rows import rows_of
from tests.session.sessions import session

FLOWN = np.array([92.0, 78.0, 85.0, 90.0, 77.0, 88.0, 81.0, 93.0])


def said(seen_mph, sd_mph=2.0, camera=""):
    """Log ratio of each clip with each ball, shape (clips, balls); who belongs to whom is not known yet."""
    clips = rows_of(f"clips {camera}", pd.DataFrame({"speed_mph": seen_mph, "speed_sd_mph": sd_mph}))
    balls = rows_of("flight", pd.DataFrame({"speed_mph": FLOWN}))
    i, j = (np.ravel(each) for each in np.indices((len(clips), len(balls))))
    ratios, _ = speed_log_ratio(clips, balls, i, j, np.zeros(len(i)))
    return ratios[SPEED_SEEN].reshape(len(clips), len(balls))


def test_a_camera_that_sees_every_ball_too_fast_still_tells_which_is_which():
    for factor in (1.0, 1.15):
        ratio = said(FLOWN * factor)
        far = np.abs(FLOWN[:, None] - FLOWN) > 7
        assert (ratio.diagonal()[:, None] > np.where(far, ratio, -np.inf) + 0.5).all()
        assert ratio.diagonal().min() > 0


def test_a_clip_slowed_by_an_unknown_rate_says_nothing():
    slowed = FLOWN.copy()
    slowed[2] /= 4
    ratio = said(slowed)
    assert (ratio[2] == 0).all()
    assert (np.delete(ratio, 2, axis=0) != 0).all()


def test_a_speed_of_nothing_is_no_speed():
    stopped = FLOWN.copy()
    stopped[2] = 0
    assert (said(stopped)[2] == 0).all()


def test_a_surer_speed_says_more_and_no_speed_breaks_a_link_alone():
    sure, rough = said(FLOWN, 1.0), said(FLOWN, 8.0)
    assert sure[0, 0] > rough[0, 0] > 0 > rough[0, 1] > sure[0, 1]
    assert sure.min() > np.log(0.05) - 0.1  # of speeds seen so many followed something else


def test_the_factor_of_a_camera_is_the_mean_weighted_by_inverse_variance_with_its_prior():
    own, apart = np.array([0.01, 0.02, 0.04]) ** 2, np.array([0.05, 0.09, 0.03])
    ones, s = np.ones(3), np.arange(3)
    factor, sd = _camera_factor(np.full(3, "rear"), s, apart, own, 0.05, apart, ones)
    weight = np.array([1 / own[1], 1 / own[2], 1 / 0.1**2])  # the other two, and 0 give or take 10 %
    assert factor[0] == pytest.approx((weight @ [0.09, 0.03, 0.0]) / weight.sum())
    assert sd[0] == pytest.approx(weight.sum() ** -0.5)


def test_each_camera_has_its_own_factor():
    own, apart = np.full(4, 0.02**2), np.array([0.1, 0.1, -0.1, -0.1])
    seen_by = np.array(["rear", "rear", "side", "side"])
    factor, _ = _camera_factor(seen_by, np.arange(4), apart, own, 0.05, apart, np.ones(4))
    assert (np.sign(factor) == [1, 1, -1, -1]).all()


def test_speeds_seen_settle_a_session_of_even_throws_and_the_reason_is_told():
    clips, _, flight = session(even=True, n=40, jitter_s=0.5)
    seen = flight["speed_mph"].to_numpy() * 1.06
    clips = clips.drop(columns="throws").assign(speed_mph=seen, speed_sd_mph=1.0)
    linked = [row for row in link(clips, None, flight).rows if row.state == "linked"]
    assert len(linked) > 30
    assert all(row.clip == f"c{row.flight}.mp4" for row in linked)
    assert "speed seen in the clip fits (" in linked[5].why
    assert "mph off)" in linked[5].why
