"""`release camera` on a rendered wide shot whose camera is known, the marks in it clicked 2 px off."""

import json
from pathlib import Path

import cv2
import numpy as np
from typer.testing import CliRunner

from release.camera.read_camera import read_camera
from release.cli import app

HERE = Path(__file__).parent
TRUTH = HERE.parents[1] / "sample_clips" / "throw_01.truth.json"  # the wide shot is from its tripod place


def test_the_command_finds_the_tripods_place_and_draws_the_field(tmp_path):
    out = tmp_path / "camera.toml"
    told = CliRunner().invoke(
        app, ["camera", str(HERE / "wide.marks.toml"), "--clip", str(HERE / "wide.mp4"), "--out", str(out)]
    )
    assert told.exit_code == 0, told.output
    assert "do the lines lie on the field, the level one on the horizon?" in told.output
    truth = json.loads(TRUTH.read_text(encoding="utf-8"))
    place_m = -np.array(truth["R"]).T @ np.array(truth["t"])
    camera = read_camera(out).solved
    off = camera.position_m - place_m
    assert np.all(np.abs(off) < 3 * np.sqrt(np.diag(camera.covariance)[3:6]))
    assert np.linalg.norm(off) < 0.4
    drawn, plain = (cv2.imread(str(out.with_suffix(s))) for s in (".png", ".frame.png"))
    assert drawn.shape == plain.shape == (720, 1280, 3)
    changed = np.abs(drawn.astype(int) - plain).max(axis=2) > 60
    x, y = camera.pixel(np.array([0.0, 0.0, 0.75]))  # half way up the stick
    assert changed[round(y) - 3 : round(y) + 4, round(x) - 3 : round(x) + 4].any()


def test_a_frame_that_the_clip_does_not_have_is_said(tmp_path):
    told = CliRunner().invoke(
        app,
        ["camera", str(HERE / "wide.marks.toml"), "--clip", str(HERE / "wide.mp4"), "--frame", "12"],
    )
    assert told.exit_code != 0
    assert "frame 12 is not in wide.mp4" in str(told.exception)
