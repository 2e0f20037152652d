import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from release.views.cue_marks import cue_marks
from release.views.faces import hide_faces
from release.views.figures import angle_by_throw, break_chart
from release.views.overlay import arm_close_up, draw_arm
from release.views.report import build_report
from release.views.result import Refusal
from release.views.sentences import sentence
from release.views.words import number, span
from release.views.write import render_report, write_report
from tests.views.drawn_session import CUES, arm, comparisons, frame, pictures, throws

MAIN = "forearm_rotation_deg"


def said(athlete, *, metric=False, **changes):
    rows = comparisons()
    rows = rows[rows["athlete"] == athlete].assign(**changes)
    return sentence(rows, main_outcome=MAIN, metric=metric)


def small_report(**changes):
    table = throws().groupby("athlete").head(4)
    values = {"title": "A session", "comparisons": comparisons(), "pictures": pictures(table)}
    return build_report(table, **(values | {"main_outcome": MAIN} | changes))


def test_the_sentence_says_what_the_cue_did_to_hand_and_ball_and_how_sure():
    told = said("B-07")
    assert (
        "changed the hand at release: forearm rotation 20° toward supination (95 % interval 13 to 26°)"
        in told.hand
    )
    assert "horizontal break 4.9 in to the glove side (95 % interval 3.1 to 6.6 in)" in told.ball
    assert "induced vertical break 3.0 in downward (95 % interval 1.2 to 4.9 in)" in told.ball
    assert "named before the session" in told.sure
    assert "2.9 % of draws" in told.sure


def test_no_change_worth_having_and_not_known_yet_are_not_the_same_answer():
    told = said("B-12")
    assert "made no change worth having in the hand" in told.hand
    assert "cannot be told yet" in told.ball
    assert "Too few blocks were drawn" in said("B-12", answer="design too small").hand


def test_a_metric_reader_gets_centimetres_and_km_h():
    assert "12 cm to the glove side" in said("B-07", metric=True).ball
    # Conversion of 90 mph by the international mile, 1.609344 km (NIST SP 811).
    assert number("speed_mph", 90.0, metric=True) == "144.8 km/h"
    assert span("horizontal_break_in", -1.0, 10.0, metric=True) == "−3 to 25 cm"
    assert number("release_height_m", 1.8288) == "6.00 ft"


def test_numbers_without_a_value_say_so():
    assert number("wrist_flexion_deg", np.nan) == "not measured"
    assert span("speed_mph", -np.inf, 2.0) == "at most 2.0 mph"
    assert number("speed_mph", -0.01, signed=True) == "0.0 mph"


def test_every_throw_is_in_the_report_grouped_by_its_cue():
    part = small_report().athletes[0]
    assert [(g.cue, len(g.cards)) for g in part.groups] == [(CUES[0], 2), (CUES[1], 2)]
    assert all(card.jpeg.startswith(b"\xff\xd8") for g in part.groups for card in g.cards)
    labels = [label for label, _ in part.groups[0].cards[0].angles]
    assert "palm turn" in labels
    assert "arm angle" not in labels  # needs the field, and was not measured


def test_text_from_outside_cannot_become_markup():
    wicked = "<script>alert(1)</script>"
    table = throws().head(4).assign(cue=wicked)
    page = render_report(
        build_report(table, title=wicked, refusals=[Refusal(what=wicked, why="'\"><img src=x>")])
    )
    assert "<script" not in page
    assert "<img src=x" not in page


def test_the_report_needs_nothing_beside_it(tmp_path):
    write_report(small_report(), tmp_path / "new" / "index.html")
    page = (tmp_path / "new" / "index.html").read_text(encoding="utf-8")
    assert not re.findall(r'(?:src|href)="(?!data:|#)', page)
    assert "@import" not in page
    assert not list((tmp_path / "new").glob("*.part"))


def test_the_same_session_gives_the_same_bytes():
    assert render_report(small_report()) == render_report(small_report())


def test_cautions_are_in_every_report():
    page = render_report(build_report(throws().head(2), title="Two throws"))
    for words in (
        "not medical advice",
        "Pain ends the session",
        "pitch counts and rest",
        "licensed practitioner",
    ):
        assert words in page


