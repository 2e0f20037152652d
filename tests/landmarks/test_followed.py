"""How often frames are read while the hand is followed, with a network that says the same of every crop."""

import numpy as np
import pytest

from release.landmarks import infer_hand
from release.landmarks.infer_hand import CLOSE
from release.landmarks.track import CROP_M, ELBOW, WRIST, ZOOM_M
from release.landmarks.view import Crop

FRAMES = 9


@pytest.fixture
def follow(monkeypatch):
    """Follows a hand whose wrist seems to lie at a share of every crop's width.

    Given how surely each frame shows the ball held, it answers which frames were read, each as often as it
    was, what was read, and the rows of those that were not.
    """

    def follow(wrist_x, held):
        points = np.full((12, 2), 0.5)
        points[WRIST], points[ELBOW] = [wrist_x, 0.5], [wrist_x, 0.9]
        one = {"points": points, "present": 1.0, "log_zoom": np.log(CROP_M / ZOOM_M)}
        seen = []

        def run(kind, pictures):
            frames = [int(picture[0, 0, 0]) for picture in pictures]
            seen.extend(frames)
            answers = {name: np.array([value] * len(frames)) for name, value in one.items()}
            return answers | {"held": np.array(held)[frames]}

        monkeypatch.setattr(infer_hand, "run", run)
        images = np.zeros((len(held), 400, 400, 3), np.uint8)
        images += np.arange(len(held), dtype=np.uint8)[:, None, None, None]
        crop = Crop(centre_px=np.array([200.0, 200.0]), side_px=100.0, up_rad=0.0, mirrored=False)
        read, unread = infer_hand._followed(images, [crop] * len(held))
        return seen, read, unread

    return follow


def test_a_frame_is_read_once_where_every_look_lays_the_same_crop(follow):
    seen, _, _ = follow(0.5, [1.0] * FRAMES)
    assert sorted(seen) == list(range(FRAMES))


def test_a_frame_is_read_by_every_look_that_lays_its_crop_elsewhere(follow):
    seen, _, _ = follow(0.6, [1.0] * FRAMES)
    assert len(seen) == 3 + 5 + FRAMES


def test_all_frames_are_read_near_where_the_ball_leaves_and_every_second_one_elsewhere(follow):
    held = np.where(np.arange(60) <= 24, 0.9, 0.1)
    seen, read, unread = follow(0.5, held)
    near = np.abs(np.arange(60) - 24) <= CLOSE
    assert len(unread) == 14
    assert not near[unread].any()
    assert unread.tolist() == [row for row in range(60) if row % 2 and not near[row]]
    laying = {*range(0, 60, 3), *range(0, 60, 2)}
    assert sorted(seen) == sorted(laying | set(np.flatnonzero(near)))
    assert (read["present"] == 0).nonzero()[0].tolist() == unread.tolist()
    known = np.setdiff1d(np.arange(60), unread)
    np.testing.assert_array_equal(read["held"][known], held[known])
