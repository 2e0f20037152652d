"""LiteRT's landmarks against the mediapipe 0.10.21 package's (golden/, written by write_golden.py)."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from release.landmarks.infer_mediapipe import pose_landmarks
from release.landmarks.read_models import fetched_model

GOLDEN = Path(__file__).parent / "golden"
pytestmark = pytest.mark.system


def test_pose_landmarks_are_the_packages():
    if fetched_model("pose_detection.tflite") is None:
        pytest.skip("models not fetched")
    golden = json.loads((GOLDEN / "person.json").read_text(encoding="utf-8"))["pose"]
    ours = pose_landmarks(cv2.cvtColor(cv2.imread(str(GOLDEN / "person.png")), cv2.COLOR_BGR2RGB))
    inside = (np.array(golden["points_px"]) < [640, 360]).all(1)  # what lies below the picture is a guess
    off = np.linalg.norm(ours.points_px - golden["points_px"], axis=1)[inside]
    assert np.median(off) < 1.5
    # The shoulders, whose heatmaps are broad in so close a picture, differ most.
    assert off.max() < 12
    assert np.median(np.linalg.norm(ours.world_m - golden["world_m"], axis=1)) < 0.1
