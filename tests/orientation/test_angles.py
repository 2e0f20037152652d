"""Angles read off hand-made arms, both hands, and against the ISB's Euler angles."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from release.orientation.angles import angles_of_points_deg, cross, joint_angles_deg, palm_frame, wrap_deg

MIRROR = np.array([1.0, -1.0, 1.0])  # across the vertical plane to the target


def arm(radial, distal, *, mirrored=False):
    """A right arm hanging down, forearm to the target (x), elbow at 90; y left, z up."""
    r, d = np.array(radial, float), np.array(distal, float)
    shoulder, elbow, wrist = np.array([0, 0, 1.4]), np.array([0, 0, 1.1]), np.array([0.26, 0, 1.1])
    points = {
        "shoulder": shoulder,
        "elbow": elbow,
        "wrist": wrist,
        "index_mcp": wrist + 0.09 * d + 0.025 * r,
        "middle_mcp": wrist + 0.09 * d,
        "little_mcp": wrist + 0.075 * d - 0.045 * r,
        "ball": shoulder + np.array([0, -1, 1]),
    }
    return {n: p * MIRROR for n, p in points.items()} if mirrored else points


UP, LEFT, AHEAD = (0, 0, 1), (0, 1, 0), (1, 0, 0)
C, S = np.cos(np.radians(20)), np.sin(np.radians(20))


@pytest.mark.parametrize("mirrored", [False, True], ids=["right arm", "left arm"])
@pytest.mark.parametrize(
    ("radial", "distal", "expected"),
    [
        pytest.param(
            UP,
            AHEAD,
            {"forearm_rotation": 0, "wrist_flexion": 0, "wrist_deviation": 0, "palm_azimuth": -90},
            id="thumb up, fingers along the forearm",
        ),
        pytest.param(LEFT, AHEAD, {"forearm_rotation": 90, "palm_elevation": -90}, id="palm down"),
        pytest.param((0, -1, 0), AHEAD, {"forearm_rotation": -90, "palm_elevation": 90}, id="palm up"),
        pytest.param(UP, (C, S, 0), {"wrist_flexion": 20}, id="fingers 20 toward the palm"),
        pytest.param((S, 0, C), (C, 0, -S), {"wrist_deviation": 20}, id="fingers 20 away from the thumb"),
        pytest.param(UP, AHEAD, {"arm_angle": 45, "elbow_flexion": 90}, id="ball one up, one to the side"),
    ],
)
def test_hand_made_arms_read_as_drawn(radial, distal, expected, mirrored):
    # The six hand-made checks of the truth files' description.
    actual = angles_of_points_deg(arm(radial, distal, mirrored=mirrored), "L" if mirrored else "R")
    assert {n: float(actual[n]) for n in expected} == pytest.approx(expected, abs=1e-9)


def test_palm_turn_is_zero_facing_the_target_and_negative_toward_the_glove_side():
    points = arm(UP, AHEAD)  # forearm at the target: turn it up instead, so that the palm can face it
    up = {n: Rotation.from_euler("y", -90, degrees=True).apply(p) for n, p in points.items()}
    palm_side = angles_of_points_deg(up, "R")  # palm faces +y, the glove side
    faced = {n: Rotation.from_euler("z", -90, degrees=True).apply(p) for n, p in up.items()}
    assert float(palm_side["palm_turn"]) == pytest.approx(-90)
    assert float(angles_of_points_deg(faced, "R")["palm_turn"]) == pytest.approx(0, abs=1e-9)


@given(seed=st.integers(0, 2**32 - 1))
def test_a_mirrored_right_arm_is_a_left_arm_with_the_same_angles(seed):
    points = {n: np.random.default_rng(seed + k).normal(size=3) for k, n in enumerate(arm(UP, AHEAD))}
    right = angles_of_points_deg(points, "R")
    left = angles_of_points_deg({n: p * MIRROR for n, p in points.items()}, "L")
    for name in right:
        assert float(wrap_deg(left[name] - right[name])) == pytest.approx(0, abs=1e-6)


@given(seed=st.integers(0, 2**32 - 1))
def test_joint_angles_do_not_depend_on_the_frame_or_the_unit(seed):
    rng = np.random.default_rng(seed)
    points = {n: rng.normal(size=3) for n in arm(UP, AHEAD)}
    turn = Rotation.random(rng=rng)
    moved = {n: 1000 * turn.apply(p) + [3, 4, 5] for n, p in points.items()}
    for name in ("wrist_flexion", "wrist_deviation", "forearm_rotation", "elbow_flexion"):
        difference = angles_of_points_deg(moved, "R")[name] - angles_of_points_deg(points, "R")[name]
        assert float(wrap_deg(difference)) == pytest.approx(0, abs=1e-6)


def test_missing_points_give_missing_angles():
    points = arm(UP, AHEAD) | {"elbow": np.full(3, np.nan)}
    assert np.isnan(angles_of_points_deg(points, "R")["wrist_flexion"])


# ISB part II (Wu et al. 2005): forearm X volar, Y proximal, Z radial; R = Rz(flexion) Rx(ulnar) Ry(axial).
# Landmarks in metres of the golden table: case, flexion, ulnar, index, middle, little.
ISB_CASES = [
    ("flexion20", 20, 0, (0.03078, -0.08457, 0.025), (0.03147, -0.08645, 0.003), (0.02668, -0.0733, -0.04)),
    ("extension30", -30, 0, (-0.045, -0.07794, 0.025), (-0.046, -0.07967, 0.003), (-0.039, -0.06755, -0.04)),
    ("ulnar10", 0, 10, (0, -0.09297, 0.00899), (0, -0.09112, -0.01302), (0, -0.06987, -0.05294)),
    ("radial10", 0, -10, (0, -0.08429, 0.04025), (0, -0.09008, 0.01893), (0, -0.08376, -0.02585)),
    (
        "ext30_ulnar8",
        -30,
        8,
        (-0.0463, -0.0802, 0.01223),
        (-0.04576, -0.07926, -0.00983),
        (-0.03584, -0.06207, -0.05047),
    ),
]
# In the neutral hand of that table the middle knuckle lies 3 mm to the radial side of the long axis.
MIDDLE_OFFSET_DEG = np.degrees(np.arctan2(0.003, 0.092))


@pytest.mark.parametrize(("flexion", "ulnar", "index", "middle", "little"), [c[1:] for c in ISB_CASES])
def test_wrist_angles_agree_with_the_isb_goldens_within_three_degrees(flexion, ulnar, index, middle, little):
    palm = palm_frame(np.zeros(3), *(np.array(p, float) for p in (index, middle, little)), "R")
    forearm = np.array([0.0, -1.0, 0.0])
    angles = joint_angles_deg(np.array([0.0, -1.0, 1.0]) / np.sqrt(2), forearm, palm, "R")
    assert float(angles["wrist_flexion"]) == pytest.approx(flexion, abs=1.0)
    assert float(angles["wrist_deviation"]) + MIDDLE_OFFSET_DEG == pytest.approx(ulnar, abs=3.0)


@pytest.mark.parametrize(("flexion", "ulnar", "agree"), [(-30, 8, True), (-40, 35, False)])
def test_the_stated_difference_from_euler_angles(flexion, ulnar, agree):
    # Isolated rotations agree; both at once part, as the definitions state.
    hand = Rotation.from_euler("ZXY", [flexion, ulnar, 0], degrees=True).as_matrix()
    x_volar, y_proximal, z_radial = hand.T
    palm = np.stack([z_radial, -y_proximal, x_volar], axis=-1)
    forearm = np.array([0.0, -1.0, 0.0])
    angles = joint_angles_deg(np.array([0.0, -1.0, 1.0]) / np.sqrt(2), forearm, palm, "R")
    off = max(abs(angles["wrist_flexion"] - flexion), abs(angles["wrist_deviation"] - ulnar))
    assert (off < 3) == agree


def test_the_cross_product_is_numpys_to_the_last_digit():
    a, b = np.random.default_rng(0).normal(size=(2, 4, 1, 3))
    assert (cross(a, b.swapaxes(0, 1)) == np.cross(a, b.swapaxes(0, 1))).all()
