"""A photo of a grip is kept by its pixels alone and shown with its pitch."""

import cv2
import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from release.advise_source import read_source
from release.cli import app
from release.errors import NoSuchAthlete
from release.grip_photo import NotAPhoto, keep_photo, photos_of, plain_jpeg
from release.record import write, write_forget
from release.record.write_open import new_logbook

# An Exif block that says "turn by a quarter" and names a device: byte order, tags 0x010F (make) and 0x0112.
EXIF = (
    b"Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x02"
    b"\x01\x0f\x00\x02\x00\x00\x00\x08\x00\x00\x00\x26\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00"
    b"\x00\x00\x00\x00DEVICE7\x00"
)


@pytest.fixture
def book(tmp_path):
    book = new_logbook(tmp_path / "book")
    sheet = pd.DataFrame({"throw": [1.0], "athlete": "A-01", "pitch": "slider", "cue": ""})
    write.add_sheet(book, write.session_for(book, "monday"), sheet, sha256="f", name="sheet.csv")
    yield book
    book.engine.dispose()


@pytest.fixture
def photo(tmp_path):
    image = np.zeros((400, 1200, 3), np.uint8)
    image[:, :600] = 255
    plain = cv2.imencode(".jpg", image)[1].tobytes()
    block = b"\xff\xe1" + (len(EXIF) + 2).to_bytes(2, "big") + EXIF
    file = tmp_path / "IMG 0042.png"  # a wrong ending: the content counts
    file.write_bytes(plain[:2] + block + plain[2:])
    return file


def test_nothing_but_the_pixels_is_kept_and_they_stand_upright(photo):
    kept = plain_jpeg(photo)
    image = cv2.imdecode(np.frombuffer(kept, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    assert b"DEVICE7" in photo.read_bytes()
    assert b"DEVICE7" not in kept
    assert b"Exif" not in kept
    assert image.shape[:2] == (900, 300)
    assert image[100].mean() > 250


def test_the_command_keeps_it_under_our_own_name_and_advice_shows_it(book, photo):
    asked = ["grip-photo", str(book.folder), "A-01", str(photo), "--pitch", "slider", "--throw", "1"]
    for _ in range(2):
        said = CliRunner().invoke(app, [*asked, "--note", "thumb under"])
        assert said.exit_code == 0, said.output
    (kept,) = photos_of(book, "A-01")
    assert kept.name in said.output
    assert "0042" not in kept.name
    (shown,) = read_source(None, book.folder, "A-01").photos
    assert (shown.pitch, shown.jpeg) == ("slider", plain_jpeg(photo))
    assert shown.caption.startswith("Grip, throw 1, ")
    assert shown.caption.endswith(": thumb under")


def test_forgetting_the_athlete_takes_the_photo_along(book, photo):
    keep_photo(book, "A-01", photo, pitch="slider")
    write_forget.forget(book, "A-01")
    assert photos_of(book, "A-01") == []


def test_what_is_no_picture_is_refused_whatever_it_is_called(book, tmp_path):
    file = tmp_path / "grip.jpg"
    for content, why in ((b"GIF of nothing", "there is no picture in it"), (b"", "there is no")):
        file.write_bytes(content)
        with pytest.raises(NotAPhoto, match=why):
            keep_photo(book, "A-01", file, pitch="slider")
    with pytest.raises(NotAPhoto, match="No such file"):
        keep_photo(book, "A-01", tmp_path / "none.jpg", pitch="slider")
    with pytest.raises(NoSuchAthlete):
        keep_photo(book, "Z-9", file, pitch="slider")
