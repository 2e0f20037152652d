"""Background matching on drawn pictures whose camera is known to have turned, zoomed, or walked."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from typer.testing import CliRunner

from release.camera.drawing import draw_outline
from release.camera.field import Field
from release.camera.matching import background_shift, carried_over, matches
from release.camera.read_camera import camera_of, read_camera
from release.cli import app
from release.clip.read import read_clip
from release.errors import CameraRefused
from release.field_camera import stand_of
from tests.camera.cameras import SIZE_PX, STICK, error_of, looking
from tests.camera.test_read_camera import toml_of

WIDE = looking([-6.0, 3.0, 1.7], [0.5, 0, 1.0], 1300)


def scenery(seed=0):
    """A wall of soft blots, 3 times the picture's size each way."""
    rng = np.random.default_rng(seed)
    wall = np.zeros((2160, 3840), np.float32)
    for width in (3, 9, 27):
        blots = rng.normal(size=wall.shape).astype(np.float32)
        soft = cv2.GaussianBlur(blots, (0, 0), width)
        wall += soft / soft.std()
    return wall


WALL = scenery()


def picture(camera, person_at=None):
    """The wall at infinity as a camera sees it that looks roughly along WIDE's axis."""
    far = np.array([[900.0, 0, 1920], [0, 900.0, 1080], [0, 0, 1]]) @ WIDE.rotation
    width, height = camera.size_px
    own = np.array([[camera.focal_px, 0, width / 2], [0, camera.focal_px, height / 2], [0, 0, 1]])
    way = far @ camera.rotation.T @ np.linalg.inv(own)
    seen = cv2.warpPerspective(WALL, way, camera.size_px, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    image = np.clip(seen * 30 + 120, 0, 255).astype(np.uint8)
    if person_at is not None:
        x, y = person_at
        image[y : y + 300, x : x + 150] = np.random.default_rng(x).integers(0, 255, (300, 150))
    return np.repeat(image[..., None], 3, axis=2)


def turned(camera, degrees, zoom=1.0):
    turn = Rotation.from_rotvec(np.radians(degrees)).as_matrix()
    return replace(camera, rotation=camera.rotation @ turn.T, focal_px=camera.focal_px * zoom)


def test_a_still_background_has_not_moved_though_a_person_has():
    shift = background_shift(picture(WIDE, (300, 200)), picture(WIDE, (600, 250)))
    assert shift.median_px < 0.5


def test_a_turned_tripod_is_noticed_by_its_size():
    shift = background_shift(picture(WIDE, (300, 200)), picture(turned(WIDE, [0, 0, 2.0]), (600, 250)))
    assert shift.median_px == pytest.approx(WIDE.focal_px * np.radians(2.0), rel=0.1)


def test_another_background_is_not_recognised():
    other = np.random.default_rng(5).integers(0, 255, (720, 1280, 3), dtype=np.uint8)
    assert background_shift(picture(WIDE), other) is None


@pytest.mark.parametrize("zoom", [1.0, 2.0, 3.5])
def test_a_wide_shot_carries_the_camera_to_a_zoomed_view(zoom):
    true = turned(WIDE, [0.5, -1.5, 3.0], zoom)
    marked = replace(WIDE, covariance=np.diag([1e-4] * 3 + [1e-3] * 3 + [1e-4]))
    found = carried_over(marked, *matches(picture(WIDE), picture(true)), SIZE_PX)
    error = error_of(found, true)
    assert np.degrees(np.abs(error[:3])) == pytest.approx(0, abs=0.1)
    assert error[6] == pytest.approx(0, abs=0.005)
    assert found.position_m == pytest.approx(WIDE.position_m)
    assert np.all(np.diag(found.covariance)[:3] >= 1e-4)
    assert found.source == "carried over"


def test_a_background_out_of_focus_is_known_again_at_three_times_the_zoom():
    def soft(camera):  # as blurred in the close view as a phone's lens leaves it, hardly any contrast
        blurred = cv2.GaussianBlur(picture(camera), (0, 0), 2.5 * camera.focal_px / WIDE.focal_px)
        noise = np.random.default_rng(int(camera.focal_px)).normal(0, 0.7, blurred.shape)
        return np.clip(blurred * 0.3 + 90 + noise, 0, 255).astype(np.uint8)

    true = turned(WIDE, [0.5, -1.5, 3.0], 3.0)
    found = carried_over(WIDE, *matches(soft(WIDE), soft(true)), SIZE_PX)
    assert np.degrees(np.abs(error_of(found, true)[:3])) == pytest.approx(0, abs=0.2)


def test_a_camera_is_not_carried_where_the_background_is_not_the_same():
    other = np.random.default_rng(5).integers(0, 255, (720, 1280, 3), dtype=np.uint8)
    with pytest.raises(CameraRefused, match="same in both pictures"):
        carried_over(WIDE, *matches(picture(WIDE), other), SIZE_PX)


def test_the_outline_passes_through_the_rubbers_corner():
    blank = np.zeros((720, 1280, 3), np.uint8)
    drawn = draw_outline(blank, WIDE, Field(), {})
    x, y = WIDE.pixel(np.array([0.0, 0.3048, 0.0])).astype(int)
    assert drawn[y - 1 : y + 2, x - 1 : x + 2].max() > 200
    assert not blank.any()


def test_a_close_view_of_nothing_but_sky_still_shows_the_horizon_to_check_by():
    level = looking(
        [-6.0, 3.0, 1.7], [-2.0, 4.0, 1.7], 5000
    )  # away from rubber and plate, at the lens's height
    drawn = draw_outline(np.zeros((720, 1280, 3), np.uint8), level, Field(), {})
    rows, columns = np.nonzero(drawn.any(axis=2))
    assert np.abs(rows - 359.5).max() < 4  # the middle of the picture
    assert len(set(columns)) == 1280


def film(path, image, frames=3):
    import av

    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=240, options={"crf": "12"})
        stream.width, stream.height, stream.pix_fmt = 1280, 720, "yuv420p"
        for _ in range(frames):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(image)))
        container.mux(stream.encode())
    return path


