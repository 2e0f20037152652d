"""How often frames are read while the hand is followed, with a network that says the same of every crop."""

import numpy as np
import pytest

from release.landmarks import infer_hand
from release.landmarks.track import CROP_M, ELBOW, WRIST, ZOOM_M
from release.landmarks.view import Crop

FRAMES = 9


@pytest.fixture
def read_at(monkeypatch):
    """Follows a hand whose wrist seems to lie at a share of every crop's width; answers how many it read."""

    def follow(wrist_x):
        points = np.full((12, 2), 0.5)
        points[WRIST], points[ELBOW] = [wrist_x, 0.5], [wrist_x, 0.9]
        one = {"points": points, "present": 1.0, "log_zoom": np.log(CROP_M / ZOOM_M)}
        seen = []

        def run(kind, pictures):
            seen.extend(pictures)
            return {name: np.array([value] * len(pictures)) for name, value in one.items()}

        monkeypatch.setattr(infer_hand, "run", run)
        images = np.zeros((FRAMES, 400, 400, 3), np.uint8)
        crop = Crop(centre_px=np.array([200.0, 200.0]), side_px=100.0, up_rad=0.0, mirrored=False)
        read = infer_hand._followed(images, [crop] * FRAMES)
        assert len(read["present"]) == FRAMES
        return len(seen)

    return follow


def test_a_frame_is_read_once_where_every_look_lays_the_same_crop(read_at):
    assert read_at(0.5) == FRAMES


def test_a_frame_is_read_by_every_look_that_lays_its_crop_elsewhere(read_at):
    assert read_at(0.6) == 3 + 5 + FRAMES
