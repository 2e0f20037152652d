"""The packaged networks on a frame of the sample session, whose bodies they never saw."""

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from release.clip.read import read_clip
from release.frames.decode import decode_every
from release.landmarks import infer_elbow, infer_hand, infer_network
from release.landmarks.infer_arm import read_arm
from release.landmarks.infer_hand import _round_release, read_hand
from release.landmarks.infer_network import TOGETHER, run
from release.landmarks.result import HAND_POINTS, KINDS, READ_PX
from release.landmarks.side import throwing_side
from release.landmarks.track import ELBOW
from release.landmarks.view import Crop, view_rotation
from release.orientation.angles import unit

SAMPLES = Path(__file__).parents[2] / "sample_clips"


@pytest.fixture(scope="module", params=["throw_03", "throw_31"], ids=["right-hander", "left-hander"])
def read(request):
    truth = json.loads((SAMPLES / f"{request.param}.truth.json").read_text(encoding="utf-8"))
    at = round(truth["release_frame"])
    frames = decode_every(read_clip(SAMPLES / truth["clip"]), 1, first=at - 8, last=at + 4)
    arm = read_arm(frames.images, frames.index, frames.scale)
    return truth, frames, arm


def test_the_side_is_the_arm_that_throws(read):
    truth, _, arm = read
    assert throwing_side(arm) == (truth["handedness"], False)


def test_a_few_frames_that_are_sure_of_the_side_tell_more_than_many_that_waver(read):
    truth, _, arm = read
    right = np.where(np.arange(len(arm.frame_index)) % 3, 0.45, 0.999)
    wavering = replace(arm, right_probability=right if truth["handedness"] == "R" else 1 - right)
    assert throwing_side(wavering) == (truth["handedness"], False)


def test_of_two_cameras_the_surer_one_tells_the_side(read):
    _, _, arm = read
    wavering, sure = (replace(arm, right_probability=np.full(len(arm.frame_index), p)) for p in (0.4, 0.9))
    assert throwing_side(wavering) == ("L", True)
    assert throwing_side(wavering, sure) == ("R", False)


def test_the_wrist_is_found_within_a_third_of_a_palm_and_the_ball_leaves_the_hand(read):
    truth, frames, arm = read
    hand = read_hand(frames.images, frames.index, arm, truth["handedness"])
    pixel = {f["frame"]: f["pixel"] for f in truth["frames"]}
    wrist = np.array([pixel[i]["wrist"] for i in frames.index])
    palm_px = max(np.hypot(*(np.array(p["middle_mcp"]) - p["wrist"])) for p in pixel.values())
    off = np.linalg.norm(hand.points_px[:, HAND_POINTS.index("wrist")] - wrist, axis=1)
    assert np.median(off) < palm_px / 3
    assert hand.held_probability[0] > 0.5 > hand.held_probability[-1]
    assert np.median(hand.unfamiliarity) < 0.98  # not strange, though never trained on


def test_a_hand_whose_arm_is_lost_after_release_is_found_where_the_frames_before_lead(read):
    truth, frames, arm = read
    astray = arm.points_px.copy()
    astray[8:] += [0.0, 400.0]
    lost = replace(arm, points_px=astray)
    hand = read_hand(frames.images, frames.index, lost, truth["handedness"], second=False)
    pixel = {f["frame"]: f["pixel"] for f in truth["frames"]}
    wrist = np.array([pixel[i]["wrist"] for i in frames.index])
    palm_px = max(np.hypot(*(np.array(p["middle_mcp"]) - p["wrist"])) for p in pixel.values())
    off = np.linalg.norm(hand.points_px[:, HAND_POINTS.index("wrist")] - wrist, axis=1)
    assert (off < palm_px / 2).all()


def test_hand_and_ball_of_a_large_hand_are_read_in_detail_and_all_else_as_before(read, monkeypatch):
    truth, frames, arm = read
    monkeypatch.setattr(infer_hand, "DETAILED", len(frames.index))
    detailed = read_hand(frames.images, frames.index, arm, truth["handedness"], second=False)
    monkeypatch.setattr(infer_hand, "LARGE_PX", np.inf)
    whole = read_hand(frames.images, frames.index, arm, truth["handedness"], second=False)
    for name in ("forearm", "forearm_sd_deg", "upper_arm", "view_px", "held_probability", "unfamiliarity"):
        np.testing.assert_array_equal(getattr(detailed, name), getattr(whole, name), err_msg=name)
    wrist, knuckle = (HAND_POINTS.index(name) for name in ("wrist", "middle_mcp"))
    np.testing.assert_array_equal(detailed.points_px[:, ELBOW], whole.points_px[:, ELBOW])
    np.testing.assert_allclose(
        detailed.palm_view_px, (whole.points_px[:, wrist] + whole.points_px[:, knuckle]) / 2
    )
    sure_rad2, before_rad2 = (np.linalg.det(hand.palm_cov_rad2) for hand in (detailed, whole))
    assert np.median(sure_rad2 / before_rad2) < 0.5
    off, before = (_off_px(truth, frames.index, hand) for hand in (detailed, whole))
    assert np.nanmedian(off) < np.nanmedian(before)


