"""The frames of one hand, told from those of another that was taken for it."""

import numpy as np
import pytest

from release.instant.flight import RADIUS_M
from release.instant.one_hand import hands, in_picture

TIME_S = np.arange(24) / 240
THROWING = np.cumsum(np.full((24, 2), 20.0), axis=0) / 240 / RADIUS_M  # at 28 m/s


def test_a_hand_that_is_somewhere_else_in_the_next_frame_is_another_one():
    wrist = THROWING.copy()
    wrist[8:14] = THROWING[8] + np.array([-0.5, 0.3]) / RADIUS_M  # the glove hand, nearly at rest
    assert hands(TIME_S, wrist).tolist() == [0] * 8 + [1] * 6 + [0] * 10


def test_a_wrist_misread_by_some_centimetres_is_still_that_hands():
    wrist = THROWING + np.random.default_rng(1).normal(size=(24, 2)) * 0.02 / RADIUS_M
    assert (hands(TIME_S, wrist) == 0).all()


def test_a_hand_that_was_unseen_for_a_while_goes_on_where_it_may_have_come():
    wrist = THROWING.copy()
    wrist[5:12] = np.nan
    assert hands(TIME_S, wrist).tolist() == [0] * 5 + [-1] * 7 + [0] * 12
    assert (hands(TIME_S, np.full((24, 2), np.nan)) == -1).all()


@pytest.mark.parametrize(("left_px", "seen"), [(10.0, True), (-15.0, True), (-25.0, False)])
def test_a_hand_is_seen_while_half_of_it_is_in_the_picture(left_px, seen):
    points = np.stack([left_px + np.arange(0.0, 40.0, 4.0), np.full(10, 100.0)], axis=1)
    unseen = np.full((10, 2), np.nan)
    assert in_picture(np.stack([points, unseen]), 640, 360).tolist() == [seen, False]
