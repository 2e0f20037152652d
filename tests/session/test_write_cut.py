"""A recording of a phone left running, cut from the command line into a clip for each throw."""

from datetime import datetime
from fractions import Fraction

import av
import numpy as np
import pytest
from typer.testing import CliRunner

from release.cli import app
from release.clip.read import read_clip
from release.errors import NoThrowsToCut
from release.frames.decode import decode

FPS, LONG_S = 120, 34  # twelve bits count 4,096 frames
THROWS_S = (8.0, 19.5, 30.0)
CREATED = "2026-05-02T14:00:00+00:00"


def film(path, throws_s, *, gop=FPS, b_frames=2, sound=False, tags=None):
    """A patterned square stands still, turns at each throw, and above it stands the frame's number."""
    pattern = np.random.default_rng(1).integers(0, 256, (60, 60, 3), np.uint8)
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as out:
        out.metadata.update({"creation_time": CREATED, "com.android.capture.fps": str(FPS)} | (tags or {}))
        stream = out.add_stream("libx264", rate=FPS, options={"preset": "ultrafast", "sc_threshold": "0"})
        stream.width, stream.height, stream.pix_fmt = 192, 96, "yuv420p"
        stream.codec_context.gop_size, stream.codec_context.max_b_frames = gop, b_frames
        stream.set_display_rotation(90)
        voice = out.add_stream("aac", rate=48_000, layout="mono") if sound else None
        for i in range(LONG_S * FPS):
            picture = np.full((96, 192, 3), 40, np.uint8)
            throwing = any(abs(i / FPS - t) < 0.15 for t in throws_s)
            picture[30:90, 60:120] = np.rot90(pattern, i % 4) if throwing else pattern
            picture[:12, :] = np.repeat([(i >> bit) & 1 for bit in range(12)], 16)[None, :, None] * 255
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts, frame.time_base = i, Fraction(1, FPS)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
        if voice is not None:
            for k in range(LONG_S * 48_000 // 1024):
                silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
                silence.sample_rate, silence.pts = 48_000, k * 1024
                out.mux(voice.encode(silence))
            out.mux(voice.encode(None))
    return path


PHONE = {
    "location": "+41.9484-087.6553/",
    "com.apple.quicktime.location.ISO6709": "+41.9484-087.6553+182.0/",
    "com.apple.quicktime.creationdate": "2026-05-02T09:00:00-0500",
    "make": "Made7",
    "com.apple.quicktime.model": "Device7",
    "com.android.version": "77",
    "comment": "said7",
}


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    return film(tmp_path_factory.mktemp("film") / "left running.mp4", THROWS_S, sound=True)


def run(*arguments):
    answer = CliRunner().invoke(app, ["cut", *map(str, arguments)])
    if answer.exception and not isinstance(answer.exception, SystemExit):
        raise answer.exception
    return answer.output


def number(picture):
    """The frame's number off its first rows; the clip is shown upright, so they stand on a side."""
    flat = np.rot90(picture, -1)
    return sum(1 << bit for bit in range(12) if flat[6, 16 * bit + 8].mean() > 127)


def test_each_throw_becomes_a_clip_with_its_own_time(recording, tmp_path):
    output = run(recording, tmp_path / "clips")
    paths = sorted((tmp_path / "clips").iterdir())
    assert [path.name for path in paths] == [f"left running-00{n}.mp4" for n in (1, 2, 3)]
    assert output.count("\n") == 3
    for path, throw_s in zip(paths, THROWS_S, strict=True):
        clip = read_clip(path)
        assert clip.created is not None
        start_s = (clip.created - datetime.fromisoformat(CREATED)).total_seconds()
        assert start_s < throw_s - 1 < throw_s + 0.9 < start_s + clip.presentation_s[-1]
        assert clip.presentation_s[-1] < 5  # the throw, and to the key frames round it
        assert (clip.has_sound, clip.first_pts) == (True, 0)


def test_the_pictures_are_those_of_the_recording_turn_and_rate_too(recording, tmp_path):
    run(recording, tmp_path)
    whole = read_clip(recording)
    for path in sorted(tmp_path.iterdir()):
        clip = read_clip(path)
        n = len(clip.presentation_s)
        frames = decode(clip, 0, n - 1)
        first = number(frames.images[0])
        assert [number(image) for image in frames.images] == list(range(first, first + n))
        assert (frames.images[:9] == decode(whole, first, first + 8).images).all()
        assert np.diff(clip.presentation_s) == pytest.approx(1 / FPS, abs=1e-4)
        assert (clip.turns, clip.time_base.slowdown) == (whole.turns, whole.time_base.slowdown)


def test_where_and_with_what_it_was_filmed_stays_behind(tmp_path):
    tagged = film(tmp_path / "tagged.mp4", (16.0,), tags=PHONE)
    told = [b"+41.9484", b"Made7", b"Device7", b"said7"]
    assert all(word in tagged.read_bytes() for word in told)
    run(tagged, tmp_path / "clips")
    (piece,) = (tmp_path / "clips").iterdir()
    assert not any(word in piece.read_bytes() for word in told)
    with av.open(str(piece)) as container:
        said = {**container.metadata, **container.streams.video[0].metadata}
    assert not set(PHONE) & set(said)
    assert read_clip(piece).time_base.source == "metadata"  # the capture rate was kept


def test_two_throws_without_a_key_frame_between_stay_together_and_it_is_said(tmp_path):
    output = run(film(tmp_path / "a.mp4", (10.0, 20.0), gop=LONG_S * FPS), tmp_path / "clips")
    assert "2 THROWS: no key frame lies between them" in output
    assert len(list((tmp_path / "clips").iterdir())) == 1


def test_a_recording_without_a_throw_is_refused(tmp_path):
    with pytest.raises(NoThrowsToCut, match="nothing in it moves"):
        run(film(tmp_path / "still.mp4", ()), tmp_path / "clips")
