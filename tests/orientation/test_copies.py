"""Copies of one clip show one throw: each, read by the networks, agrees with the clip that it is from."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from release.orientation.result import JOINT_ANGLES
from release.pipeline import measure_clip

CLIP = Path(__file__).parents[2] / "sample_clips" / "throw_09.mp4"
FPS = 240


def pictures(scale):
    with av.open(str(CLIP)) as clip:
        for shown in clip.decode(video=0):
            yield shown.reformat(
                round(shown.width * scale), round(shown.height * scale), "rgb24"
            ).to_ndarray()


def copied(path, *, change=lambda rgb: rgb, scale=1.0, stored_fps=FPS, crf=18, turned_deg=0):
    """The clip encoded anew, frame by frame."""
    changed = [np.ascontiguousarray(change(rgb)) for rgb in pictures(scale)]
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=stored_fps, options={"crf": str(crf)})
        stream.height, stream.width, _ = changed[0].shape
        stream.pix_fmt = "yuv420p"
        stream.set_display_rotation(turned_deg)
        for n, rgb in enumerate(changed):
            frame = av.VideoFrame.from_ndarray(rgb, format="rgb24").reformat(format="yuv420p")
            frame.pts, frame.time_base = n, Fraction(1, stored_fps)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


@pytest.fixture(scope="module")
def itself():
    return measure_clip(CLIP)


def in_mirror(rgb):
    return rgb[:, ::-1]


@pytest.mark.system
@pytest.mark.parametrize(
    ("changed", "throws"),
    [
        pytest.param({"change": np.rot90, "turned_deg": -90}, "R", id="stored on its side"),
        pytest.param({"scale": 0.75}, "R", id="rescaled"),
        pytest.param({"crf": 32}, "R", id="re-encoded"),
        pytest.param({"stored_fps": 30}, "R", id="slowed"),
        pytest.param({"change": in_mirror}, "L", id="mirrored"),
    ],
)
def test_a_copy_agrees_with_its_clip_within_their_intervals(changed, throws, itself, tmp_path):
    copy = measure_clip(copied(tmp_path / "copy.mp4", **changed))
    assert (itself.throws, copy.throws) == ("R", throws)
    apart = abs(copy.release.frame_index - itself.release.frame_index)
    assert apart < min(copy.release.sd_frames, itself.release.sd_frames)
    for name in JOINT_ANGLES:
        ours, theirs = itself.orientation.figures[name], copy.orientation.figures[name]
        # Nearer than the intervals ask: most of an error is the same in every copy.
        assert abs(ours.value - theirs.value) < min(ours.sd, theirs.sd), name
