"""Marks clicked on the page give the camera they were drawn with; the clips of that phone are measured so."""

import numpy as np
import pytest

from release.camera.field import Field, places_m
from release.camera.read_camera import read_camera
from release.camera.result import FieldCamera
from release.clip.read import read_clip
from release.clip_settings import key_of, settings_for
from release.field_camera import stand_of
from release.marked_camera import camera_answer, marked_camera
from release.record.write import add_fact, session_for
from release.record.write_clips import add_clips
from release.record.write_open import new_logbook
from release.views.web.camera_file import MARKS, camera_toml
from tests.camera.cameras import STICK
from tests.camera.test_matching import WIDE, film, picture, turned

SIZE = (1920, 1080)


def camera_at(position_m, look_at_m):
    """A level camera."""
    ahead = np.subtract(look_at_m, position_m) / np.linalg.norm(np.subtract(look_at_m, position_m))
    right = np.cross(ahead, [0, 0, 1])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    return FieldCamera(
        rotation=rotation,
        position_m=np.array(position_m, float),
        focal_px=1400.0,
        size_px=SIZE,
        covariance=np.eye(7),
        reprojection_px=0.0,
        source="marks",
    )


def clicked(camera, names):
    at = places_m(STICK)
    places = {name: camera.pixel(at[name]) for name in names}
    marks = [{"name": name, "x_px": float(x), "y_px": float(y)} for name, (x, y) in places.items()]
    return {"camera": "", "view": "", "marks": marks, "width_px": SIZE[0], "height_px": SIZE[1]}


@pytest.fixture
def book(tmp_path):
    opened = new_logbook(tmp_path / "logbook")
    yield opened
    opened.engine.dispose()


def test_the_page_offers_only_marks_that_the_field_has():
    assert set(MARKS) - {"horizon 1", "horizon 2"} == set(places_m(Field(stick_m=1.0)))


def test_marks_give_back_the_camera_they_were_drawn_with(book):
    names = [name for name in places_m(Field()) if name.startswith(("rubber", "mound"))]
    value = clicked(camera_at((-6.0, 3.0, 1.7), (0.0, 0.0, 0.5)), names)
    found = camera_answer(book, {"fact": "a" * 32, "value": value})
    assert "6.0 m behind the rubber, 3.0 m toward first base and 1.7 m high" in found["said"]
    assert len(found["outline"]) >= 4


def test_the_lens_that_the_clip_tells_is_used_for_the_drawn_camera_too(book):
    names = [name for name in places_m(Field()) if name.startswith("rubber")]
    value = clicked(camera_at((-6.0, 3.0, 1.7), (0.0, 0.0, 0.5)), names)
    for mark, off_px in zip(value["marks"], (0.4, -0.3, 0.2, -0.4, 0.3), strict=True):
        mark["y_px"] += off_px  # no click is exact
    told = camera_answer(book, {"fact": "b" * 32, "value": value | {"focal_35mm": 26.25}})
    assert told["outline"]
    assert told["said"] != camera_answer(book, {"fact": "b" * 32, "value": value})["said"]


def test_too_few_marks_say_so_and_draw_nothing(book):
    value = clicked(camera_at((-6.0, 3.0, 1.7), (0.0, 0.0, 0.5)), ["rubber front left"])
    found = camera_answer(book, {"fact": "b" * 32, "value": value})
    assert found["outline"] == []
    assert found["said"]


def test_names_and_numbers_survive_the_file(tmp_path):
    value = {"view": "open side", "stick_m": 1.5, "marks": [{"name": "stick top", "x_px": 1.25, "y_px": 2}]}
    (tmp_path / "camera.toml").write_text(camera_toml(value), encoding="utf-8")
    file = read_camera(tmp_path / "camera.toml")
    assert (file.view, file.numbers["stick_m"], file.marks[0].px) == ("open side", 1.5, (1.25, 2.0))


def test_clips_of_the_marked_phone_are_measured_with_it_and_no_others(book, tmp_path):
    session, clips = session_for(book, "a"), []
    for i, phone in enumerate(("", "second phone")):
        path = tmp_path / f"{i}.mp4"
        path.write_bytes(bytes([i]) * 10)
        clips += [taken.sha256 for taken in add_clips(book, [path], session, camera=phone)]
    value = clicked(camera_at((-6.0, 3.0, 1.7), (0.0, 0.0, 0.5)), ["plate point"])
    fact = add_fact(book, "camera marked", who="T", session=session, value=value)
    own, other = (settings_for(book, session, clip) for clip in clips)
    assert own[0].camera == marked_camera(book, {"fact": fact, "value": value})
    assert other == (type(own[0])(), "")


def test_a_tripod_moved_since_the_marks_were_clicked_is_noticed(book, tmp_path):
    names = [name for name in places_m(STICK) if name.startswith(("rubber", "mound", "stick"))]
    still = film(tmp_path / "still.mp4", picture(WIDE))
    moved = film(tmp_path / "moved.mp4", picture(turned(WIDE, [0, 0, 3.0])))
    session = session_for(book, "a")
    (taken,) = add_clips(book, [still], session)
    value = clicked(WIDE, names) | {"clip": taken.sha256, "stick_m": STICK.stick_m}
    value |= {"width_px": 1280, "height_px": 720}
    file = marked_camera(book, {"fact": "d" * 32, "value": value})
    assert stand_of(read_clip(still), view=None, camera=file).said == ()
    assert "tripod was moved" in stand_of(read_clip(moved), view=None, camera=file).why_not


def test_the_key_of_an_answer_does_not_tell_where_the_logbook_lies(book, tmp_path):
    value = clicked(camera_at((-6.0, 3.0, 1.7), (0.0, 0.0, 0.5)), ["plate point"])
    other = new_logbook(tmp_path / "elsewhere")
    keys = []
    for one in (book, other):
        session = session_for(one, "a")
        (clip,) = [t.sha256 for t in add_clips(one, [_clip(tmp_path)], session)]
        add_fact(one, "camera marked", who="T", fact="c" * 32, session=session, value=value)
        keys.append(key_of(clip, *settings_for(one, session, clip)).text)
    other.engine.dispose()
    assert keys[0] == keys[1]


def _clip(folder):
    path = folder / "clip.mp4"
    path.write_bytes(b"0123456789")
    return path
