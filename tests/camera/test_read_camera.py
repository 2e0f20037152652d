"""camera.toml: marks in, solved camera out, the same when read again."""

import numpy as np
import pytest

from release.camera.field import Field, places_m
from release.camera.read_camera import camera_of, read_camera
from release.camera.write_camera import write_camera
from release.errors import CameraRefused, CameraUnreadable
from tests.camera.cameras import SIZE_PX, error_of, looking, seen_marks

TRUE = looking([-6.0, 3.0, 1.7], [0.5, 0, 0.8], 1500)


def toml_of(camera, head="stick_m = 1.5\n"):
    names, _, px = seen_marks(camera)
    rows = [f'[[marks]]\nname = "{n}"\nx_px = {x}\ny_px = {y}\n' for n, (x, y) in zip(names, px, strict=True)]
    return head + "".join(rows)


def given(tmp_path, text):
    path = tmp_path / "camera.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_marks_in_the_file_give_the_camera(tmp_path):
    found = camera_of(read_camera(given(tmp_path, toml_of(TRUE))), SIZE_PX)
    assert error_of(found, TRUE) == pytest.approx(0, abs=0.01)


def test_a_written_camera_is_read_back_the_same(tmp_path):
    file = read_camera(given(tmp_path, toml_of(TRUE, 'view = "behind"\nstick_m = 1.5\n')))
    camera = camera_of(file, SIZE_PX)
    write_camera(tmp_path / "solved.toml", file, camera, "frame.png")
    again = read_camera(tmp_path / "solved.toml")
    assert (again.marks, again.view, again.picture) == (file.marks, "behind", "frame.png")
    back = camera_of(again, SIZE_PX)
    assert np.array_equal(back.rotation, camera.rotation)
    assert np.array_equal(back.covariance, camera.covariance)


def test_the_same_picture_kept_at_half_size_is_the_same_camera(tmp_path):
    file = read_camera(given(tmp_path, toml_of(TRUE, "stick_m = 1.5\nwidth_px = 1280\nheight_px = 720\n")))
    half = camera_of(file, (640, 360))
    assert half.focal_px == pytest.approx(750, rel=0.01)
    with pytest.raises(CameraUnreadable, match="another shape"):
        camera_of(file, (720, 1280))


def test_a_field_of_view_is_that_of_the_longer_side(tmp_path):
    view_deg = np.degrees(2 * np.arctan(640 / 1500))
    rubber = toml_of(TRUE, f"field_of_view_deg = {view_deg}\nstick_m = 1.5\n")
    found = camera_of(read_camera(given(tmp_path, rubber)), SIZE_PX)
    assert found.focal_px == pytest.approx(1500, rel=1e-3)


def test_the_lens_that_the_phone_wrote_settles_a_rubber_seen_alone(tmp_path):
    names = [n for n in places_m(Field()) if n.startswith("rubber")]
    px = TRUE.pixel(np.array([places_m(Field())[n] for n in names]))
    px += np.random.default_rng(2).normal(0, 1, px.shape)
    rows = [f'[[marks]]\nname = "{n}"\nx_px = {x}\ny_px = {y}\n' for n, (x, y) in zip(names, px, strict=True)]
    file = read_camera(given(tmp_path, "".join(rows)))
    told, untold = camera_of(file, SIZE_PX, 1500 / 1280 * 36 * 1.05), camera_of(file, SIZE_PX)
    assert told.focal_px == pytest.approx(1500, rel=0.1)
    assert np.linalg.norm(told.position_m - TRUE.position_m) < 1.0
    sds = [np.sqrt(np.diag(c.covariance)[3:6]).max() for c in (told, untold)]
    assert sds[0] < sds[1] / 2


def test_a_field_of_view_in_the_file_comes_before_the_phones_lens(tmp_path):
    view_deg = np.degrees(2 * np.arctan(640 / 1500))
    file = read_camera(given(tmp_path, toml_of(TRUE, f"field_of_view_deg = {view_deg}\nstick_m = 1.5\n")))
    assert camera_of(file, SIZE_PX, 90.0).focal_px == pytest.approx(1500, rel=1e-3)


def test_a_mark_with_its_own_place_needs_no_name_of_ours(tmp_path):
    places = np.array([[x, y, 0.0] for x in (0.5, 2.5) for y in (-1.0, 1.0)])
    rows = "".join(
        f'[[marks]]\nname = "cone {k}"\nx_px = {u}\ny_px = {v}\nx_m = {x}\ny_m = {y}\nz_m = {z}\n'
        for k, ((x, y, z), (u, v)) in enumerate(zip(places, TRUE.pixel(places), strict=True))
    )
    found = camera_of(read_camera(given(tmp_path, rows)), SIZE_PX)
    assert found.position_m == pytest.approx(TRUE.position_m, abs=0.06)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("view = 'above'", "no such view", id="view"),
        pytest.param("hight_m = 1.2", "nothing is called hight_m", id="misspelt"),
        pytest.param("height_m = true", "height_m is a number", id="not a number"),
        pytest.param("[[marks]]\nname='first base'\nx_px=1\ny_px=1", "no mark is called", id="no such mark"),
        pytest.param("[[marks]]\nname='stick top'\nx_px=1\ny_px=1", "needs stick_m", id="stick of no length"),
        pytest.param("[[marks]]\nname='plate point'\nx_px=1", "y_px", id="half a mark"),
        pytest.param("[[marks]", "cannot be used", id="not TOML"),
    ],
)
def test_what_cannot_be_is_said(tmp_path, text, said):
    with pytest.raises(CameraUnreadable, match=said):
        read_camera(given(tmp_path, text))


def test_a_file_without_marks_is_refused_when_a_place_is_asked_for(tmp_path):
    with pytest.raises(CameraRefused, match="too few"):
        camera_of(read_camera(given(tmp_path, 'view = "behind"')), SIZE_PX)
