"""The 35 mm focal length out of small clips tagged as phones tag them."""

import struct

import numpy as np
import pytest

from release.clip.read import read_clip
from release.clip.read_lens import read_focal_35mm
from tests.clip.movies import write_movie

KEY = "com.apple.quicktime.camera.focal_length.35mm_equivalent"
TIMES_S = np.arange(12) / 240


def part(name, body):
    return struct.pack(">I4s", 8 + len(body), name) + body


def tagged(path, kind, value):
    """Add metadata to the video track of a clip whose index stands last (QuickTime File Format)."""
    names = ["com.apple.quicktime.camera.lens_model", KEY]
    handler = part(b"hdlr", struct.pack(">II4s12sB", 0, 0, b"mdta", bytes(12), 0))
    keys = part(b"keys", struct.pack(">II", 0, 2) + b"".join(part(b"mdta", n.encode()) for n in names))
    values = [(1, b"back camera 6.86mm"), (kind, value)]
    items = [
        part(struct.pack(">I", n + 1), part(b"data", struct.pack(">II", k, 0) + v))
        for n, (k, v) in enumerate(values)
    ]
    meta = part(b"meta", handler + keys + part(b"ilst", b"".join(items)))
    content = path.read_bytes()
    index = content.rindex(b"moov") - 4
    track = content.index(b"trak", index) - 4
    (whole,), (length,) = (struct.unpack_from(">I", content, at) for at in (index, track))
    assert index + whole == len(content)
    grown = struct.pack(">I", whole + len(meta)) + content[index + 4 : track]
    grown += struct.pack(">I", length + len(meta)) + content[track + 4 : track + length] + meta
    path.write_bytes(content[:index] + grown + content[track + length :])
    return path


@pytest.mark.parametrize("suffix", ["mov", "mp4"])
@pytest.mark.parametrize(
    ("kind", "value", "mm"),
    [
        pytest.param(1, b"26.00mm", 26.0, id="text as Apple documents it"),
        pytest.param(21, struct.pack(">i", 77), 77.0, id="a whole number"),
        pytest.param(23, struct.pack(">f", 13.5), 13.5, id="a float"),
    ],
)
def test_the_video_tracks_lens_is_read_and_the_clip_as_before(tmp_path, suffix, kind, value, mm):
    path = tagged(write_movie(tmp_path / f"throw.{suffix}", TIMES_S), kind, value)
    clip = read_clip(path)
    assert clip.focal_35mm == mm
    assert len(clip.presentation_s) == len(TIMES_S)


def test_a_lens_told_for_the_whole_file_is_read(tmp_path):
    path = write_movie(tmp_path / "throw.mp4", TIMES_S, tags={KEY: "24"})
    assert read_clip(path).focal_35mm == 24.0


@pytest.mark.parametrize("value", [b"about 26", b"", b"0", b"-26", b"inf"])
def test_what_is_no_length_is_no_lens(tmp_path, value):
    assert read_focal_35mm(tagged(write_movie(tmp_path / "throw.mov", TIMES_S), 1, value)) is None


@pytest.mark.parametrize("suffix", ["mp4", "mkv"])
def test_a_clip_without_the_tag_tells_no_lens(tmp_path, suffix):
    assert read_clip(write_movie(tmp_path / f"throw.{suffix}", TIMES_S)).focal_35mm is None


def test_a_damaged_index_tells_no_lens_and_ends(tmp_path):
    path = tagged(write_movie(tmp_path / "throw.mov", TIMES_S), 1, b"26.00mm")
    content = path.read_bytes()
    rng = np.random.default_rng(5)
    start = content.rindex(b"moov")
    for _ in range(200):
        broken = bytearray(content)
        for at in rng.integers(start, len(content), 8):
            broken[at] = rng.integers(256)
        path.write_bytes(broken)
        mm = read_focal_35mm(path)
        assert mm is None or mm > 0
