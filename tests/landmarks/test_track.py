from dataclasses import replace

import numpy as np
import pytest

from release.landmarks.result import HAND_POINTS, ArmReading
from release.landmarks.track import (
    CROP_M,
    FOREARM_M,
    SCALE_STEP,
    SHARP_PX,
    ZOOM_M,
    alike,
    detail_crop,
    elbow_crop,
    first_crops,
    led_crops,
    next_crops,
    on_the_hand,
    palm_sd_rad,
    squares_round,
)
from release.landmarks.view import Crop

FRAMES = 21


def arm(*, wrong_at=(), unsure_at=()):
    """A wrist that moves 5 px a frame to the right, 100 px above its elbow."""
    wrist = np.stack([300 + 5.0 * np.arange(FRAMES), np.full(FRAMES, 200.0)], 1)
    elbow = wrist + np.array([0, 100])
    points = np.stack([elbow + np.array([-60, 40]), elbow, wrist], 1)
    points[list(wrong_at)] += 500
    found = np.ones(FRAMES)
    found[list(unsure_at)] = 0.1
    return ArmReading(
        frame_index=np.arange(FRAMES),
        points_px=points,
        points_cov_px2=np.tile(np.eye(2), (FRAMES, 3, 1, 1)),
        upper_arm=np.tile([1.0, 0, 0], (FRAMES, 1)),
        upper_arm_sd_deg=np.full(FRAMES, 5.0),
        view_px=points[:, 1],
        right_probability=np.ones(FRAMES),
        found_probability=found,
    )


def test_first_crops_lie_on_the_wrist_forearm_from_below_half_a_metre_wide():
    crops = first_crops(arm(), np.arange(FRAMES), "R")
    assert crops[10].centre_px == pytest.approx([350, 200])
    assert crops[10].up_rad == pytest.approx(0)
    assert crops[10].side_px == pytest.approx(100 * CROP_M / FOREARM_M)


@pytest.mark.parametrize(
    ("change", "is_alike"),
    [
        ({"centre_px": np.array([308.0, 208.0])}, True),
        ({"centre_px": np.array([312.0, 212.0])}, False),
        ({"side_px": 216.0}, True),
        ({"side_px": 240.0}, False),
        ({"up_rad": np.pi - 0.02}, True),  # across the whole turn
        ({"up_rad": np.pi - 0.2}, False),
        ({"side_px": 216.0, "centre_px": np.array([310.0, 200.0])}, False),
    ],
)
def test_crops_are_alike_where_no_place_in_one_lies_far_from_where_the_other_has_it(change, is_alike):
    crop = Crop(centre_px=np.array([300.0, 200.0]), side_px=200.0, up_rad=-np.pi + 0.05, mirrored=False)
    assert alike(crop, replace(crop, **change)) is is_alike


@pytest.mark.parametrize(
    "trouble", [{"wrong_at": (10,)}, {"unsure_at": (9, 10, 11)}], ids=["misread", "unsure"]
)
def test_a_misread_or_unsure_frame_takes_its_place_from_its_neighbours(trouble):
    assert first_crops(arm(**trouble), np.arange(FRAMES), "R")[10].centre_px == pytest.approx(
        [350, 200], abs=0.5
    )


def test_an_arm_seen_in_every_third_frame_lays_the_crops_of_all():
    every = arm()
    third = replace(every, **{n: getattr(every, n)[::3] for n in ArmReading.__dataclass_fields__})
    crops = first_crops(third, np.arange(FRAMES - 2), "R")
    assert np.array([c.centre_px[0] for c in crops]) == pytest.approx(300 + 5.0 * np.arange(FRAMES - 2))


def test_a_left_arm_is_cut_mirrored():
    assert all(crop.mirrored for crop in first_crops(arm(), np.arange(FRAMES), "L"))


def test_next_crops_follow_the_hand_models_own_points_and_size():
    crops = first_crops(arm(), np.arange(FRAMES), "R")
    points = np.full((FRAMES, len(HAND_POINTS), 2), 96.0)
    points[:, HAND_POINTS.index("wrist")] = [106.0, 96.0]  # 10 of 192 to the right of the crop's middle
    points[:, HAND_POINTS.index("elbow")] = [106.0, 190.0]
    after = next_crops(
        crops, range(FRAMES), points, np.ones(FRAMES), np.full(FRAMES, np.log(2 * CROP_M / ZOOM_M)), 192
    )
    moved = crops[10].centre_px + np.array([10 / 192 * crops[10].side_px, 0])
    assert after[10].centre_px == pytest.approx(moved)
    assert after[10].side_px == pytest.approx(crops[10].side_px / 2)  # it spanned twice as much as it should


def test_frames_between_those_looked_at_get_their_crops_from_both_sides():
    crops, rows = first_crops(arm(), np.arange(FRAMES), "R"), range(0, FRAMES, 3)
    points = np.full((len(rows), len(HAND_POINTS), 2), 96.0)
    points[:, HAND_POINTS.index("elbow")] = [96.0, 190.0]
    points[3] += 150  # misread
    after = next_crops(crops, rows, points, np.ones(len(rows)), np.zeros(len(rows)), 192)
    assert len(after) == FRAMES
    assert np.array([c.centre_px for c in after[:19]]) == pytest.approx(
        np.array([c.centre_px for c in crops[:19]])
    )


