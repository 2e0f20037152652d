"""Errors parted by how the throws were filmed."""

import numpy as np
import pandas as pd
import pytest

from release.orientation.result import JOINT_ANGLES
from release.workshop.sensitivity import SETTINGS, chart, parts


def test_throws_are_parted_by_the_values_of_a_setting_that_has_few():
    fps = np.array([120.0, 240, 240, 240, 480, 480])
    found = parts(fps, np.array([9.0, -4, 5, 6, 1, np.nan]))
    assert [(p.middle, p.n, p.median) for p in found] == [(120, 1, 9), (240, 3, 5), (480, 1, 1)]
    assert found[1].low == pytest.approx(4)
    assert found[1].high == pytest.approx(6)


def test_throws_are_parted_in_quarters_of_a_setting_that_varies():
    rng = np.random.default_rng(1)
    hand_px = rng.permutation(np.arange(20.0, 120))
    found = parts(hand_px, rng.normal(0, 400 / hand_px))
    assert [p.n for p in found] == [25, 25, 25, 25]
    assert found[0].median > 2 * found[-1].median, "small hands are read worse"
    assert all(p.low <= p.median <= p.high for p in found)


def test_the_chart_names_every_angle_and_setting():
    rng = np.random.default_rng(2)
    rows = pd.DataFrame({name: rng.uniform(10, 90, 40) for name in SETTINGS})
    svg = chart(rows.assign(**{f"{name}_error_deg": rng.normal(0, 5, 40) for name in JOINT_ANGLES}))
    for words in ("wrist flexion", "elbow flexion", "Frames a second", "Median error, degrees"):
        assert words in svg
