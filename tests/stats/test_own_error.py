"""What throws of one athlete and camera share is no part of a comparison between them."""

import numpy as np
import pandas as pd
import pytest

from release.stats.compare import compare
from release.stats.own_error import own_sd
from release.stats.read_throws import throw_table


def test_a_throws_own_error_is_taken_before_the_whole_one():
    rows = pd.DataFrame({"a_deg": [1.0, 2, 3], "a_deg_sd": [8.0, 9, 10], "a_deg_own_sd": [2.0, np.nan, 4]})
    assert own_sd(rows, "a_deg") == pytest.approx([2, 3, 4])  # the median where it is missing
    assert own_sd(rows.drop(columns="a_deg_own_sd"), "a_deg") == pytest.approx([8, 9, 10])
    assert own_sd(rows[["a_deg"]], "a_deg") == pytest.approx([0, 0, 0])


def test_the_detectable_change_is_that_of_what_throws_do_not_share():
    cue = ["usual", "new"] * 4
    rows = pd.DataFrame(
        {"athlete": "B-07", "pitch": "slider", "cue": cue, "a_deg": [1.0, 6, 2, 7, 3, 6, 1, 8]}
    )
    rows = rows.assign(throw=np.arange(8) + 1, a_deg_sd=9.0, a_deg_own_sd=2.0)
    (found,) = compare(throw_table(rows).rows, ["a_deg"])
    assert found.detectable == pytest.approx(
        1.96 * np.sqrt(2) * 2 / np.sqrt(4)
    )  # Weir (2005): SEM of a mean of four
