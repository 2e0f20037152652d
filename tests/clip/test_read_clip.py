import hashlib

import numpy as np
import pytest

from release.clip.read import read_clip
from release.errors import (
    ClipDamaged,
    ClipEmpty,
    ClipError,
    ClipMissing,
    ClipTruncated,
    NoFrames,
    NotAVideo,
    NoVideoTrack,
)
from tests.clip.movies import HEIGHT_PX, TICK, WIDTH_PX, ramp, steady, write_movie


def test_a_clip_is_described(tmp_path):
    path = write_movie(
        tmp_path / "throw.mp4",
        steady(60),
        tags={"creation_time": "2024-05-15T18:11:21Z", "com.android.capture.fps": "240.0"},
        sound=True,
    )
    clip = read_clip(path)
    assert (clip.width_px, clip.height_px, clip.turns, clip.mirrored) == (WIDTH_PX, HEIGHT_PX, 0, False)
    assert clip.codec == "h264"
    assert clip.created is not None
    assert clip.created.isoformat() == "2024-05-15T18:11:21+00:00"
    assert clip.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert clip.has_sound
    assert clip.keyframe.nonzero()[0].tolist() == [0, 24, 48]
    assert (clip.packet_bytes > 0).all()
    assert clip.time_base.source == "metadata"
    assert clip.frame_time_s == pytest.approx(steady(60), abs=1e-9)


@pytest.mark.parametrize("b_frames", [0, 3])
@pytest.mark.parametrize("suffix", ["mp4", "mov", "mkv"])
def test_frame_times_are_those_written(tmp_path, b_frames, suffix):
    clip = read_clip(write_movie(tmp_path / f"throw.{suffix}", ramp(), b_frames=b_frames))
    within = 0.6e-3 if suffix == "mkv" else float(TICK)  # Matroska rounds to milliseconds
    assert clip.presentation_s == pytest.approx(ramp(), abs=within)


@pytest.mark.parametrize("b_frames", [0, 3])
def test_frames_cut_away_by_an_edit_list_are_not_counted(tmp_path, b_frames):
    """As a phone trims: the packets stay in the file, before the start of the edit list."""
    cut = -round(10 / 240 / TICK)
    clip = read_clip(write_movie(tmp_path / "cut.mp4", steady(60), b_frames=b_frames, first_ticks=cut))
    assert clip.presentation_s == pytest.approx(steady(50), abs=1e-9)


def test_a_negative_first_time_stamp_is_the_start(tmp_path):
    clip = read_clip(write_movie(tmp_path / "early.mkv", steady(60), first_ticks=-500))
    assert len(clip.presentation_s) == 60
    assert clip.presentation_s[0] == 0


def test_a_repeated_time_stamp_stays_two_frames(tmp_path):
    times_s = steady(30)
    times_s[11] = times_s[10]
    clip = read_clip(write_movie(tmp_path / "twice.mkv", np.round(times_s, 3)))
    assert len(clip.presentation_s) == 30
    assert clip.presentation_s[11] == clip.presentation_s[10]


def test_one_frame_is_a_clip(tmp_path):
    clip = read_clip(write_movie(tmp_path / "one.mp4", [0.0]))
    assert len(clip.presentation_s) == 1
    assert clip.time_base.slowdown is None


def without_pictures(content):
    start = content.index(b"mdat") + 4
    return content[:start] + bytes(len(content) - start)


def damaged(tmp_path, change):
    path = write_movie(tmp_path / "throw.mp4", steady(60), container_options={"movflags": "faststart"})
    path.write_bytes(change(path.read_bytes()))
    return path


@pytest.mark.parametrize(
    ("change", "error", "says"),
    [
        pytest.param(lambda b: b"", ClipEmpty, "0 bytes", id="empty"),
        pytest.param(
            lambda b: b[: len(b) * 9 // 10], ClipTruncated, "whole frames of the 60", id="last tenth lost"
        ),
        pytest.param(lambda b: b[:600], ClipTruncated, "inside the part 'moov'", id="index cut"),
        pytest.param(lambda b: b[:32], ClipTruncated, "the file ends before it", id="index lost"),
        pytest.param(without_pictures, ClipDamaged, "first picture does not decode", id="pictures lost"),
        pytest.param(lambda b: b"hello\n" * 1000, NotAVideo, "not a video", id="text"),
        pytest.param(lambda b: b"#EXTM3U\n/etc/passwd\n", NotAVideo, "not a video", id="play list"),
        pytest.param(lambda b: b"\x89PNG\r\n\x1a\n" + bytes(100), NotAVideo, "not a video", id="picture"),
        pytest.param(
            lambda b: b.replace(b"stsz", b"xxxx"), NoFrames, "holds no frame", id="frame sizes lost"
        ),
    ],
)
def test_a_bad_file_is_named_with_its_reason(tmp_path, change, error, says):
    path = damaged(tmp_path, change)
    with pytest.raises(error, match=says) as caught:
        read_clip(path)
    assert str(path) in str(caught.value)
    assert isinstance(caught.value, ClipError)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(ClipMissing, match="no file here"):
        read_clip(tmp_path / "gone.mp4")
    with pytest.raises(ClipMissing, match="no file here"):
        read_clip(tmp_path)


def test_sound_alone_is_no_clip(tmp_path):
    import av

    path = tmp_path / "voice.m4a"
    with av.open(str(path), "w", format="mp4") as out:
        voice = out.add_stream("aac", rate=48_000)
        silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        silence.sample_rate = 48_000
        out.mux(voice.encode(silence) + voice.encode(None))
    with pytest.raises(NoVideoTrack, match="no video track"):
        read_clip(path)
