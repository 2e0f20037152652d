"""The sample session: drawn as its plan says, with balls that follow the hand."""

import numpy as np
import pytest

from release.session.read_plan import read_plan
from release.workshop.barn import (
    ATHLETES,
    PLAIN_CUE,
    TURNING_CUE,
    draw_session,
    flight_row,
    flight_table,
    plan_toml,
    sheet_table,
    spin_axis,
)

BEHIND_THE_BALL = np.array(
    [[0, 0, 1], [1, 0, 0], [0, 1, 0]], float
)  # r_h to first base, fingers up, p at the target


def turned(palm: np.ndarray, deg: float) -> np.ndarray:
    """The hand turned about the upright, positive toward first base."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ palm


def row(palm: np.ndarray, which: int = 2) -> dict[str, object]:
    planned = draw_session(1)[0][which]
    ball, velocity = np.array([1.8, -0.5, 1.8]), np.array([36.0, 0.0, -0.5])
    return flight_row(planned, palm, ball, velocity, np.random.default_rng(0))


def test_the_session_is_36_throws_with_four_blocks_of_two_for_each_cue():
    throws, order = draw_session(1)
    assert len(throws) == 36
    assert [order[:8].count(cue) for cue in (PLAIN_CUE, TURNING_CUE)] == [4, 4]
    assert [order[8:].count(cue) for cue in (PLAIN_CUE, TURNING_CUE)] == [4, 4]
    gaps = np.diff([t.time.timestamp() for t in throws])
    assert gaps.min() >= 20
    assert draw_session(1) == (throws, order)


def test_the_second_cue_turns_one_athletes_forearm_and_not_the_others():
    throws, _ = draw_session(1)
    for athlete, effect in zip(ATHLETES, (-20, 0), strict=True):
        means = [
            np.mean([t.forearm_rotation_deg for t in throws if t.athlete == athlete and t.cue == cue])
            for cue in (PLAIN_CUE, TURNING_CUE)
        ]
        assert means[1] - means[0] == pytest.approx(effect, abs=5)


def test_a_hand_behind_the_ball_with_fingers_up_gives_backspin():
    assert spin_axis(BEHIND_THE_BALL, "R", 0) == pytest.approx([0, -1, 0])
    left = BEHIND_THE_BALL * [[1], [-1], [1]]
    assert spin_axis(left, "L", 0) == pytest.approx([0, -1, 0])


def test_supination_turns_backspin_toward_bullet_spin():
    lifted, beside = row(BEHIND_THE_BALL), row(turned(BEHIND_THE_BALL, 60))
    assert beside["spin_efficiency"] < lifted["spin_efficiency"]
    assert beside["induced_vertical_break_in"] < lifted["induced_vertical_break_in"]


def test_the_tables_are_those_the_tool_reads(tmp_path):
    throws, order = draw_session(1)
    (tmp_path / "plan.toml").write_text(plan_toml(order, 1), encoding="utf-8")
    plan = read_plan(tmp_path / "plan.toml")
    assert plan.order == order
    assert plan.stratum == (0,) * 8 + (1,) * 8
    sheet = sheet_table(throws)
    assert sheet["block"].dropna().tolist() == [b + 1 for b in range(16) for _ in range(2)]


def test_the_flight_unit_missed_two_throws_and_saw_one_ball_too_many():
    throws, _ = draw_session(1)
    rows = [row(BEHIND_THE_BALL, i) for i in range(len(throws))]
    table = flight_table(rows, np.random.default_rng(3))
    assert len(table) == 36 - 2 + 1
    assert table["time"].is_monotonic_increasing
    assert (table["pitch"] == "").sum() == 1
