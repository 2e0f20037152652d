"""Scores agree with hand-worked cases; the independent scorer of rendered clips is met in test_pipeline."""

import numpy as np
import pytest

from release.instant.result import ReleaseInstant
from release.orientation.result import ANGLES, Estimate, Orientation
from release.orientation.score import Answer, best_constant_error_deg, score_angles, score_release
from release.orientation.score_text import figure_lines

REFUSED = Estimate(value=None, sd=None, low=None, high=None, refused="not measurable from here")


def answer(
    true_deg, value, *, half=5.0, carried=True, frame=10.0, off=0.2, name="wrist_flexion", filmed_as=None
):
    estimate = REFUSED
    if value is not None:
        estimate = Estimate(value=value, sd=half / 2, low=value - half, high=value + half, refused=None)
    release = ReleaseInstant(frame_index=frame + off, time_s=None, sd_frames=0.2, source="ball")
    figures = dict.fromkeys(ANGLES, REFUSED) | {name: estimate}
    orientation = Orientation(figures=figures, limits=(), flagged=())
    return Answer(
        release_frame=frame,
        angles_deg={name: true_deg},
        carried={name: carried},
        filmed_as=filmed_as,
        release=release,
        orientation=orientation,
    )


def test_a_row_counts_errors_coverage_and_refusals():
    answers = [
        answer(10, 12),
        answer(20, 21),
        answer(30, 37),
        answer(40, None),
        answer(50, None, carried=False),
    ]
    (row,) = score_angles(answers)
    assert (row.n, row.excused, row.unexcused) == (5, 1, 1)
    assert row.median == pytest.approx(2)
    assert row.bias == pytest.approx(2)
    assert row.covered == pytest.approx(2 / 3)
    assert row.slope == pytest.approx(1.25)  # least squares of 12, 21, 37 on 10, 20, 30
    assert row.constant_deg == pytest.approx(10)


def test_repeatability_is_the_scatter_of_errors_within_athlete_and_camera():
    errors = {"barn pitcher": (12.0, 14.0, 13.0), "another": (-6.0, -8.0), "filmed once": (90.0,)}
    answers = [answer(0, e, filmed_as=who) for who, given in errors.items() for e in given]
    (row,) = score_angles([*answers, answer(0, None, filmed_as="another"), answer(0, 40)])
    # squares about the two means: 1 + 1 + 0 and 1 + 1, over 5 throws less 2 means
    assert row.repeatability_deg == pytest.approx(np.sqrt(4 / 3))
    (alone,) = score_angles([answer(0, 3, filmed_as="filmed once"), answer(0, 9)])
    assert np.isnan(alone.repeatability_deg)


def test_angles_near_half_a_turn_are_compared_the_short_way():
    (row,) = score_angles([answer(179, -179, name="forearm_rotation")])
    assert row.error_deg == pytest.approx([2])
    assert row.covered == 1


def test_the_best_constant_sits_in_the_densest_half():
    assert best_constant_error_deg(np.array([0.0, 1.0, 2.0, 50.0, 90.0])) == pytest.approx(1)
    assert best_constant_error_deg(np.array([178.0, -178.0, 180.0]), wrapped=True) == pytest.approx(1)


def test_release_within_a_frame_counts_refusals_as_misses():
    answers = [answer(0, 0), answer(0, 0, off=1.5)]
    missing = Answer(
        release_frame=3.0, angles_deg={}, carried={}, filmed_as=None, release=None, orientation=None
    )
    score = score_release([*answers, missing])
    assert score.within(1) == pytest.approx(1 / 3)
    assert (score.n, score.refused, score.covered) == (3, 1, pytest.approx(0.5))


def test_lengths_are_printed_to_the_centimetre_with_their_unit():
    def figure(value, sd):
        return Estimate(value=value, sd=sd, low=value - 2 * sd, high=value + 2 * sd, refused=None)

    shown = {"arm_angle": figure(58.34, 1.2), "release_height": figure(1.957, 0.021)}
    lines = figure_lines(Orientation(figures=shown, limits=(), flagged=()))
    assert lines[0].endswith("58.3   95 %: 55.9 to 60.7")
    assert lines[1].endswith("1.96   95 %: 1.92 to 2.00 m")


def test_what_was_not_measured_is_told_once_with_its_reason():
    none = Estimate(value=None, sd=None, low=None, high=None, refused="the tripod was moved")
    shown = {"arm_angle": none, "release_height": none}
    lines = figure_lines(Orientation(figures=shown, limits=(), flagged=()))
    assert lines == ["  no arm angle, release height: the tripod was moved"]
