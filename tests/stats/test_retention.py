"""Has a change lasted without the cue being said?"""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from release.stats.retention import retention, retention_lines, season


def sessions(*, kept_deg: float, after: int = 4, before: int = 4, seed: int = 1) -> pd.DataFrame:
    """Six usual throws a session; the cue is said in one session, and turns the hand by 15 degrees there."""
    rng, rows = np.random.default_rng(seed), []
    for session in range(before + 1 + after):
        day = rng.normal(0, 1.0)
        level = day + (kept_deg if session > before else 0.0)
        rows += [{"session": session, "cue": "", "hand_deg": level + rng.normal(0, 3)} for _ in range(6)]
        if session == before:
            rows += [
                {"session": session, "cue": "chop", "hand_deg": day - 15 + rng.normal(0, 3)} for _ in range(6)
            ]
    return pd.DataFrame(rows)


def test_a_change_that_stays_has_lasted_and_one_that_goes_has_not():
    stays, goes = (retention(sessions(kept_deg=k), "hand_deg", "chop") for k in (-14.0, 0.0))
    assert (stays.answer, goes.answer) == ("has lasted", "has not lasted")
    assert stays.said == pytest.approx(-15, abs=4)
    assert stays.low < -14 < stays.high


def test_the_interval_is_that_of_a_t_test_on_session_means():
    rows = sessions(kept_deg=-14.0)
    found = retention(rows, "hand_deg", "chop")
    means = rows[rows["cue"] == ""].groupby("session")["hand_deg"].mean()
    outside = stats.ttest_ind(means[5:], means[:5]).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((outside.low, outside.high))


def test_one_session_on_either_side_cannot_tell_a_change_from_a_moved_camera():
    found = retention(sessions(kept_deg=-14.0, before=0, after=1), "hand_deg", "chop")
    assert found.answer == "cannot tell yet"
    assert np.isinf(found.high)
    assert "three sessions" in retention_lines([found], "°")[0]


def test_throws_after_the_cue_was_said_that_day_do_not_count():
    rows = sessions(kept_deg=0.0)
    late = pd.DataFrame({"session": 4, "cue": "", "hand_deg": [-200.0] * 5})
    spoilt = pd.concat([rows, late], ignore_index=True)
    assert retention(spoilt, "hand_deg", "chop").lasted == retention(rows, "hand_deg", "chop").lasted


def test_a_change_the_other_way_is_not_what_the_cue_did():
    assert retention(sessions(kept_deg=14.0), "hand_deg", "chop").answer == "cannot tell yet"


def test_with_a_cue_in_the_last_session_only_there_is_nothing_to_compare():
    found = retention(sessions(kept_deg=0.0, after=0), "hand_deg", "chop")
    assert np.isnan(found.lasted)
    assert "cannot tell yet" in retention_lines([found], "°")[0]


def test_the_season_has_a_mean_for_each_session_and_cue():
    means = season(sessions(kept_deg=0.0, before=1, after=1), "hand_deg")
    assert [(one.session, one.cue, one.throws) for one in means] == [
        (0, "", 6),
        (1, "", 6),
        (1, "chop", 6),
        (2, "", 6),
    ]
    assert all(one.low < one.mean < one.high for one in means)
