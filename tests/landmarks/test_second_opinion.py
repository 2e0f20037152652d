import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from release.landmarks.second_opinion import INDEX, LITTLE, MIDDLE, apart_deg, opinion_crops, palm_of
from release.landmarks.view import Crop


def flat_hand():
    """A right hand's landmarks, fingers up, the thumb side at the picture's left: its back is seen."""
    points = np.zeros((1, 21, 3))
    points[0, MIDDLE], points[0, INDEX], points[0, LITTLE] = (
        [0, -0.09, 0],
        [-0.03, -0.09, 0],
        [0.04, -0.08, 0],
    )
    return points


def test_a_right_hand_fingers_up_with_the_thumb_side_left_faces_away_from_the_camera():
    r_h, d_h, p = palm_of(flat_hand())[0].T
    assert r_h == pytest.approx([-1, 0, 0])
    assert d_h == pytest.approx([0, -1, 0])
    assert p == pytest.approx(np.cross(r_h, d_h))
    assert p == pytest.approx([0, 0, 1])


def test_the_constant_turn_is_taken_out_before_the_two_are_compared():
    ours = Rotation.random(5, rng=1).as_matrix()
    constant = Rotation.from_euler("x", 12, degrees=True).as_matrix()
    assert apart_deg(ours, ours @ constant, constant) == pytest.approx(np.zeros(5), abs=1e-5)
    turned = Rotation.from_euler("z", 25, degrees=True).as_matrix() @ ours @ constant
    assert apart_deg(ours, turned, constant) == pytest.approx(np.full(5, 25.0))


def test_a_hand_that_either_did_not_read_has_no_second_opinion():
    ours = np.tile(np.eye(3), (2, 1, 1))
    theirs = ours.copy()
    theirs[1] = np.nan
    assert np.isnan(apart_deg(ours, theirs, np.eye(3))).tolist() == [False, True]


def test_the_smaller_crop_lies_on_the_palm_and_keeps_its_turn():
    one = Crop(centre_px=np.array([200.0, 100.0]), side_px=100.0, up_rad=0.5, mirrored=True)
    (small,) = opinion_crops([one], np.full((1, 12, 2), 0.5))
    assert small.centre_px == pytest.approx([200, 100])
    assert (small.side_px, small.up_rad, small.mirrored) == (60.0, 0.5, True)
