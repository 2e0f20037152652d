"""Agreement of two readings, against published examples."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from release.stats.agreement import agreement, limits_of_agreement
from release.stats.readings import agreement_table

DATA = Path(__file__).parent / "data"
JUDGES = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float
)


def test_limits_of_agreement_match_bland_and_altman():
    # Bland and Altman (1986), Lancet 327:307-310, Table 1: -2.1, 38.8 l/min.
    peak_flow = pd.read_csv(DATA / "bland_altman_1986.csv")
    found = limits_of_agreement(peak_flow["wright1"], peak_flow["mini1"])
    assert (found.bias, found.sd) == pytest.approx((-2.1, 38.8), abs=0.05)
    assert (found.low, found.high) == pytest.approx((-78.097302, 73.862007), abs=1e-5)
    assert (found.bias_low, found.bias_high) == pytest.approx((-22.048838, 17.813544), abs=1e-5)


def test_six_intraclass_correlations_match_shrout_and_fleiss():
    # Shrout and Fleiss (1979), Psychological Bulletin 86:420-428, Table 4.
    icc = {form: value for form, (value, _, _) in agreement(JUDGES).icc.items()}
    published = {"ICC(1,1)": 0.17, "ICC(A,1)": 0.29, "ICC(C,1)": 0.71}
    published |= {"ICC(1,k)": 0.44, "ICC(A,k)": 0.62, "ICC(C,k)": 0.91}
    assert icc == pytest.approx(published, abs=0.005)


def test_sem_is_the_same_where_people_are_alike_and_where_they_differ():
    # Weir (2005), J Strength Cond Res 19:231-240, data set A: SEM 7.6; SDC = 1.96 * sqrt(2) * SEM.
    first = [146, 148, 170, 90, 157, 156, 176, 205]
    second = [140, 152, 152, 99, 145, 153, 167, 218]
    found = agreement(np.array([first, second], float).T)
    assert found.sem == pytest.approx(7.556927, abs=1e-5)
    assert found.detectable == pytest.approx(20.9467, abs=2e-3)
    assert found.icc["ICC(A,1)"][0] == pytest.approx(0.949975, abs=1e-5)


def test_readings_are_paired_by_clip_not_by_row():
    first = pd.DataFrame({"palm_turn_deg": np.arange(10.0)}, index=[f"c{i}" for i in range(10)])
    found = agreement_table(first, first.iloc[::-1])
    assert found["bias"][0] == 0
    assert found["ICC(A,1)"][0] == pytest.approx(1)


def test_four_throws_are_too_few():
    with pytest.raises(ValueError, match="needs five throws"):
        agreement(JUDGES[:4])
