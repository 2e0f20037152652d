"""Truth of rendered clips: every sign read off hand-made arms, and another piece of code agrees."""

import numpy as np
import pytest

from release.orientation.angles import angles_of_points_deg
from release.workshop.truth import Camera, angles_deg, looking

MIRROR = np.array([1, -1, 1.0])


def arm(thumb: tuple[float, float, float], fingers: tuple[float, float, float] = (1, 0, 0)) -> dict:
    """A right arm: upper arm hanging, forearm at the target, elbow bent 90 degrees."""
    thumb_way, finger_way = np.array(thumb, float), np.array(fingers, float)
    wrist = np.array([0.25, 0, 1.0])
    knuckle = wrist + 0.09 * finger_way
    return {
        "shoulder": np.array([0, 0, 1.3]),
        "elbow": np.array([0, 0, 1.0]),
        "wrist": wrist,
        "index_mcp": knuckle + 0.02 * thumb_way,
        "middle_mcp": knuckle,
        "little_mcp": knuckle - 0.04 * thumb_way,
        "ball": np.array([0, -1.0, 2.3]),
    }


S, C = np.sin(np.radians(20)), np.cos(np.radians(20))
HAND_MADE = [
    pytest.param(
        arm((0, 0, 1)),
        {
            "forearm_rotation": 0,
            "wrist_flexion": 0,
            "wrist_deviation": 0,
            "palm_azimuth": -90,
            "elbow_flexion": 90,
        },
        id="thumb up",
    ),
    pytest.param(arm((0, 1, 0)), {"forearm_rotation": 90, "palm_elevation": -90}, id="palm down"),
    pytest.param(arm((0, -1, 0)), {"forearm_rotation": -90, "palm_elevation": 90}, id="palm up"),
    pytest.param(arm((0, 0, 1), (C, S, 0)), {"wrist_flexion": 20}, id="fingers toward the palm"),
    pytest.param(arm((S, 0, C), (C, 0, -S)), {"wrist_deviation": 20}, id="fingers away from the thumb"),
    pytest.param(arm((0, 0, 1)), {"arm_angle": 45}, id="ball 1 m up and 1 m to the side"),
]


@pytest.mark.parametrize("side", ["R", "L"])
@pytest.mark.parametrize(("points", "expected"), HAND_MADE)
def test_angles_read_off_hand_made_arms(points, expected, side):
    turned = {name: p * (MIRROR if side == "L" else 1) for name, p in points.items()}
    found = angles_deg(turned, side)
    assert {n: float(found[n]) for n in expected} == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("side", ["R", "L"])
def test_the_measuring_side_reads_the_same_angles(side):
    rng = np.random.default_rng(4)
    for _ in range(50):
        points = {name: rng.normal(size=3) for name in arm((0, 0, 1))}
        ours, theirs = angles_deg(points, side), angles_of_points_deg(points, side)
        difference = {n: (float(ours[n]) - float(theirs[n]) + 180) % 360 - 180 for n in ours}
        assert difference == pytest.approx(dict.fromkeys(ours, 0.0), abs=1e-6)


def test_a_camera_sees_its_target_in_the_middle_and_up_as_up():
    camera = looking(np.array([0, -5.0, 1.5]), np.array([1, 0, 1.5]), 900, (1280, 720))
    assert camera.pixel(np.array([1, 0, 1.5])) == pytest.approx([640, 360])
    assert camera.pixel(np.array([1, 0, 2.0]))[1] < 360
    assert camera.pixel(np.array([2, 0, 1.5]))[0] > 640, "seen from third base the plate is on the right"
    assert camera.eye == pytest.approx([0, -5, 1.5])


def test_one_metre_at_five_metres_is_a_fifth_of_the_focal_length():
    camera = Camera(K=np.diag([1000.0, 1000.0, 1.0]), R=np.eye(3), t=np.zeros(3))
    assert camera.pixel(np.array([1.0, 0, 5])) == pytest.approx([200, 0])
