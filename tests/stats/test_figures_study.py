"""The study's charts say what was found, in words and marks that survive grey print."""

from dataclasses import replace

import numpy as np
import pandas as pd

from release.stats.across import pooled
from release.stats.compare import compare
from release.stats.live import so_far
from release.stats.read_throws import throw_table
from release.stats.relate import relate
from release.views.cue_marks import cue_marks
from release.views.figures_study import (
    angle_against_ball,
    cue_over_athletes,
    live_sequence,
    throws_and_verdict,
    verdict,
)


def table():
    rng = np.random.default_rng(3)
    parts = []
    for i in range(4):
        cue = np.where(np.repeat([0, 1, 1, 0, 1, 0, 0, 1], 2) == 1, "thumb under", "usual")
        turn = -30 + 5 * i + 15 * (cue == "thumb under") + rng.normal(0, 4, 16)
        rows = pd.DataFrame({"throw": np.arange(1, 17), "cue": cue, "block": np.repeat(np.arange(1, 9), 2)})
        parts.append(
            rows.assign(athlete=f"A-{i}", pitch="slider", palm_turn_deg=turn, palm_turn_deg_sd=3.0).assign(
                horizontal_break_in=0.3 * turn + rng.normal(12, 1, 16)
            )
        )
    return throw_table(pd.concat(parts, ignore_index=True)).rows


def test_every_chart_is_drawn_and_the_same_twice():
    rows = table()
    one = compare(rows, ["palm_turn_deg"])[0]
    throws = rows[rows["athlete"] == "A-0"]
    charts = [
        lambda: throws_and_verdict(throws, one, cue_marks(["usual", "thumb under"])),
        lambda: angle_against_ball(rows, relate(rows, "palm_turn_deg", "horizontal_break_in")[0]),
        lambda: live_sequence(so_far(np.array([14.0, 9, 15, 11, 13, 12, 10, 12]), 5.0), "palm_turn_deg", 5.0),
        lambda: cue_over_athletes(pooled(rows, "palm_turn_deg", "usual", "thumb under"), "palm_turn_deg"),
    ]
    for draw in charts:
        svg = draw()
        assert svg.startswith("<svg")
        assert svg == draw()


def test_the_verdict_stands_above_the_throws():
    rows = table()
    one = compare(rows, ["palm_turn_deg"])[0]
    svg = throws_and_verdict(rows[rows["athlete"] == "A-0"], one, cue_marks(["usual", "thumb under"]))
    assert "changed: +" in svg
    assert "thumb under" in svg


def test_thousands_of_further_throws_are_only_said_to_be_many():
    one = replace(compare(table(), ["palm_turn_deg"])[0], answer="cannot tell yet", more_throws=8124)
    assert "more than 1000 more throws would likely settle it" in verdict(one)


def test_a_live_chart_marks_when_it_was_settled():
    steps = so_far(np.array([14.0, 9, 15, 11, 13, 12, 10]), 5.0)
    assert " changed" in live_sequence(steps, "palm_turn_deg", 5.0)
