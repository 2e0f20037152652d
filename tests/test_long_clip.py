"""In a long clip the packets say where to look first; where they mislead, all of it is looked through."""

import pytest

from release import coarse_look, throw_search
from release.frames.bracket import Window
from release.pipeline import measure_clip
from tests.drawn_clips import RELEASE_S, draw_clip
from tests.test_pipeline import CAMERA, THROW, networks

__all__ = ["networks"]
N_FRAMES = 600  # 2.5 s, with the throw in its first 0.3 s


@pytest.fixture
def long_clip(tmp_path, networks, monkeypatch):
    """The truth of a short clip beside a long one: past its end no arm is found; no ball flies."""
    monkeypatch.setattr(throw_search, "FLIGHT_SEEN", -1.0)  # as if it were seen to: that ends the search
    monkeypatch.setattr(throw_search, "SLOWEST_THROW_M_S", 3.0)  # the drawn one is slow in the picture
    short = draw_clip(tmp_path, THROW, CAMERA, name="short").with_suffix(".truth.json")
    path = draw_clip(tmp_path, THROW, CAMERA, name="long", n_frames=N_FRAMES)
    path.with_suffix(".truth.json").write_text(short.read_text())
    networks(path)
    return path


@pytest.fixture
def decoded(monkeypatch):
    """How many frames were gone through in the search."""
    counts = []
    every, stretch = coarse_look.decode_every, coarse_look.gone_through

    def counted(clip, step, *, first, last, scale):
        counts.append(last - first + 1)
        return every(clip, step, first=first, last=last, scale=scale)

    def gone_through(clip, time_s, first, last, **named):
        counts.append(last - first + 1)
        return stretch(clip, time_s, first, last, **named)

    monkeypatch.setattr(coarse_look, "decode_every", counted)
    monkeypatch.setattr(coarse_look, "gone_through", gone_through)
    return counts


def pointing_at(monkeypatch, *windows):
    windows = [Window(start, end, start + RELEASE_S) for start, end in windows]
    monkeypatch.setattr(coarse_look, "fast_windows", lambda *_: windows)


def test_only_the_window_that_holds_the_throw_is_decoded(long_clip, decoded, monkeypatch):
    pointing_at(monkeypatch, (0.0, 0.8), (0.8042, 1.7), (1.7042, 2.5))
    assert measure_clip(long_clip).refused is None
    assert sum(decoded) < N_FRAMES / 2


def test_a_bracket_that_proves_wrong_is_widened_and_the_answer_is_the_same(long_clip, decoded, monkeypatch):
    pointing_at(monkeypatch, (0.0, 0.8), (0.8042, 1.7), (1.7042, 2.5))
    right = measure_clip(long_clip)
    decoded.clear()
    pointing_at(monkeypatch, (1.7042, 2.5), (0.8042, 1.7), (0.0, 0.8))
    wrong = measure_clip(long_clip)
    assert sum(decoded) > N_FRAMES * 0.9
    assert wrong.release.frame_index == pytest.approx(right.release.frame_index, abs=0.5)