def test_only_frames_near_the_release_are_read_in_detail(read, monkeypatch):
    truth, frames, arm = read
    monkeypatch.setattr(infer_hand, "DETAILED", 2)
    hand = read_hand(frames.images, frames.index, arm, truth["handedness"], second=False)
    detailed = frames.index[(hand.palm_view_px != hand.view_px).any(1)]
    assert len(detailed) == 5
    assert abs(np.mean(detailed) - truth["release_frame"]) < 2


def test_a_hand_with_few_pixels_is_not_read_in_detail(read, monkeypatch):
    truth, frames, arm = read
    asked = list[str]()
    for module in (infer_hand, infer_elbow):
        monkeypatch.setattr(module, "run", lambda kind, stack: (asked.append(kind), run(kind, stack))[1])
    read_hand(frames.images, frames.index, arm, truth["handedness"], second=False)
    assert asked[-2:] == ["detail", "elbow"]
    asked.clear()
    halves = np.stack([cv2.resize(image, None, fx=0.5, fy=0.5) for image in frames.images])
    small = replace(arm, points_px=arm.points_px / 2)
    read_hand(halves, frames.index, small, truth["handedness"], second=False)
    assert set(asked) == {"hand", "elbow"}


def _arm_in_truth(truth, frame_index):
    """Elbow in the picture, forearm and upper arm in camera axes, each in so many frames."""
    pixel, world = ({f["frame"]: f[what] for f in truth["frames"]} for what in ("pixel", "world"))
    shoulder, elbow, wrist = (
        np.array([world[i][name] for i in frame_index]) @ np.array(truth["R"]).T
        for name in ("shoulder", "elbow", "wrist")
    )
    return np.array([pixel[i]["elbow"] for i in frame_index]), unit(wrist - elbow), unit(elbow - shoulder)


def _apart_deg(truth, view_px, read, true):
    camera = np.array(truth["K"])
    axes = view_rotation(view_px, camera[0, 0], camera[:2, 2])
    return np.degrees(np.arccos(np.sum(np.einsum("kij,kj->ki", axes, read) * true, axis=1)))


def test_where_the_arm_was_looked_for_the_elbow_is_looked_at_closely_and_all_else_is_as_it_was(
    read, monkeypatch
):
    truth, frames, arm = read
    some = _every_third(arm)
    closely = read_hand(frames.images, frames.index, some, truth["handedness"], second=False)
    looked = np.isfinite(closely.upper_arm[:, 0])
    assert frames.index[looked].tolist() == some.frame_index.tolist()
    monkeypatch.setattr(infer_hand, "read_elbow", lambda *_: None)
    before = read_hand(frames.images, frames.index, some, truth["handedness"], second=False)
    assert np.isnan(before.upper_arm).all()
    np.testing.assert_array_equal(closely.points_px[:, 1:], before.points_px[:, 1:])
    assert (closely.forearm_view_px != closely.view_px).any(axis=1).tolist() == looked.tolist()
    for name in ("points_px", "forearm", "forearm_view_px"):
        np.testing.assert_array_equal(getattr(closely, name)[~looked], getattr(before, name)[~looked])
    for name in ("palm", "view_px", "held_probability"):
        np.testing.assert_array_equal(getattr(closely, name), getattr(before, name), err_msg=name)


def test_the_arm_at_the_elbow_is_read_as_it_lies(read):
    truth, frames, arm = read
    hand = read_hand(frames.images, frames.index, arm, truth["handedness"], second=False)
    elbow_px, forearm, upper_arm = _arm_in_truth(truth, frames.index)
    forearm_px = np.linalg.norm(hand.points_px[:, 1] - elbow_px, axis=1).max()
    assert np.median(np.linalg.norm(hand.points_px[:, ELBOW] - elbow_px, axis=1)) < forearm_px / 20
    assert np.median(_apart_deg(truth, hand.forearm_view_px, hand.forearm, forearm)) < 8
    assert np.median(_apart_deg(truth, hand.forearm_view_px, hand.upper_arm, upper_arm)) < 8


