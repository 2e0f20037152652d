"""Times, turns and pictures against ffprobe and ffmpeg, on files that ffmpeg makes."""

import json
import subprocess

import numpy as np
import pytest

from release.clip.read import read_clip
from release.frames.decode import decode, decode_every, stream
from tests.clip.movies import steady, write_movie

pytestmark = pytest.mark.system

SOURCE = ["-f", "lavfi", "-i", "testsrc2=size=320x240:rate=240:duration=1.5"]
TAG = ["-metadata", "com.android.capture.fps=240.000000", "-movflags", "use_metadata_tags"]


def ffmpeg(*words):
    subprocess.run(["ffmpeg", "-v", "error", "-y", *map(str, words)], check=True)


def probe(path):
    """Presentation time and key flag of each frame that ffprobe decodes."""
    said = subprocess.run(
        ["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_frames", "-show_entries",
         "frame=pts,key_frame", "-show_entries", "stream=time_base", "-of", "json", path],
        check=True, capture_output=True,
    )  # fmt: skip
    answer = json.loads(said.stdout)
    over, under = answer["streams"][0]["time_base"].split("/")
    times_s = np.array([f["pts"] for f in answer["frames"]]) * int(over) / int(under)
    return times_s - times_s[0], np.array([f["key_frame"] for f in answer["frames"]], bool)


def made(tmp_path, name):
    path = tmp_path / name
    real = ["-frames:v", "240", "-c:v", "libx264", "-g", "48"]
    if name == "A.mp4":
        ffmpeg(*SOURCE, *real, "-bf", "0", *TAG, "-video_track_timescale", "240000", path)
    elif name == "B.mp4":
        ffmpeg(*SOURCE, "-vf", "setpts=8*PTS", "-r", "30", *real, "-bf", "0", *TAG, path)
    elif name == "D.mp4":
        ffmpeg(
            *SOURCE,
            "-vf",
            "select=mod(n+1\\,17)",
            "-vsync",
            "vfr",
            "-frames:v",
            "226",
            "-c:v",
            "libx264",
            "-bf",
            "0",
            path,
        )
    elif name == "F.mp4":
        ffmpeg(
            *SOURCE, "-frames:v", "360", "-c:v", "libx264", "-g", "120", "-bf", "0", tmp_path / "whole.mp4"
        )
        ffmpeg("-ss", "0.2", "-i", tmp_path / "whole.mp4", "-c", "copy", path)
    elif name == "bframes.mov":
        ffmpeg(*SOURCE, *real, "-bf", "3", path)
    elif name == "hevc.mp4":
        ffmpeg(
            *SOURCE,
            "-frames:v",
            "120",
            "-c:v",
            "libx265",
            "-x265-params",
            "log-level=none:keyint=30:bframes=3",
            path,
        )
    elif name == "interlaced.mp4":
        ffmpeg(*SOURCE, *real, "-flags", "+ilme+ildct", "-x264-params", "tff=1", path)
    return path


ALL = ["A.mp4", "B.mp4", "D.mp4", "F.mp4", "bframes.mov", "hevc.mp4", "interlaced.mp4"]


@pytest.mark.parametrize("name", ALL)
def test_frame_times_and_key_frames_are_those_of_ffprobe(tmp_path, name):
    path = made(tmp_path, name)
    times_s, keys = probe(path)
    clip = read_clip(path)
    assert clip.presentation_s == pytest.approx(times_s, abs=1e-9)
    assert clip.keyframe.tolist() == keys.tolist()
    decode_every(clip, 10_000)


@pytest.mark.parametrize(
    ("name", "n_frames", "last_s", "longest_s", "slowdown"),
    [
        # The table of section 5.5 of the check values.
        ("A.mp4", 240, 0.995833, 0.004167, 1.0),
        ("B.mp4", 240, 7.966667, 0.033333, 8.0),
        ("D.mp4", 226, 0.995833, 0.008333, 1.0),
        ("F.mp4", 312, 1.295833, 0.004167, 1.0),
    ],
)
def test_the_published_table(tmp_path, name, n_frames, last_s, longest_s, slowdown):
    clip = read_clip(made(tmp_path, name))
    assert len(clip.presentation_s) == n_frames
    assert clip.presentation_s[-1] == pytest.approx(last_s, abs=1e-6)
    assert np.diff(clip.presentation_s).max() == pytest.approx(longest_s, abs=1e-6)
    assert clip.time_base.slowdown == pytest.approx(slowdown, rel=1e-6)


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("flip", [False, True])
def test_pictures_stand_as_ffmpeg_shows_them(tmp_path, turn, flip):
    clip = read_clip(write_movie(tmp_path / "turned.mov", steady(3), display=(turn, flip)))
    said = subprocess.run(
        ["ffmpeg", "-v", "error", "-i", clip.path, "-frames:v", "1",
         "-f", "rawvideo", "-pix_fmt", "rgb24", "-"],
        check=True, capture_output=True,
    )  # fmt: skip
    shown = np.frombuffer(said.stdout, np.uint8).reshape(clip.height_px, clip.width_px, 3)
    np.testing.assert_array_equal(decode(clip, 0, 0).images[0], shown)


@pytest.mark.parametrize("name", ["bframes.mov", "hevc.mp4", "F.mp4", "D.mp4"])
def test_a_frame_reached_by_seeking_is_the_frame_reached_by_decoding_all(tmp_path, name):
    clip = read_clip(made(tmp_path, name))
    n_frames = len(clip.presentation_s)
    all_frames = dict(stream(clip, range(n_frames)))
    for index in np.random.default_rng(2).integers(0, n_frames, 100):
        np.testing.assert_array_equal(decode(clip, int(index), int(index)).images[0], all_frames[int(index)])
