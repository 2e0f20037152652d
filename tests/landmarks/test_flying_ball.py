"""Small round moving things in pictures."""

import cv2
import numpy as np
import pytest

from release.landmarks.flying_ball import box_round, median_picture, moving_spots


@pytest.mark.parametrize("radius_px", [3, 6, 30])
def test_a_moving_ball_is_the_strongest_spot_and_what_stands_still_is_none(radius_px):
    rng = np.random.default_rng(0)
    behind = cv2.resize(rng.integers(60, 140, (30, 40), np.uint8), (400, 300))
    images, centres = [], []
    for n in range(20):
        centre = 60 + 15 * n, 150
        images.append(cv2.circle(behind.copy(), centre, radius_px, 235, -1))
        centres.append(np.array(centre) + 0.5)
    spots = moving_spots(np.stack(images), float(radius_px), (0, 0, 400, 300))
    strongest = np.array([s[0] for s in spots])
    assert np.linalg.norm(strongest - centres, axis=1).max() < 0.35 * radius_px + 0.5
    assert np.median([len(s) for s in spots]) <= 3


def test_only_the_box_is_looked_at_and_places_are_in_the_whole_picture():
    images = np.full((9, 200, 300), 90, np.uint8)
    for n in range(9):
        cv2.circle(images[n], (100 + 12 * n, 120), 4, 255, -1)
    spots = moving_spots(images, 4.0, (140, 80, 260, 180))
    assert len(spots[0]) == 0
    np.testing.assert_allclose(spots[6][0], [172.5, 120.5], atol=1.0)


def test_the_box_lies_within_the_picture_wherever_the_hand_is_read():
    for place in ([50.0, 60.0], [-900.0, 60.0], [5000.0, 5000.0], [50.0, np.nan]):
        points = np.vstack([np.tile(place, (20, 1)), [[40.0, 50.0], [41.0, 50.0]]])
        left, top, right, bottom = box_round(points, 5.0, 640, 360)
        assert 0 <= left < right <= 640
        assert 0 <= top < bottom <= 360


@pytest.mark.parametrize("n_pictures", [1, 2, 7, 28])
def test_what_stands_still_is_the_median_of_the_pictures(n_pictures):
    pictures = np.random.default_rng(1).integers(0, 255, (n_pictures, 5, 8), np.uint8)
    assert np.array_equal(median_picture(pictures), np.median(pictures, axis=0))
