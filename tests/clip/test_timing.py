import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from release.clip.timing import frame_interval_s, time_base
from tests.clip.movies import ramp, steady

TAG = {"com.android.capture.fps": "240.000000"}


@pytest.mark.parametrize(
    ("times_s", "tags", "slowdown", "source"),
    [
        # Files A and B of the table in section 5.5 of the check values: one tag, factors 1 and 8.
        pytest.param(steady(240, 240), TAG, 1.0, "metadata", id="real time, tagged"),
        pytest.param(steady(240, 30), TAG, 8.0, "metadata", id="slowed eight times, tagged"),
        pytest.param(steady(240, 240), {}, 1.0, "presentation times", id="stored at 240"),
        pytest.param(steady(240, 120), {}, 1.0, "presentation times", id="stored at 120"),
        pytest.param(steady(240, 30), {}, None, "unknown", id="stored at 30, no tag"),
        pytest.param(steady(240, 24), {}, None, "unknown", id="stored at 24, no tag"),
        pytest.param(steady(240, 60), {}, None, "unknown", id="stored at 60, no tag"),
        pytest.param(ramp(), {}, 1.0, "presentation times", id="30-240-30"),
        pytest.param(ramp(100, 60), {}, 1.0, "presentation times", id="30-240-30, mostly slow"),
        pytest.param(ramp(100, 60), TAG, 1.0, "metadata", id="30-240-30, tagged"),
        pytest.param(steady(240, 240), {"com.android.capture.fps": "30"}, None, "unknown", id="tag below"),
        pytest.param(steady(240, 30), {"com.android.capture.fps": "100"}, None, "unknown", id="tag between"),
        pytest.param(steady(240, 30), {"com.android.capture.fps": "nan"}, None, "unknown", id="tag nan"),
        pytest.param(steady(240, 30), {"com.android.capture.fps": "fast"}, None, "unknown", id="tag a word"),
        pytest.param(steady(1), TAG, None, "unknown", id="one frame"),
        pytest.param(np.zeros(3), TAG, None, "unknown", id="one time, repeated"),
    ],
)
def test_time_base_from_the_file(times_s, tags, slowdown, source):
    base = time_base(times_s, tags=tags)
    assert (base.slowdown, base.source) == (slowdown, source)
    assert base.why.endswith(".")
    assert base.why.startswith("Unknown") == (slowdown is None)


def test_what_the_user_states_beats_the_tag():
    assert time_base(steady(240, 30), capture_fps=120, tags=TAG).slowdown == pytest.approx(4)
    assert time_base(steady(240, 240), slowdown=2, tags=TAG).slowdown == 2
    assert time_base(steady(1), slowdown=8).slowdown == 8


@pytest.mark.parametrize(
    "stated", [{"slowdown": 0}, {"capture_fps": -1}, {"slowdown": 2, "capture_fps": 240}]
)
def test_impossible_statements_are_mistakes(stated):
    with pytest.raises(ValueError, match="slowdown"):
        time_base(steady(10), **stated)


def test_dropped_frames_do_not_lower_the_rate():
    """File D of the same table: every 17th frame missing, average 226, capture rate 240."""
    times_s = np.delete(steady(240), np.arange(16, 240, 17))
    assert len(times_s) == 226
    assert frame_interval_s(times_s)[0] == pytest.approx(1 / 240)


def test_time_stamps_rounded_to_milliseconds_keep_the_rate():
    interval_s, ramped = frame_interval_s(np.round(steady(240), 3))
    assert 1 / interval_s == pytest.approx(240, rel=1e-3)
    assert not ramped


@given(fps=st.floats(24, 1000), n_frames=st.integers(20, 300), seed=st.integers(0, 1000))
def test_jitter_is_no_ramp(fps, n_frames, seed):
    jitter = np.random.default_rng(seed).uniform(-0.2, 0.2, n_frames)
    interval_s, ramped = frame_interval_s((np.arange(n_frames) + jitter) / fps)
    assert not ramped
    assert interval_s * fps == pytest.approx(1, abs=0.05)
