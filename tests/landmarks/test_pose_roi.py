import numpy as np
import pytest

from release.landmarks.pose_roi import (
    anchor_centres,
    best_alignment,
    refined_by_heatmap,
    square_from_alignment,
    square_to_picture,
)


def test_there_are_as_many_anchors_as_the_detector_has_boxes():
    assert anchor_centres().shape == (2254, 2)


def test_nobody_found_means_no_alignment():
    assert best_alignment(np.zeros((2254, 12)), np.full(2254, -5.0)) is None


def test_the_surest_box_gives_its_two_points():
    boxes, scores = np.zeros((2254, 12)), np.full(2254, -5.0)
    scores[1000] = 5.0
    boxes[1000] = [0, 0, 100, 100, 22.4, 0, 0, -44.8, 0, 0, 0, 0]
    expected = anchor_centres()[1000] + [[0.1, 0], [0, -0.2]]
    assert best_alignment(boxes, scores) == pytest.approx(expected)


def test_an_upright_person_has_an_upright_square_two_and_a_half_times_the_circle_point_away():
    centre, side, turn = square_from_alignment(np.array([[300.0, 400.0], [300.0, 300.0]]))
    assert (side, turn) == pytest.approx((250, 0))
    corner = square_to_picture(centre, side, turn, 256)
    assert corner[:, 2] == pytest.approx([300 - 125, 400 - 125])


def test_a_person_lying_to_the_right_turns_the_square_a_quarter_clockwise():
    assert square_from_alignment(np.array([[300.0, 400.0], [400.0, 400.0]]))[2] == pytest.approx(np.pi / 2)


def test_a_sure_heatmap_pulls_its_point_and_an_unsure_one_does_not():
    logits = np.full((64, 64, 2), -20.0)
    logits[31, 33, 0] = 8.0
    points = np.array([[0.5, 0.5], [0.5, 0.5]])
    assert refined_by_heatmap(points, logits) == pytest.approx(
        np.array([[33 / 64, 31 / 64], [0.5, 0.5]]), abs=1e-3
    )
