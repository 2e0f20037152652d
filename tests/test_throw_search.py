"""What is refused before anything is decoded."""

from pathlib import Path

import numpy as np
import pytest

from release.clip.result import Clip, TimeBase
from release.settings import Settings
from release.throw_search import TOO_SHORT, find_throw


@pytest.mark.parametrize("settings", [Settings(), Settings(release_frame=3.0)])
def test_a_clip_of_a_few_frames_shows_no_throw_whoever_asks(settings):
    n = 7
    clip = Clip(
        path=Path("never_opened.mp4"),
        sha256="",
        width_px=64,
        height_px=64,
        turns=0,
        mirrored=False,
        codec="h264",
        created=None,
        first_pts=0,
        presentation_s=np.arange(n) / 240,
        packet_bytes=np.full(n, 100),
        keyframe=np.zeros(n, bool),
        has_sound=False,
        time_base=TimeBase(slowdown=1.0, source="stated", why=""),
    )
    assert find_throw(clip, settings) == TOO_SHORT
