"""A camera file or a declared view given to the pipeline, on drawn clips with simulated networks."""

from pathlib import Path

import numpy as np
import pytest

from release.camera.field import places_m
from release.orientation.result import FIELD_ANGLES, FIELD_LENGTHS
from release.pipeline import measure_clip
from release.settings import Settings
from tests.camera.cameras import STICK
from tests.camera.test_place import field_camera
from tests.drawn_clips import draw_clip
from tests.simulated_networks import TruthReader
from tests.synthetic import some_camera, some_throw

RNG = np.random.default_rng(3)
THROW = some_throw(RNG)
NAMES = [n for n in places_m(STICK) if not n.startswith("plate")]
CAMERA = some_camera(RNG, azimuth_deg=60, hand_px=70)


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    return draw_clip(tmp_path_factory.mktemp("clip"), THROW, CAMERA)


@pytest.fixture
def truth(clip, monkeypatch):
    reader = TruthReader(clip.with_suffix(".truth.json"))
    monkeypatch.setattr("release.landmarks.infer_arm.read_arm", reader.read_arm)
    monkeypatch.setattr("release.landmarks.infer_arm.follow_arm", reader.follow_arm)
    monkeypatch.setattr("release.landmarks.infer_hand.read_hand", reader.read_hand)
    return reader.truth


def marks_toml(folder: Path, *, leave_out: int = 0) -> Path:
    # This close view shows none of them; the file does not care from where their pixels come.
    marks = [(n, field_camera(CAMERA).pixel(places_m(STICK)[n])) for n in NAMES[: len(NAMES) - leave_out]]
    rows = [f'[[marks]]\nname = "{n}"\nx_px = {x}\ny_px = {y}\n' for n, (x, y) in marks]
    path = folder / "camera.toml"
    path.write_text("stick_m = 1.5\n" + "".join(rows), encoding="utf-8")
    return path


def test_marks_give_every_field_figure_within_its_interval(clip, truth, tmp_path):
    figures = measure_clip(clip, Settings(camera=marks_toml(tmp_path))).orientation.figures
    ball = THROW.posed(np.zeros(1)).points_m[0, 7]
    true = truth.angles_deg | {"release_height": ball[2], "release_side": -ball[1], "extension": ball[0]}
    for name in FIELD_ANGLES + FIELD_LENGTHS:
        if figures[name].value is not None:
            assert figures[name].value == pytest.approx(true[name], abs=3 * figures[name].sd), name
    assert figures["arm_angle"].value is not None
    assert figures["release_height"].value is not None


def test_marks_that_do_not_tell_leave_the_joint_angles(clip, truth, tmp_path):
    few = measure_clip(clip, Settings(camera=marks_toml(tmp_path, leave_out=len(NAMES) - 2)))
    assert "too few" in few.orientation.figures["release_height"].refused
    assert few.orientation.figures["wrist_flexion"].value is not None


def test_a_declared_view_gives_the_palms_turn_and_no_height(clip, truth):
    figures = measure_clip(clip, Settings(view="open side")).orientation.figures
    assert figures["palm_turn"].refused is None or "not measurable" in figures["palm_turn"].refused
    assert "no place" in figures["release_height"].refused