def _every_third(arm):
    return type(arm)(**{name: getattr(arm, name)[::3] for name in type(arm).__dataclass_fields__})


def test_the_elbows_place_and_its_uncertainty_are_taken_to_the_picture(monkeypatch):
    told = {
        "points": [[[0.5, 0.5], [0.5, 0.1]]],
        "points_precision": [[[10.0, 0, 10], [40, 0, 40]]],  # a tenth of the side, a fortieth
        "direction": [[0, -1, 0]],
        "direction_sd": [0.1],
        "upper_arm": [[1, 0, 0]],
        "upper_arm_sd": [0.1],
        "present": [0.9],
    }
    monkeypatch.setattr(infer_elbow, "run", lambda *_: {name: np.array(v) for name, v in told.items()})
    for module in (infer_elbow, infer_network):
        factors = dict.fromkeys(("points", "direction", "upper_arm"), 1.0)
        monkeypatch.setattr(module, "calibration", lambda _, factors=factors: factors)
    crop = Crop(centre_px=np.array([300.0, 300.0]), side_px=570.0, up_rad=0.0, mirrored=False)
    points = np.full((1, 12, 2), 0.5)
    points[0, ELBOW] = [0.5, 0.9]
    found = infer_elbow.read_elbow([np.zeros((600, 600, 3), np.uint8)], [crop], points, np.array([0]))
    assert found.view_px[0] == pytest.approx([300, 300 + 0.28 * 570])
    assert found.elbow_px[0] == pytest.approx(found.view_px[0])
    assert found.elbow_cov_px2[0] == pytest.approx(46.0**2 * np.eye(2))


def test_where_no_arm_is_in_sight_nothing_is_read_at_the_elbow():
    frames = np.full((3, 300, 300, 3), 128, np.uint8)
    arm = read_arm(frames, np.arange(3), 1.0)
    assert np.isnan(read_hand(frames, np.arange(3), arm, "R", second=False).upper_arm).all()


def test_the_same_pictures_give_the_same_answer_bit_for_bit(read):
    truth, frames, arm = read
    one, two = (read_hand(frames.images[:2], frames.index[:2], _part(arm), truth["handedness"]) for _ in "ab")
    assert one.palm.tobytes() == two.palm.tobytes()
    assert one.points_px.tobytes() == two.points_px.tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_among_others_is_read_as_it_is_alone(kind):
    pictures = np.random.default_rng(3).integers(
        0, 256, (2 * TOGETHER + 1, READ_PX[kind], READ_PX[kind], 3), np.uint8
    )
    together = run(kind, pictures)
    for at, picture in enumerate(pictures):
        for name, values in run(kind, picture[None]).items():
            np.testing.assert_allclose(together[name][at], values[0], rtol=1e-3, atol=1e-4, err_msg=name)


def test_mediapipe_is_asked_about_three_frames_near_the_balls_leaving():
    held = np.repeat([1.0, 0.0], 10)
    assert _round_release(held, np.ones(20)).tolist() == [6, 9, 12]
    assert _round_release(held[8:], np.ones(12)).tolist() == [1, 4]
    assert _round_release(held, held).tolist() == [6, 9]  # where no hand is seen nothing is asked


def test_without_the_fetched_models_only_the_second_opinion_is_missing(read, tmp_path, monkeypatch):
    from release.landmarks import infer_mediapipe

    monkeypatch.setenv("RELEASE_MODELS", str(tmp_path))
    infer_mediapipe._interpreter.cache_clear()
    truth, frames, arm = read
    hand = read_hand(frames.images[:2], frames.index[:2], _part(arm), truth["handedness"])
    infer_mediapipe._interpreter.cache_clear()
    assert np.isnan(hand.second_opinion_deg).all()
    assert np.isfinite(hand.palm).all()


def _off_px(truth, index, hand):
    """How far knuckles and ball are read from where they are, shape (k, 5)."""
    pixel = {f["frame"]: f["pixel"] for f in truth["frames"]}
    names = ("index_mcp", "middle_mcp", "ring_mcp", "little_mcp", "ball")
    places = np.array([[pixel[i][name] for name in names] for i in index])
    return np.linalg.norm(hand.points_px[:, [HAND_POINTS.index(name) for name in names]] - places, axis=2)


def _part(arm):
    return type(arm)(**{name: getattr(arm, name)[:2] for name in type(arm).__dataclass_fields__})
