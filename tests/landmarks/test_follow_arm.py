"""Where the arm finder looks while an arm is followed, with a network that sees the arm where it is drawn."""

import numpy as np
import pytest

from release.landmarks import infer_arm
from release.landmarks.infer_arm import WHOLE_EVERY, follow_arm

WIDTH_PX, HEIGHT_PX = 640, 360
ARM_PX = np.array([[-40.0, 0], [0, -30], [40, 0]])  # about its middle


@pytest.fixture
def followed(monkeypatch):
    """Follows an arm whose middle is at given places.

    Answers each look as its frame and the crop, None for the whole one, and what was read. In frames that are
    lost no closer look finds the arm, and in those where it is nowhere no look at the whole.
    """

    def follow(places, *, lost=(), nowhere=(), right=0.9):
        looks, seen, readings, now = [], [], [], {}

        def run(kind, pictures):
            crop = now.pop("crop", None)
            seen.append((now["frame"], crop))
            side, centre = (WIDTH_PX, [320, 180]) if crop is None else (crop.side_px, crop.centre_px)
            points = (now["place"] + ARM_PX - centre) / side + 0.5
            found = now["frame"] not in (nowhere if crop is None else lost)
            return {
                "points": points[None],
                "points_precision": np.tile([100.0, 0, 100], (1, 3, 1)),
                "present": np.array([0.95 if found else 0.1]),
                "right": np.array([right if crop is None else 0.9]),
                "direction": np.array([[1.0, 0, 0]]),
                "direction_sd": np.array([0.1]),
            }

        def cut(image, crop, out_px):
            now["crop"] = crop
            return np.zeros((out_px, out_px, 3), np.uint8)

        monkeypatch.setattr(infer_arm, "run", run)
        monkeypatch.setattr(infer_arm, "cut", cut)
        image = np.zeros((HEIGHT_PX, WIDTH_PX, 3), np.uint8)
        for frame, place in enumerate(places):
            now |= {"frame": frame, "place": np.array(place, float)}
            readings.append(follow_arm(image, frame, 0.5, looks))
        return seen, readings

    return follow


def _whole(seen):
    return [frame for frame, crop in seen if crop is None]


def test_the_whole_frame_is_looked_at_in_the_first_two_and_then_now_and_then(followed):
    seen, readings = followed([[320, 180]] * 11)
    assert _whole(seen) == [0, 1, *range(1 + WHOLE_EVERY, 11, WHOLE_EVERY)]
    assert [frame for frame, crop in seen if crop is not None] == list(range(11))
    for reading in readings:
        assert reading.points_px[0] == pytest.approx((np.array([320, 180]) + ARM_PX) / 0.5)


def test_an_arm_is_looked_for_where_its_motion_leads(followed):
    places = [[100 + 22 * k, 180] for k in range(12)]
    seen, _ = followed(places)
    off_px = [np.linalg.norm(crop.centre_px - places[k] - ARM_PX.mean(0)) for k, crop in seen if crop]
    assert max(off_px) < 1


def test_where_the_arm_is_not_where_it_was_led_to_the_whole_frame_is_looked_at_at_once(followed):
    seen, _ = followed([[320, 180]] * 9, lost=[2])
    assert _whole(seen)[:4] == [0, 1, 2, 3]  # and until it was found in two frames again
    assert 5 not in _whole(seen)


def test_without_an_arm_in_the_whole_frame_none_is_led_on(followed):
    seen, readings = followed([[320, 180]] * 6, nowhere=range(6))
    assert _whole(seen) == list(range(6))
    assert len(seen) == 12
    assert all(reading.found_probability[0] < 0.5 for reading in readings)


def test_what_the_whole_frame_told_of_the_side_counts_until_the_next_one(followed):
    _, readings = followed([[320, 180]] * 6, right=0.5)
    told = 0.75  # nine to one by the closer look, even by the whole one: three to one
    assert [reading.right_probability[0] for reading in readings] == pytest.approx([told] * 6)