def run(*words):
    return CliRunner().invoke(app, ["camera", *map(str, words)])


def test_the_command_writes_a_camera_that_notices_a_moved_tripod(tmp_path):
    marks = tmp_path / "marks.toml"
    marks.write_text(toml_of(WIDE), encoding="utf-8")
    still = film(tmp_path / "still.mp4", picture(WIDE))
    moved = film(tmp_path / "moved.mp4", picture(turned(WIDE, [0, 0, 3.0])))
    nudged = film(tmp_path / "nudged.mp4", picture(turned(WIDE, [0, 0, 0.4])))
    out = tmp_path / "camera.toml"
    told = run(marks, "--clip", still, "--out", out)
    assert told.exit_code == 0, told.output
    assert "1.70 m up" in told.output
    assert (tmp_path / "camera.png").stat().st_size > 0
    stays = stand_of(read_clip(still), view=None, camera=out)
    assert error_of(stays.camera, WIDE) == pytest.approx(0, abs=0.01)
    assert stays.said == ()
    walked = stand_of(read_clip(moved), view=None, camera=out)
    assert walked.camera is None
    assert "tripod was moved" in walked.why_not
    off = stand_of(read_clip(nudged), view=None, camera=out)
    assert off.camera is not None
    assert "nudged" in off.said[0]
    assert "(0.4 degrees)" in off.said[0]


def test_the_command_carries_a_wide_shot_to_the_close_clip(tmp_path):
    marks = tmp_path / "marks.toml"
    marks.write_text(toml_of(WIDE), encoding="utf-8")
    wide = film(tmp_path / "wide.mp4", picture(WIDE))
    zoomed = turned(WIDE, [0, -0.5, 1.0], 2.5)
    close = film(tmp_path / "close.mp4", picture(zoomed))
    out = tmp_path / "close.toml"
    told = run(marks, "--clip", wide, "--close", close, "--out", out)
    assert told.exit_code == 0, told.output
    found = camera_of(read_camera(out), SIZE_PX)
    assert error_of(found, zoomed) == pytest.approx(0, abs=0.02)
    assert STICK.stick_m == read_camera(out).field.stick_m


def test_a_frame_that_is_not_there_is_said(tmp_path):
    marks = tmp_path / "marks.toml"
    marks.write_text(toml_of(WIDE), encoding="utf-8")
    still = film(tmp_path / "still.mp4", picture(WIDE))
    told = run(marks, "--clip", still, "--frame", "99", "--out", tmp_path / "camera.toml")
    assert "frame 99 is not in still.mp4" in str(told.exception)
