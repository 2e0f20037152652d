"""Write golden landmarks with the reference package, in an environment of its own.

    python -m venv reference && reference/bin/pip install mediapipe==0.10.21
    reference/bin/python tests/landmarks/write_golden.py

The picture is rendered (a frame of the sample session). The reference is told to look at it as a still.
"""

import json
from pathlib import Path

import cv2
import mediapipe as mp

GOLDEN = Path(__file__).parent / "golden"


def pose(picture):
    with mp.solutions.pose.Pose(static_image_mode=True, model_complexity=1, smooth_landmarks=False) as reader:
        found = reader.process(picture)
    height, width = picture.shape[:2]
    return {
        "points_px": [[p.x * width, p.y * height] for p in found.pose_landmarks.landmark],
        "world_m": [[p.x, p.y, p.z] for p in found.pose_world_landmarks.landmark],
    }


def main():
    picture = cv2.cvtColor(cv2.imread(str(GOLDEN / "person.png")), cv2.COLOR_BGR2RGB)
    golden = {"mediapipe": mp.__version__, "pose": pose(picture)}
    (GOLDEN / "person.json").write_text(json.dumps(golden, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
