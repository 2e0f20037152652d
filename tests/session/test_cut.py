import numpy as np
import pytest

from release.session.cut import cut_throws

TIME_S = np.arange(0, 120, 1 / 15)


def recording(throws_s, height=1.0, seed=0):
    rng = np.random.default_rng(seed)
    curve = 0.05 + 0.01 * rng.random(len(TIME_S)) + 0.03 * np.sin(TIME_S / 5) ** 2
    for t in throws_s:
        curve += height * np.exp(-0.5 * ((TIME_S - t) / 0.15) ** 2)
    return curve


def test_each_throw_is_a_span_round_its_burst():
    spans = cut_throws(TIME_S, recording([10, 32.5, 61, 100]))
    assert [span.peak_s for span in spans] == pytest.approx([10, 32.5, 61, 100], abs=0.15)
    assert all(span.end_s - span.start_s == pytest.approx(2.5) for span in spans)


def test_walking_about_is_no_throw():
    assert cut_throws(TIME_S, recording([])) == ()
    weak = recording([10, 40]) + recording([80], height=0.2) - recording([])
    assert len(cut_throws(TIME_S, weak)) == 2


def test_a_burst_of_two_tops_is_one_throw():
    assert len(cut_throws(TIME_S, recording([10, 10.8, 50]))) == 2


def test_spans_stay_inside_the_recording():
    spans = cut_throws(TIME_S, recording([0.5, 119.5]))
    assert spans[0].start_s == 0
    assert spans[-1].end_s == TIME_S[-1]


def test_an_empty_recording_holds_no_throw():
    assert cut_throws(np.zeros(0), np.zeros(0)) == ()
    assert cut_throws(TIME_S, np.full(len(TIME_S), np.nan)) == ()
