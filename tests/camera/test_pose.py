"""The camera from marks, against OpenCV's own projection of cameras whose place is known."""

import cv2
import numpy as np
import pytest

from release.camera.field import Field, places_m
from release.camera.pose import Known, solve_camera
from release.errors import CameraRefused
from tests.camera.cameras import SIZE_PX, STICK, error_of, looking, seen_marks, some_camera

KNOWN = Known(size_px=SIZE_PX)


def test_pixels_are_opencvs():
    camera = some_camera(np.random.default_rng(1))
    _, places, _ = seen_marks(camera)
    width, height = SIZE_PX
    matrix = np.array([[camera.focal_px, 0, width / 2], [0, camera.focal_px, height / 2], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(camera.rotation)
    opencv, _ = cv2.projectPoints(places, turn, -camera.rotation @ camera.position_m, matrix, np.zeros(4))
    assert camera.pixel(places) == pytest.approx(opencv[:, 0])


@pytest.mark.parametrize("focal_known", [True, False])
@pytest.mark.parametrize("seed", range(5))
def test_a_known_camera_comes_back_from_exact_marks(seed, focal_known):
    true = some_camera(np.random.default_rng(seed))
    known = Known(size_px=SIZE_PX, click_sd_px=0.01, focal_px=true.focal_px if focal_known else None)
    found = solve_camera(*seen_marks(true), known)
    assert error_of(found, true) == pytest.approx(0, abs=0.01)
    assert found.reprojection_px < 0.1


def test_the_example_of_a_camera_beside_the_plate_comes_back():
    # Projected with OpenCV once: focal 1500, centre (960, 540), camera at (6, -4, 1.6) from the plate's point
    # in axes (to the catcher's right, to the pitcher, up), looking at (0, 9.5, 0.3).
    from_plate = np.array([[0, 0, 0], [0.2159, 0.4318, 0], [-0.2159, 0.4318, 0], [-0.3048, 18.4404, 0.254]])
    from_plate = np.vstack([from_plate, [0.3048, 18.4404, 0.254], [0.3048, 18.5928, 0.254]])
    px = [
        *([27.8715, 796.0419], [157.4208, 777.8321], [89.8996, 768.1738], [1177.7321, 495.7601]),
        *([1216.6515, 496.7073], [1219.1414, 496.1720]),
    ]
    to_field = np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1.0]])
    places = from_plate @ to_field.T + [18.4404, 0, -0.254]
    found = solve_camera(list("abcdef"), places, np.array(px), Known(size_px=(1920, 1080), focal_px=1500))
    assert found.position_m == pytest.approx(to_field @ [6, -4, 1.6] + [18.4404, 0, -0.254], abs=0.01)


def test_stated_uncertainty_is_that_of_repeated_clicking():
    rng = np.random.default_rng(3)
    errors, sds = [], []
    true = some_camera(rng)
    names, places, px = seen_marks(true)
    for _ in range(60):
        found = solve_camera(names, places, px + rng.normal(0, 2, px.shape), KNOWN)
        errors.append(error_of(found, true))
        sds.append(np.sqrt(np.diag(found.covariance)))
    ratio = np.std(errors, axis=0) / np.median(sds, axis=0)
    assert np.all((ratio > 0.6) & (ratio < 1.4)), ratio


def test_no_mirrored_camera_is_accepted_from_the_rubber_alone():
    rng = np.random.default_rng(4)
    rubber = [n for n in places_m(Field()) if n.startswith("rubber")]
    for _ in range(40):
        true = some_camera(rng)
        places = np.array([places_m(Field())[n] for n in rubber])
        px = true.pixel(places) + rng.normal(0, 2, (len(rubber), 2))
        try:
            found = solve_camera(rubber, places, px, Known(size_px=SIZE_PX, focal_px=true.focal_px))
        except CameraRefused:
            continue
        assert found.position_m[2] > -0.6
        assert found.position_m[:2] @ true.position_m[:2] > 0


@pytest.mark.parametrize("seed", range(6))
def test_a_long_lens_on_the_plate_past_a_near_stick_leaves_the_distance_open_but_not_the_turn(seed):
    true = looking([-6.0, 0.5, 1.9], [6.0, 0.2, 1.0], 5500)
    names = [n for n in places_m(STICK) if n.startswith("plate")] + ["stick top"]
    places = np.array([places_m(STICK)[n] for n in names])
    px = true.pixel(places)
    assert np.all((px > 0) & (px < SIZE_PX))
    px += np.random.default_rng(seed).normal(0, 2, px.shape)
    found = solve_camera(names, places, px, KNOWN)
    error, sd = error_of(found, true), np.sqrt(np.diag(found.covariance))
    assert np.all(np.abs(error) < 4 * sd)
    assert np.degrees(np.linalg.norm(error[:3])) < 4


def refusal(names, places, px, known=KNOWN):
    with pytest.raises(CameraRefused) as refused:
        solve_camera(names, places, px, known)
    return refused.value.why


def test_left_and_right_swapped_is_a_camera_below_the_ground_and_refused():
    true = looking([-6.0, 3.0, 1.7], [0.5, 0, 0.8], 1500)
    names = [n for n in places_m(Field()) if n.startswith("rubber")]
    places = np.array([places_m(Field())[n] for n in names])
    swapped = [n.replace("left", "?").replace("right", "left").replace("?", "right") for n in names]
    px = true.pixel(np.array([places_m(Field())[n] for n in swapped]))
    assert "below the ground" in refusal(names, places, px, Known(size_px=SIZE_PX, focal_px=1500))


def test_one_wrong_label_is_named():
    names, places, px = seen_marks(looking([-6.0, 3.0, 1.7], [0.5, 0, 0.8], 1500))
    at = names.index("rubber back left")
    px[at] += [60, 0]
    assert "do not go together" in refusal(names, places, px)


def test_fewer_than_four_marks_are_refused():
    names, places, px = seen_marks(looking([-6.0, 3.0, 1.7], [0.5, 0, 0.8], 1500))
    assert "3 marks are too few" in refusal(names[:3], places[:3], px[:3])


def test_marks_in_one_line_are_refused():
    true = looking([-6.0, 3.0, 1.7], [0.5, 0, 0.8], 1500)
    places = np.array([[x, 0.0, 0.0] for x in (0.0, 0.5, 1.0, 1.5, 2.0)])
    assert "one line" in refusal(list("abcde"), places, true.pixel(places))


def test_a_camera_at_the_height_of_the_marks_is_refused():
    true = looking([0.3, -6.0, 0.02], [0.3, 0, 0.02], 1500)
    names = [n for n in places_m(Field()) if n.startswith("rubber")]
    places = np.array([places_m(Field())[n] for n in names])
    assert "one line" in refusal(names, places, true.pixel(places))


def test_a_stick_the_horizon_and_the_view_carry_a_close_view():
    true = looking([0.5, -6.0, 1.4], [0.8, 0, 1.2], 2500)
    places = np.array([places_m(STICK)[n] for n in ("stick foot", "stick top")])
    far = np.array([[200.0, 1e5, 1.4], [-300.0, 1e5, 1.4]]) * [1e2, 1, 1]
    known = Known(size_px=SIZE_PX, focal_px=2500, horizon_px=true.pixel(far), facing_deg=90.0)
    found = solve_camera(["stick foot", "stick top"], places, true.pixel(places), known)
    assert found.position_m[2] == pytest.approx(1.4, abs=0.05)
    turn_sd = np.degrees(np.sqrt(np.diag(found.covariance)[:3]))
    assert turn_sd[2] > 8  # which way it faces is only declared
    assert turn_sd[:2].max() < 3
