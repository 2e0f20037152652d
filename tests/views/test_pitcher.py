"""A pitcher's page prints what is known, what worked and what could be tried, and never an order."""

import re

import numpy as np
import pandas as pd
import pytest

from release.jpeg import jpeg_of
from release.stats.result import SessionMean
from release.suggest.next import suggest
from release.suggest.read_words import read_words
from release.suggest.response import cue_priors, own_responses
from release.suggest.result import Advice, BallResponse, Suggestion, Target
from release.views.cue_marks import cue_marks
from release.views.figures import angle_by_throw
from release.views.figures_pitcher import shape_chart
from release.views.pitcher import PitcherPage, Season, build_pitcher_page
from release.views.result import Photo
from release.views.write import render_pitcher_page, write_pitcher_page
from tests.views.drawn_session import comparisons, throws

TARGET = Target(centre=np.array([np.nan, 0.0, 14.0]), tolerance=np.array([1.0, 1.5, 1.5]))
BALL = BallResponse(
    at_uncued=np.array([82.0, 2.0, 9.0]),
    per_deg=np.array([0.0, 0.15, -0.25]),
    per_deg_sd=np.full(3, 0.03),
    scatter_sd=np.array([0.8, 1.0, 1.0]),
)


def page(notes=(("2026-05-14", "athlete's words", "felt it in the <fingers>"),), **season) -> PitcherPage:
    own = throws()[lambda t: t["athlete"] == "B-07"]
    rows = own.assign(
        cue=own["cue"].replace("through the target", ""),
        hand_deg=own["forearm_rotation_deg"],
        hand_sd_deg=own["forearm_rotation_deg_sd"],
    )
    responses = own_responses(rows, cue_priors(rows.iloc[:0], ["turn the doorknob", "late thumb"]))
    compared: pd.DataFrame = comparisons()
    return build_pitcher_page(
        own.assign(session="one"),
        athlete="B-07",
        comparisons=compared[compared["athlete"] == "B-07"],
        advice={"slider": advice(suggest(responses, BALL, TARGET))},
        shapes=read_words().shapes,
        notes=notes,
        **season,
    )


def advice(suggestion: Suggestion) -> Advice:
    return Advice(
        athlete="B-07",
        pitch="slider",
        hand="forearm_rotation_deg",
        throws=16,
        sessions=1,
        usual="through the target",
        usual_throws=8,
        grip_changes=("throw 9, thumb: side -> under",),
        mph_below_fastball=8.0,
        shape=("sweeping", "gyro slider"),
        arm_angle_deg=None,
        target=TARGET,
        suggestion=suggestion,
        why_not="",
        known=(),
        distances=tuple(np.linspace(4, 0.5, 16)),
        usual_distance=3.3,
        inside=2,
        measured=16,
        trend=(-0.2, -0.3, -0.1),
        own_shares={"forearm_rotation_deg": 0.6, "speed_mph": None, "horizontal_break_in": 0.0},
        planning=("planning: a note",),
    )


def test_the_page_holds_state_wish_what_worked_and_options():
    html = render_pitcher_page(page())
    for text in (
        "sweeping or gyro slider",
        "Wanted:",
        "What changed something",
        "turn the doorknob",
        "late thumb",
        "2 of 16 throws were inside the window",
        "comes closer, by 0.20 tolerances a throw",
        "60 % is the pitcher",
        "edge of the wanted window",
        "Grip changed: throw 9, thumb: side -&gt; under.",
        "horizontal break scatters no more than its stated",
        "No measurement error is stated for speed:",
        "cutter-like",  # the box of a word on the break chart
        "Planning: a note.",
    ):
        assert text in html
    assert "Options, not orders" in html
    assert "Pain ends the session" in html


def test_the_cue_that_turns_the_hand_the_wanted_way_comes_first():
    assert page().pitches[0].options[0].cue == "turn the doorknob"


def test_words_from_outside_are_escaped_and_nothing_is_loaded_from_elsewhere():
    html = render_pitcher_page(page())
    assert "felt it in the &lt;fingers&gt;" in html
    assert "src=" not in html
    assert "href=" not in html.replace('xlink:href="#', "").replace('href="#', "")