def test_a_crop_off_the_hand_beside_three_on_it_is_laid_where_they_lead():
    crops = first_crops(arm(), np.arange(FRAMES), "R")
    points = np.full((FRAMES, len(HAND_POINTS), 2), 96.0)
    points[:, HAND_POINTS.index("elbow")] = [96.0, 190.0]
    sure = np.arange(FRAMES) < 15
    points[~sure] += 150
    led = led_crops(crops, points, sure, 192)
    assert list(led) == [15]
    assert led[15].centre_px == pytest.approx(crops[15].centre_px)
    assert led[15].up_rad == pytest.approx(0)
    assert not led_crops(crops, points, np.arange(FRAMES) % 3 > 0, 192)  # never three in a row


def test_a_hand_s_detail_lies_between_wrist_and_middle_knuckle_and_is_turned_and_mirrored_alike():
    whole = Crop(centre_px=np.array([700.0, 400.0]), side_px=570.0, up_rad=0.4, mirrored=True)
    points = np.full((len(HAND_POINTS), 2), np.nan)
    wrist, knuckle = (HAND_POINTS.index(name) for name in ("wrist", "middle_mcp"))
    points[wrist], points[knuckle] = [100.0, 110.0], [92.0, 70.0]
    detail = detail_crop(whole, points, 192)
    assert detail.centre_px == pytest.approx(whole.to_picture(np.array([96.0, 90.0]), 192))
    assert detail.side_px == pytest.approx(300.0)
    assert (detail.up_rad, detail.mirrored) == (0.4, True)


def test_the_elbows_crop_lies_three_tenths_up_the_forearm_and_is_turned_as_the_hands():
    whole = Crop(centre_px=np.array([400.0, 300.0]), side_px=570.0, up_rad=0.4, mirrored=True)
    points = np.full((12, 2), 5.0)
    points[0], points[1] = [96, 180], [96, 90]
    elbow = elbow_crop(whole, points, 192)
    assert elbow.centre_px == pytest.approx(whole.to_picture(np.array([96.0, 153.0]), 192))
    assert elbow.side_px == pytest.approx(460.0)
    assert (elbow.up_rad, elbow.mirrored) == (0.4, True)


def test_a_vaguely_read_palm_is_off_the_hand_but_at_least_half_of_a_hard_clip_is_on_it():
    vague, clear = np.eye(3) * 2, np.eye(3) * 10
    sd_rad = palm_sd_rad(np.array([1.0, 1.0, 1.0, 0.1]), np.stack([clear, clear, vague, clear]))
    assert sd_rad == pytest.approx([0.1, 0.1, 0.5, np.inf])
    assert on_the_hand(sd_rad).tolist() == [True, True, False, False]
    assert on_the_hand(np.array([0.6, 0.5, 0.7])).tolist() == [True, True, False]
    assert not on_the_hand(np.full(3, np.inf)).any()


def test_with_no_hand_anywhere_the_crops_stay():
    crops = first_crops(arm(), np.arange(FRAMES), "R")
    points = np.zeros((FRAMES, len(HAND_POINTS), 2))
    assert next_crops(crops, range(FRAMES), points, np.zeros(FRAMES), np.zeros(FRAMES), 192) == crops


@pytest.mark.parametrize("up_rad", [0.0, np.pi / 4])
def test_squares_take_in_the_hands_crop_however_it_is_turned_and_lie_in_the_picture(up_rad):
    found, between = arm(), np.arange(0, FRAMES - 1) + 0.5
    for frame, square in zip(between, squares_round(found, between, 1280, 720), strict=True):
        reach = first_crops(found, np.arange(FRAMES), "R")[0].side_px / 2 * (np.cos(up_rad) + np.sin(up_rad))
        wrist_px = 300 + 5.0 * frame
        assert square.left <= wrist_px - reach
        assert square.right >= wrist_px + reach
        assert 0 <= square.top <= max(200 - reach, 0)
        assert square.bottom >= 200 + reach


def test_a_hand_near_the_picture_s_edge_has_its_square_cut_there():
    square = squares_round(arm(), np.array([20]), 420, 240)[0]
    assert (square.right, square.bottom) == (420, 240)


def test_a_large_hand_is_held_no_sharper_than_it_is_read():
    found = arm()
    close_by = replace(found, points_px=found.points_px * 10)
    square = squares_round(close_by, np.array([5]), 12800, 7200)[0]
    crop_px = first_crops(close_by, np.arange(FRAMES), "R")[0].side_px
    assert crop_px * square.scale == pytest.approx(SHARP_PX, rel=SCALE_STEP - 1)


def test_a_hand_that_moves_and_seems_to_grow_by_little_has_squares_of_few_sizes():
    seen = [replace(arm(), points_px=arm().points_px * by) for by in np.linspace(4.0, 4.1, 20)]
    squares = [s for one in seen for s in squares_round(one, np.arange(FRAMES), 12800, 7200)]
    # Laid each for itself they have 38.
    assert len({(s.right - s.left, s.bottom - s.top, s.scale) for s in squares}) <= 8
