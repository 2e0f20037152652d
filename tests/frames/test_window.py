import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from release.frames.window import frame_at, frames_between, time_at, window
from tests.clip.movies import ramp


def test_a_window_stays_inside_the_clip():
    assert window(10.4, 3, 100) == (7, 13)
    assert window(1, 3, 100) == (0, 4)
    assert window(250, 3, 100) == (96, 99)
    with pytest.raises(ValueError, match="at least one frame"):
        window(0, 3, 0)


def test_frames_between_two_times_on_a_ramp():
    time_s = ramp(3, 10)  # 0, 1/30, 2/30, 3/30, then every 1/240
    assert frames_between(time_s, 0.1, 0.1 + 4.5 / 240) == (3, 7)
    assert frames_between(time_s, 0.034, 0.05) is None


@settings(deadline=None)  # a busy machine is no fault
@given(st.floats(0, 300))
def test_time_and_frame_are_inverse(frame_index):
    assert frame_at(time_at(frame_index, ramp()), ramp()) == pytest.approx(frame_index, abs=1e-6)
    assert np.all(np.diff(ramp()) > 0)