def test_a_pitcher_without_target_or_notes_still_has_a_page():
    own = throws()[lambda t: t["athlete"] == "B-12"]
    bare = build_pitcher_page(own, athlete="B-12", comparisons=comparisons().iloc[:0], advice={})
    html = render_pitcher_page(bare)
    assert "What could be tried next" not in html
    assert "16 throws in 1 session." in html


@pytest.mark.system
def test_the_page_prints_as_a_pdf(tmp_path):
    write_pitcher_page(page(), tmp_path / "B-07.pdf")
    assert (tmp_path / "B-07.pdf").read_bytes()[:5] == b"%PDF-"


def season(sessions: int) -> Season:
    means = [
        SessionMean(session=i, cue=cue, mean=-20.0 - i, low=-24.0 - i, high=-16.0 - i, throws=6)
        for i in range(sessions)
        for cue in ("", "turn the doorknob")
    ]
    return Season(
        figure="forearm_rotation_deg",
        sessions=tuple(f"day {i}." for i in range(sessions)),
        means=tuple(means),
        lasting=("“turn the doorknob”: cannot tell yet",),
    )


def test_the_season_shows_each_session_and_what_has_lasted():
    html = render_pitcher_page(page(seasons={"slider": season(2)}))
    for text in ("Over the season", "day 1.", "cannot tell yet", "Described, not drawn"):
        assert text in html


def test_of_many_sessions_only_as_many_are_named_as_do_not_run_into_each_other():
    html = render_pitcher_page(page(seasons={"slider": season(45)}))
    assert re.findall(r">day (\d+)\.<", html) == [str(i) for i in range(0, 45, 3)]


@pytest.mark.system
@pytest.mark.parametrize("size", ["A4", "letter"])
def test_the_page_prints_on_one_sheet(size):
    from weasyprint import CSS, HTML

    notes = [("2026-05-14", "decision (coach)", "keep the cue for two more sessions and look again")] * 9
    photo = Photo(pitch="slider", caption="Grip", jpeg=jpeg_of(np.full((300, 400, 3), 180, np.uint8), 80))
    html = render_pitcher_page(page(notes, seasons={"slider": season(9)}, photos=[photo] * 2))
    printed = HTML(string=html).render(stylesheets=[CSS(string=f"@page {{ size: {size} !important }}")])
    assert len(printed.pages) == 1


def test_blocks_of_different_sessions_are_bands_of_their_own():
    """Two sessions of two blocks of two throws, and two of none: bands over throws 1 and 2, and 5 and 6."""
    rows = throws().head(10)
    rows = rows.assign(session=[0] * 4 + [1] * 6, block=[*"1122", *"1122", "", ""])
    svg = angle_by_throw(rows, "forearm_rotation_deg", cue_marks(rows["cue"]))
    bands = re.findall(r'<path d="([^"]+)"[^>]* style="opacity: 0.045', svg)
    ends = [sorted({float(x) for x in re.findall(r"[ML] (\S+) ", band)}) for band in bands]
    assert len(ends) == 2
    assert ends[0][1] < ends[1][0]
    assert np.diff(ends[0]) == pytest.approx(np.diff(ends[1]))


def test_boxes_turn_with_the_arm_angle():
    rows = throws()[lambda t: t["athlete"] == "B-07"]
    charts = [
        shape_chart(rows, cue_marks(rows["cue"]), read_words().shapes, TARGET, arm)
        for arm in (None, 45.0, 20.0)
    ]
    assert charts[0] == charts[1] != charts[2]


def test_a_photo_of_the_grip_stands_with_its_pitch_only():
    jpeg = b"\xff\xd8 drawn"
    photos = [
        Photo(pitch=pitch, caption=f"Grip of the {pitch}", jpeg=jpeg) for pitch in ("slider", "curveball")
    ]
    html = render_pitcher_page(page(photos=photos))
    assert html.count("data:image/jpeg;base64,") == 1
    assert "<figcaption>Grip of the slider</figcaption>" in html
    assert "Grip of the curveball" not in html
