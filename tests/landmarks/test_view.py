from dataclasses import replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from release.frames.result import Square
from release.landmarks.view import Crop, Held, cut, view_rotation

PRINCIPAL = np.array([640.0, 360.0])


def crop(**changed):
    given_ = {"centre_px": np.array([100.0, 80.0]), "side_px": 60.0, "up_rad": 0.3, "mirrored": False}
    return Crop(**(given_ | changed))


@given(x=st.floats(0, 1280), y=st.floats(0, 720), focal_px=st.floats(400, 5000))
def test_view_frame_is_the_least_turn_to_the_ray_as_scipy_makes_it(x, y, focal_px):
    ray = np.array([(x - 640) / focal_px, (y - 360) / focal_px, 1.0])
    ray /= np.linalg.norm(ray)
    axis = np.cross([0, 0, 1], ray)
    sine = np.linalg.norm(axis)
    turn = np.zeros(3) if sine < 1e-12 else axis / sine * np.arctan2(sine, ray[2])
    actual = view_rotation(np.array([x, y]), focal_px, PRINCIPAL)
    assert actual == pytest.approx(Rotation.from_rotvec(turn).as_matrix(), abs=1e-9)


def test_an_unknown_point_has_no_view_frame():
    assert np.isnan(view_rotation(np.array([np.nan, 1.0]), 1000.0, PRINCIPAL)).any()


def test_the_middle_of_a_crop_is_its_centre_and_up_is_up():
    one = crop(up_rad=np.pi / 2)  # the crop's up points to the picture's right
    assert one.to_picture(np.array([30.0, 30.0]), 60) == pytest.approx([100, 80])
    assert one.to_picture(np.array([30.0, 0.0]), 60) == pytest.approx([130, 80])


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("side_px", [96.0, 600.0], ids=["about as large", "much shrunk"])
def test_a_dot_in_the_picture_is_cut_where_the_crop_says(mirrored, side_px):
    image = np.zeros((720, 1280, 3), np.uint8)
    one = crop(centre_px=np.array([600.0, 350.0]), side_px=side_px, mirrored=mirrored)
    at = one.to_picture(np.array([60.0, 130.0]), 192)
    half = max(int(side_px / 60), 2)
    corner = np.round(at - half).astype(int)
    image[corner[1] : corner[1] + 2 * half, corner[0] : corner[0] + 2 * half] = 255
    small = cut(image, one, 192)[..., 0].astype(float)
    y, x = np.mgrid[0:192, 0:192] + 0.5
    found = [(small * axis).sum() / small.sum() for axis in (x, y)]
    assert found == pytest.approx([60, 130], abs=192 / side_px)


def test_directions_turn_with_the_crop_and_a_mirrored_crop_gives_left_handed_frames():
    up_in_crop = np.array([0.0, -1.0, 0.0])
    assert crop(up_rad=np.pi / 2).axes() @ up_in_crop == pytest.approx([1, 0, 0])
    assert np.linalg.det(crop(mirrored=True).axes()) == pytest.approx(-1)


def test_spread_follows_the_same_affine_as_places():
    one = crop(mirrored=True)
    rng = np.random.default_rng(0)
    cov = np.array([[4.0, 1.0], [1.0, 2.0]])
    places = one.to_picture(rng.multivariate_normal([20, 30], cov, 20_000), 60)
    assert np.cov(places.T) == pytest.approx(one.spread_to_picture(cov, 60), rel=0.05, abs=0.05)


PICTURE = np.random.default_rng(2).integers(0, 255, (240, 400, 3), np.uint8)
PICTURE = np.asarray(cv2.GaussianBlur(PICTURE, (0, 0), 6), np.uint8)
SQUARE = Square(left=220, top=40, right=400, bottom=200, scale=1.0)
SMALL = np.asarray(cv2.resize(PICTURE, (200, 120), interpolation=cv2.INTER_AREA), np.uint8)


def source(image):
    """A picture of which parts are given out as they are."""

    def rgb_of(left, top, right, bottom):
        return image[top:bottom, left:right]

    return SimpleNamespace(size=image.shape[1::-1], rgb_of=rgb_of)


HELD = Held(small=source(SMALL), scale=0.5, square=SQUARE, sharp=source(PICTURE[40:200, 220:400]))


@pytest.mark.parametrize(
    "centre",
    [pytest.param([300, 120], id="inside"), pytest.param([380, 120], id="over the picture's edge")],
)
def test_a_crop_in_the_sharp_square_is_cut_as_from_the_whole_frame(centre):
    there = crop(centre_px=np.array(centre, float), side_px=60.0, up_rad=0.4)
    assert np.abs(cut(HELD, there, 64).astype(int) - cut(PICTURE, there, 64)).max() <= 1


def test_a_much_shrunk_crop_is_the_same_wherever_the_sharp_square_begins():
    there = crop(centre_px=np.array([300.0, 120.0]), side_px=100.0, up_rad=0.2)
    assert np.abs(cut(HELD, there, 32).astype(int) - cut(PICTURE, there, 32)).max() <= 1


def test_a_crop_that_leaves_the_sharp_square_is_cut_from_the_small_frame():
    beside = crop(centre_px=np.array([200.0, 120.0]), side_px=60.0, up_rad=0.4)
    difference = np.abs(cut(HELD, beside, 64).astype(int) - cut(PICTURE, beside, 64))
    assert 0 < difference.mean() < 3


def test_a_crop_of_a_large_part_shows_what_a_picture_made_smaller_with_care_shows():
    wide = crop(centre_px=np.array([203.0, 119.0]), side_px=230.0, up_rad=0.4)
    fine = np.random.default_rng(3).integers(0, 255, (240, 400, 3), np.uint8)
    eighth = cut(fine, wide, 29)
    careful = cv2.resize(cut(fine, wide, 232), (29, 29), interpolation=cv2.INTER_AREA)
    assert np.abs(eighth.astype(int) - careful).mean() < 10  # sampled between four pixels: 41


def test_a_square_of_another_size_than_asked_for_is_cut_where_it_shows_the_crop():
    drawn = cv2.resize(PICTURE[40:200, 220:400], (140, 130), interpolation=cv2.INTER_AREA)
    held = replace(HELD, square=replace(SQUARE, scale=0.8), sharp=source(drawn))
    there = crop(centre_px=np.array([360.0, 160.0]), side_px=50.0, up_rad=0.0)
    assert np.abs(cut(held, there, 40).astype(int) - cut(PICTURE, there, 40)).mean() < 0.6