def test_charts_name_their_axes_in_words_with_units():
    table = throws().head(16)
    marks = cue_marks(table["cue"])
    chart = angle_by_throw(table, MAIN, marks)
    assert "Forearm rotation, degrees" in chart
    assert "more is toward pronation" in chart
    moved = break_chart(table, marks, metric=True)
    assert "Horizontal break, cm" in moved
    assert all(cue in moved for cue in CUES)


def test_a_session_without_flight_or_angles_still_reports():
    table = throws().head(4)[["athlete", "pitch", "throw", "cue", "block"]]
    assert build_report(table, title="Bare").athletes[0].charts == ()


def lightness(colour: str) -> float:
    """CIE L* of an sRGB colour (IEC 61966-2-1)."""
    rgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(116 * np.cbrt(linear @ [0.2126, 0.7152, 0.0722]) - 16)


def test_two_cues_stay_apart_in_grey_and_by_shape():
    marks = list(cue_marks("abcdef").values())
    assert len({m.marker for m in marks}) == 6
    assert abs(lightness(marks[0].colour) - lightness(marks[1].colour)) > 25
    assert min(abs(lightness(a.colour) - lightness(b.colour)) for a, b in pairwise(marks)) > 12


def sharpness(image, centre, radius):
    """Mean step between neighbouring pixels in a disc."""
    yy, xx = np.mgrid[: image.shape[0], : image.shape[1]]
    disc = np.hypot(xx - centre[0], yy - centre[1]) < radius
    return np.abs(np.diff(image.astype(float).mean(axis=2), axis=1))[disc[:, 1:]].mean()


HEAD = (640 * 55 // 100 - 150, 480 * 9 // 10 - 120)  # as `frame` draws it


def test_a_head_beside_the_arm_is_made_coarse_and_the_hand_stays_sharp():
    drawing = arm()
    shown = frame(drawing)
    hidden = hide_faces(shown, drawing)
    assert sharpness(hidden, HEAD, 40) < 0.06 * sharpness(shown, HEAD, 40)
    ball = drawing.points_px["ball"]
    assert sharpness(hidden, ball, 30) > 0.9 * sharpness(shown, ball, 30)


@pytest.mark.parametrize("moved_px", [0, 40, 90, 130])
def test_a_head_behind_the_forearm_is_made_coarse_too_where_it_is_known(moved_px):
    drawing = replace(arm(), head_px=(HEAD,))
    near = {name: (x - moved_px, y) for name, (x, y) in drawing.points_px.items()}
    drawing = replace(drawing, points_px=near)
    hidden = hide_faces(frame(None), drawing)
    assert sharpness(hidden, HEAD, 30) < 0.1 * sharpness(frame(None), HEAD, 30)


def test_a_picture_in_which_no_arm_was_found_is_coarse_all_over():
    hidden = hide_faces(frame(None), None)
    assert sharpness(hidden, HEAD, 40) < 0.1 * sharpness(frame(None), HEAD, 40)


def test_the_close_up_keeps_points_on_what_they_mark():
    drawing = arm()
    close, moved = arm_close_up(frame(drawing), drawing, width_px=420)
    x, y = moved.points_px["ball"]
    assert close.shape == (350, 420, 3)
    assert close[int(y), int(x)].tolist() == pytest.approx([240, 238, 230], abs=3)  # the ball's colour


def test_the_close_up_shows_a_ball_that_has_left_and_is_not_drawn():
    held = {name: place for name, place in arm().points_px.items() if name != "ball"}
    left = (held["middle_mcp"][0], held["middle_mcp"][1] - 70)
    shown = frame(replace(arm(), points_px=held | {"ball": left}))
    close, _ = arm_close_up(shown, replace(arm(), points_px=held), width_px=420)
    ball = (np.abs(close.astype(int) - [240, 238, 230]) <= 3).all(2)
    edge = np.concatenate([ball[0], ball[-1], ball[:, 0], ball[:, -1]])
    assert ball.any()
    assert not edge.any(), "all of it"


def test_drawing_leaves_the_picture_itself_alone():
    drawing = arm()
    image = frame(drawing)
    before = image.copy()
    assert (draw_arm(image, drawing) != before).any()
    assert (image == before).all()


def test_an_unknown_figure_is_called_by_its_own_name():
    rows = pd.DataFrame([{**comparisons().iloc[0], "figure": "grip_force_n"}])
    assert "grip force n" in sentence(rows).ball
