"""One go through a clip: what is kept of it, and that it is what decoding those frames alone gives."""

import numpy as np
import pytest

from release.clip.read import read_clip
from release.frames.decode import decode
from release.stretch import (
    FULL_BYTES,
    KEPT_AFTER_S,
    KEPT_BEFORE_S,
    close_frames,
    coarse_step,
    gone_through,
    small_scale,
)
from tests.drawn_clips import RELEASE_S, draw_clip
from tests.test_pipeline import CAMERA, THROW, networks

__all__ = ["networks"]


@pytest.fixture
def drawn(tmp_path, networks):
    """A clip whose throw is in its first 0.3 s; past that no arm is found."""
    short = draw_clip(tmp_path, THROW, CAMERA, name="short").with_suffix(".truth.json")
    path = draw_clip(tmp_path, THROW, CAMERA, name="longer", n_frames=200)
    path.with_suffix(".truth.json").write_text(short.read_text())
    networks(path)
    return read_clip(path)


def test_pictures_are_kept_of_all_frames_round_the_moment_and_of_no_others(drawn):
    time_s = drawn.frame_time_s
    seen = gone_through(drawn, time_s, 0, 199, centre_s=0.15)
    assert sorted(seen.kept) == close_frames(time_s, 0.15).tolist()
    assert 0.15 - min(time_s[list(seen.kept)]) == pytest.approx(KEPT_BEFORE_S, abs=1 / 240)
    assert max(time_s[list(seen.kept)]) - 0.15 == pytest.approx(KEPT_AFTER_S, abs=1 / 240)
    assert seen.arm.frame_index.tolist() == list(range(0, 200, coarse_step(time_s)))


def test_the_moment_is_where_the_wrist_is_fastest_unless_it_is_given(drawn):
    seen = gone_through(drawn, drawn.frame_time_s, 0, 199)
    assert max(seen.kept) < 72 + KEPT_AFTER_S * 240
    assert len(seen.kept) > KEPT_BEFORE_S * 240


def test_the_go_ends_where_a_throw_and_what_the_packets_told_of_lie_behind(drawn, monkeypatch):
    monkeypatch.setattr("release.stretch.ENDS_M_S", 3.0)  # the drawn one is slow in the picture
    time_s = drawn.frame_time_s
    whole = gone_through(drawn, time_s, 0, 199)
    ended = gone_through(drawn, time_s, 0, 199, past_s=RELEASE_S)
    assert sorted(ended.kept) == sorted(whole.kept)
    assert max(ended.kept) <= ended.arm.frame_index[-1] < 90
    later = gone_through(drawn, time_s, 0, 199, past_s=0.3)
    assert later.arm.frame_index[-1] == pytest.approx((0.3 + KEPT_AFTER_S) * 240, abs=coarse_step(time_s))


def test_no_throw_ends_the_go(drawn, monkeypatch):
    monkeypatch.setattr("release.stretch.ENDS_M_S", 100.0)
    assert gone_through(drawn, drawn.frame_time_s, 0, 199, past_s=RELEASE_S).arm.frame_index[-1] == 198


def test_what_is_kept_is_what_decoding_the_frame_alone_gives(drawn):
    seen = gone_through(drawn, drawn.frame_time_s, 0, 71, centre_s=0.15)
    frame_bytes = drawn.width_px * drawn.height_px * 3 // 2
    assert 0 < len(seen.full) * frame_bytes <= FULL_BYTES
    index = min(seen.full)
    assert np.array_equal(seen.full[index].whole(1.0).rgb(), decode(drawn, index, index).images[0])
    small = decode(drawn, index, index, scale=small_scale(drawn)).images[0]
    assert np.array_equal(seen.kept[index].small.rgb(), small)


@pytest.mark.parametrize("fps", [30, 60, 120, 240, 480, 800, 960, 1000])
def test_at_most_about_66_frames_are_read_closely_those_of_the_arm_among_them(fps):
    time_s = np.arange(fps * 2) / fps
    index = close_frames(time_s, 1.0)
    step = int(np.diff(index).max())
    assert len(index) <= 73
    assert coarse_step(time_s) % step == 0
    assert (index % step == 0).all()
