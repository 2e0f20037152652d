"""Field figures of arms and cameras that are known: they come back, with intervals that hold."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from release.camera.result import FieldCamera
from release.camera.view import declared
from release.field_camera import Stand
from release.orientation.angles import wrap_deg
from release.orientation.arm_fit import fit_arm
from release.orientation.measure import Heading, angle_estimates
from release.orientation.place import heading_of, release_place
from tests.synthetic import Noise, mirrored, readings, some_camera, some_throw, truth_deg

TURN_SD, PLACE_SD_M, FOCAL_SD = np.radians(1.5), 0.04, 0.01


def field_camera(camera, covariance=None):
    return FieldCamera(
        rotation=camera.rotation,
        position_m=-camera.rotation.T @ camera.offset_m,
        focal_px=camera.focal_px,
        size_px=(1280, 720),
        covariance=np.zeros((7, 7)) if covariance is None else covariance,
        reprojection_px=1.0,
        source="marks",
    )


def misplaced(camera, rng):
    """A camera as uncertain marks might give it."""
    sd = np.array([TURN_SD] * 3 + [PLACE_SD_M] * 3 + [1e-9])
    error = sd * rng.normal(size=7)
    return replace(
        camera,
        rotation=camera.rotation @ Rotation.from_rotvec(error[:3]).as_matrix().T,
        position_m=camera.position_m + error[3:6],
        covariance=np.diag(sd**2),
    )


def true_place(throw):
    return throw.posed(np.zeros(1)).points_m[0, 7]


def test_an_exact_camera_gives_the_release_point_and_the_field_angles():
    rng = np.random.default_rng(1)
    throw, camera = some_throw(rng), some_camera(rng, azimuth_deg=-70, hand_px=90)
    arm = fit_arm(readings(throw, camera, Noise().times(1e-2), rng), 0.0, two_ways=False)
    place = release_place(arm, "R", field_camera(camera), release_sd_s=0.0)
    x, y, z = true_place(throw)
    found = [place[n].value for n in ("extension", "release_side", "release_height")]
    assert found == pytest.approx([x, -y, z], abs=0.03)


def test_a_left_arm_in_a_mirrored_field_has_the_same_release_point():
    rng = np.random.default_rng(2)
    throw, camera = some_throw(rng), some_camera(rng, azimuth_deg=-70, hand_px=90)
    window = readings(throw, camera, Noise().times(0.3), rng)
    covariance = np.diag([1e-4, 2e-4, 3e-4, 1e-3, 2e-3, 3e-3, 1e-4])
    right = release_place(fit_arm(window, 0.0), "R", field_camera(camera, covariance), release_sd_s=0.001)
    in_mirror = replace(
        camera,
        rotation=np.diag([-1.0, 1, 1]) @ camera.rotation @ np.diag([1.0, -1, 1]),
        offset_m=camera.offset_m * [-1, 1, 1],
    )
    left_window = mirrored(window)
    left = release_place(
        fit_arm(left_window, 0.0), "L", field_camera(in_mirror, covariance), release_sd_s=0.001
    )
    for name, figure in right.items():
        assert figure.value is not None, name
        assert left[name].value == pytest.approx(figure.value, abs=1e-6)
        assert left[name].sd == pytest.approx(figure.sd, rel=1e-3)


def test_intervals_hold_with_an_uncertain_camera():
    rng = np.random.default_rng(3)
    inside = []
    for _ in range(25):
        throw, camera = some_throw(rng), some_camera(rng, hand_px=90)
        arm = fit_arm(readings(throw, camera, Noise(), rng), 0.0, two_ways=False)
        known = misplaced(field_camera(camera), rng)
        place = release_place(arm, "R", known, release_sd_s=0.0)
        angles = angle_estimates(
            arm, "R", release_sd_s=0.0, heading=heading_of(known, np.zeros(3)), factors={}
        )
        x, y, z = true_place(throw)
        true = truth_deg(throw, camera)
        pairs = [(place["release_height"], z), (place["release_side"], -y), (place["extension"], x)]
        pairs += [(angles[n], true[n]) for n in ("arm_angle", "palm_elevation", "forearm_elevation")]
        pairs += [(angles["palm_azimuth"], true["palm_azimuth"])]
        for figure, value in pairs:
            if figure.value is not None:
                inside.append(abs(float(wrap_deg(np.array(figure.value - value)))) < 1.96 * figure.sd)
    assert len(inside) > 100
    assert np.mean(inside) > 0.88


def test_no_lengths_where_the_marks_leave_the_focal_length_open():
    rng = np.random.default_rng(1)
    throw, camera = some_throw(rng), some_camera(rng, azimuth_deg=-70, hand_px=90)
    arm = fit_arm(readings(throw, camera, Noise(), rng), 0.0, two_ways=False)
    for lens_sd, answered in ((0.02, True), (0.45, False)):
        moved = lens_sd * np.concatenate(
            [np.zeros(3), -6.0 * camera.rotation[2], [1.0]]
        )  # back with the lens
        covariance = np.outer(moved, moved)
        place = release_place(arm, "R", field_camera(camera, covariance), release_sd_s=0.0)
        assert (place["release_height"].value is not None) == answered
    assert "45 %: give the field of view" in place["release_height"].refused


def test_a_longer_lens_and_a_farther_camera_cancel():
    # Marks with an unknown focal length leave camera and arm to move away together.
    rng = np.random.default_rng(4)
    throw, camera = some_throw(rng), some_camera(rng, azimuth_deg=-90, hand_px=90)
    arm = fit_arm(readings(throw, camera, Noise(), rng), 0.0, two_ways=False)
    far = float(np.linalg.norm(camera.offset_m))
    alone, together = np.zeros((7, 7)), np.zeros((7, 7))
    alone[6, 6] = 0.1**2
    back = np.append(np.zeros(3), -far * camera.rotation[2])
    whole = 0.1 * np.append(back, 1.0)
    together[:] = np.outer(whole, whole)
    sd = [
        release_place(arm, "R", field_camera(camera, c), release_sd_s=0.0)["release_side"]
        for c in (alone, together, np.zeros((7, 7)))
    ]
    assert sd[0].refused or sd[0].sd > sd[2].sd + 0.05
    assert sd[1].sd == pytest.approx(sd[2].sd, abs=0.02)


@pytest.mark.parametrize("side", ["R", "L"])
@pytest.mark.parametrize(
    ("view", "right_is"),
    [
        ("behind", {"R": [0, -1, 0], "L": [0, -1, 0]}),
        ("front", {"R": [0, 1, 0], "L": [0, 1, 0]}),
        ("open side", {"R": [1, 0, 0], "L": [-1, 0, 0]}),
        ("closed side", {"R": [-1, 0, 0], "L": [1, 0, 0]}),
    ],
)
def test_the_pictures_right_in_each_view(view, right_is, side):
    to_field, covariance = declared(view, side)
    assert to_field[:, 0] == pytest.approx(right_is[side], abs=1e-12)
    assert to_field[:, 1] == pytest.approx([0, 0, -1], abs=1e-12)
    assert np.linalg.det(to_field) == pytest.approx(1)
    assert np.degrees(np.sqrt(covariance[2, 2])) == pytest.approx(12)  # the heading is the least sure


def test_a_declared_view_gives_wide_angles_and_no_place():
    rng = np.random.default_rng(6)
    throw, camera = some_throw(rng), some_camera(rng, azimuth_deg=180, hand_px=90)
    arm = fit_arm(readings(throw, camera, Noise(), rng), 0.0)
    stand = Stand(view="behind", why_not="a declared view tells no place: give a camera file with marks")
    heading = stand.heading("R", np.zeros(3))
    exact = Heading(to_field=camera.rotation.T, covariance_rad2=np.zeros((3, 3)))
    wide = angle_estimates(arm, "R", release_sd_s=0, heading=heading, factors={})
    narrow = angle_estimates(arm, "R", release_sd_s=0, heading=exact, factors={})
    true = truth_deg(throw, camera)
    assert wide["arm_angle"].value == pytest.approx(true["arm_angle"], abs=3 * wide["arm_angle"].sd)
    assert wide["palm_azimuth"].refused or wide["palm_azimuth"].sd > narrow["palm_azimuth"].sd + 5
    assert "no place" in stand.lengths(arm, "R", release_sd_s=0)["release_height"].refused
