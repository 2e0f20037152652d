import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from release.frames.bracket import fast_windows


def packets(n: int, fast: range, key_every: int = 240):
    """A still picture with something fast in it; key frames are far larger than either."""
    size = np.full(n, 800)
    size[list(fast)] = 4000
    keyframe = np.arange(n) % key_every == 0
    size[keyframe] = 60_000
    return size, keyframe, np.arange(n) / 240


def test_the_first_window_holds_the_fast_motion_and_no_key_frame_draws_it_away():
    size, keyframe, time_s = packets(720, range(400, 420))
    start, end, peak = fast_windows(size, keyframe, time_s, 0.25)[0]
    assert 400 / 240 <= peak <= 420 / 240
    assert start < 400 / 240
    assert end > 420 / 240
    assert end - start == pytest.approx(0.5)


def test_the_second_window_lies_at_the_second_motion():
    size, keyframe, time_s = packets(1440, range(300, 330))
    size[1000:1010] = 3000
    _, (start, end, _), *_ = fast_windows(size, keyframe, time_s, 0.25)
    assert start < 1005 / 240 < end


@pytest.mark.parametrize("keyframe", [True, False])
def test_where_nothing_tells_the_windows_follow_one_another(keyframe):
    """Codecs with key frames alone, and packets of one size."""
    size = np.arange(100) if keyframe else np.full(100, 500)
    windows = fast_windows(size, np.full(100, keyframe), np.arange(100) / 240, 0.1)
    assert windows == sorted(windows)
    assert windows[0][0] == 0
    assert windows[-1][1] == 99 / 240


@given(st.integers(0, 2**32 - 1), st.integers(2, 400), st.floats(0.05, 1.0))
def test_each_frame_lies_in_one_window(seed, n, half_width_s):
    random = np.random.default_rng(seed)
    time_s = np.cumsum(random.choice([0, 1 / 240, 1 / 30], n))
    windows = fast_windows(random.integers(0, 9000, n), random.random(n) < 0.1, time_s, half_width_s)
    covered = sum(((time_s >= start) & (time_s <= end)).astype(int) for start, end, _ in windows)
    assert (covered == 1).all()
