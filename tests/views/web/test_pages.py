"""What the pages show of a filled logbook, and what a decision does to it."""

import csv
import html
import io
import json
import re
import uuid
from dataclasses import replace
from types import SimpleNamespace
from urllib.parse import urlencode

import pandas as pd
import pytest

from release.orientation.result import Estimate
from release.page_answers import cue_comparisons, running_answer
from release.record import read, write
from release.record.read_session import session_table
from release.views.web import serve_study
from release.views.web.figures import hand_and_ball_chart
from release.views.web.hand_and_ball import HandAndBall
from release.views.web.pages import cue_means
from release.views.web.read_session import read_session
from tests.record.filled import fill, measured
from tests.views.web.served import Asked, one_doubt, page


@pytest.fixture
def served(tmp_path):
    with page(tmp_path / "logbook") as running:
        yield running


@pytest.fixture
def filled(served, tmp_path):
    """The page, a session of six throws by two athletes, and its clips in the order thrown."""
    session, clips = fill(served.logbook, tmp_path)
    return served, session, clips


def decide(served, path, **body):
    return served.client.post(path, json={"fact": uuid.uuid4().hex, **body})


def kinds(served, session):
    return [fact["kind"] for fact in read.facts(served.logbook, session=session)]


def test_every_throw_stands_under_its_cue_with_units_and_intervals(filled):
    served, session, _ = filled
    text = served.client.get(f"/s/{session}").text
    assert text.count('<li class="card') == 6
    assert "“long arm”" in text
    assert "“short arm”" in text
    assert "1° <small>(−3 to 5°)</small>" in text
    assert "speed</dt><dd>81.0 mph" in text


def test_no_line_begins_inside_a_card_since_of_1000_cards_each_would_be_thousands_of_nodes(filled):
    served, session, clips = filled
    decide(served, f"/clip/{clips[1]}/verdict", accepted=True).raise_for_status()
    cards = re.findall(r'<li class="card.*?</li>', served.client.get(f"/s/{session}/wall").text, re.DOTALL)
    assert len(cards) == 6
    assert not any("\n" in card for card in cards)
    assert any('</span> <span class="verdict">accepted' in card for card in cards)


def test_a_clips_page_says_what_limits_it_and_has_the_arm_of_its_picture(filled):
    served, session, clips = filled
    found = measured(clips[1], models="new")
    limited = replace(found, orientation=replace(found.orientation, limits=("few frames",)))
    write.save_measurement(served.logbook, limited)
    text = served.client.get(f"/s/{session}/review/{clips[1]}").text
    assert "Limited by: few frames" in text
    told = json.loads(html.unescape(text.split("data-clip='")[1].split("'")[0]))
    assert told["points"] == {"wrist": [1, 2]}
    beside = served.client.get(f"/s/{session}/compare?a={clips[1]}&b={clips[2]}").text
    assert beside.count("&#34;points&#34;: {&#34;wrist&#34;: [1.0, 2.0]}") == 2


def test_a_clip_of_another_session_is_not_reviewed_in_this_one(filled):
    served, session, clips = filled
    assert served.client.get(f"/s/{session}/review/{clips[0]}").status_code == 200
    assert served.client.get(f"/s/{served.session}/review/{clips[0]}").status_code == 404


def test_a_decision_sent_twice_is_written_once(filled):
    served, session, clips = filled
    body = {"fact": uuid.uuid4().hex, "accepted": True}
    for _ in range(2):
        served.client.post(f"/clip/{clips[1]}/verdict", json=body).raise_for_status()
    assert kinds(served, session).count("clip accepted") == 1


def test_rejecting_leaves_the_figures_out_of_the_table_and_undoing_brings_them_back(filled):
    served, session, clips = filled
    known = session_table(served.logbook, session)["wrist_flexion_deg"].notna().sum()
    fact = decide(served, f"/clip/{clips[1]}/verdict", accepted=False, why="hidden").json()["fact"]
    assert session_table(served.logbook, session)["wrist_flexion_deg"].notna().sum() == known - 1
    decide(served, f"/fact/{fact}/undo")
    assert session_table(served.logbook, session)["wrist_flexion_deg"].notna().sum() == known


def test_who_decided_is_who_logged_in_whatever_is_sent(filled):
    served, session, clips = filled
    assert decide(served, f"/clip/{clips[1]}/verdict", accepted=True, who="Mallory").status_code == 422
    decide(served, f"/clip/{clips[1]}/verdict", accepted=True)
    assert read.facts(served.logbook, session=session)[-1]["who"] == "T.T."


def test_release_and_landmark_are_kept_and_measured_at_once(filled):
    served, session, clips = filled
    decide(served, f"/clip/{clips[1]}/release", frame_index=7).raise_for_status()
    pin = {"frame_index": 3, "point": "wrist", "x_px": 10.5, "y_px": 2}
    decide(served, f"/clip/{clips[1]}/landmark", **pin).raise_for_status()
    assert kinds(served, session)[-2:] == ["release set", "landmark pinned"]
    while served.client.get(f"/clip/{clips[1]}/state").json()["waiting"]:
        pass
    assert served.asked.corrected == [clips[1], clips[1]]


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/clip/{clip}/release", {"frame_index": -1}),
        ("/clip/{clip}/release", {"frame_index": "<b>"}),
        ("/clip/{clip}/release", {"frame_index": 1e308}),
        ("/clip/{clip}/landmark", {"frame_index": 1, "point": "__proto__", "x_px": 1, "y_px": 1}),
        ("/clip/{clip}/verdict", {"accepted": False, "why": "x" * 501}),
        ("/s/{session}/tag", {"throws": [1], "value": {"athlete": "B2"}}),
        ("/s/{session}/tag", {"throws": [99], "value": {"cue": "x"}}),
        ("/s/{session}/tag", {"throws": [], "value": {"cue": "x"}}),
        ("/s/{session}/link", {"said": "confirmed", "throw": 1}),
        ("/s/{session}/link", {"said": "extra", "throw": 1, "flight": "1"}),
        ("/s/{session}/link", {"said": "confirmed", "throw": 1, "flight": "nowhere"}),
        ("/s/{session}/camera", {"clip": "{clip}", "marks": [{"name": "moon", "x_px": 1, "y_px": 1}]}),
        ("/fact/" + "9" * 32 + "/undo", {}),
        ("/session", {"name": ""}),
    ],
)
def test_nonsense_is_refused_and_changes_nothing(filled, path, body):
    served, session, clips = filled
    before = read.facts(served.logbook)
    names = {"clip": clips[1], "session": session}
    body = {key: clips[1] if value == "{clip}" else value for key, value in body.items()}
    answer = decide(served, path.format(**names), **body)
    assert answer.status_code in (404, 422)
    assert read.facts(served.logbook) == before


def test_a_tag_holds_over_the_sheet_and_is_offered_first(filled):
    served, session, _ = filled
    decide(served, f"/s/{session}/tag", throws=[1, 2], value={"cue": "like a whip"}).raise_for_status()
    table = session_table(served.logbook, session).set_index("throw")
    assert list(table.loc[[1, 2], "cue"]) == ["like a whip"] * 2
    offered = served.client.get(f"/s/{session}/tags").text.split('id="recent-cue"')[1]
    assert offered.index("like a whip") < offered.index("long arm")


def test_a_later_tag_holds_over_an_earlier_one_where_it_says_something(filled):
    served, session, _ = filled
    for throw, value in ((1, {"cue": "a", "pitch": "cutter"}), (2, {"cue": "b"}), (1, {"cue": "c"})):
        decide(served, f"/s/{session}/tag", throws=[throw], value=value).raise_for_status()
    first, second, third = read_session(served.logbook, session).throws[:3]
    assert (first["cue"], first["pitch"]) == ("c", "cutter")
    assert (second["cue"], second["pitch"]) == ("b", third["pitch"])


def test_a_grip_written_last_is_offered_before_the_usual_ones(filled):
    served, session, _ = filled
    decide(served, f"/s/{session}/tag", throws=[1], value={"grip_index": "knuckled"}).raise_for_status()
    offered = served.client.get(f"/s/{session}/tags").text.split('id="recent-grip_index"')[1]
    assert offered.index("knuckled") < offered.index("flat") < offered.index("</datalist>")


def test_the_cage_screen_offers_the_cue_in_use_against_the_one_before(filled):
    served, session, _ = filled
    decide(served, f"/s/{session}/tag", throws=[5], value={"cue": "like a whip"}).raise_for_status()
    shown = served.client.get(f"/s/{session}/live").text
    assert re.findall(r"<option selected>(.*?)</option>", shown) == ["like a whip", "long arm"]


def test_a_doubtful_clip_stands_beside_the_throw_and_ball_it_may_belong_to(tmp_path):
    steps = replace(Asked().steps(), link=lambda *_: one_doubt())
    with page(tmp_path / "logbook", lambda: steps) as served:
        session, clips = fill(served.logbook, tmp_path)
        text = served.client.get(f"/s/{session}/links").text
    question = text[text.index('id="asked"') :]
    assert f'src="/clip/{clips[0]}/release.jpg' in question
    for words in (
        "wrist flexion 1°",
        "Throw 2",
        "“long arm”",
        "Ball 3",
        "speed 83.0 mph",
        "62 %",
        "the times fit",
    ):
        assert words in question, words
    assert "<kbd>1</kbd>" in question


def test_each_athlete_has_a_line_of_a_pitch_from_three_throws_on():
    def lines(throws):
        rows = tuple(("A1", "slider", "", float(i), 1.0, 2.0 * i) for i in range(throws))
        known = {"angle": "wrist_flexion", "ball": "horizontal_break_in", "athlete": "", "pitch": ""}
        shown = HandAndBall(**known, rows=rows, left_out=0, athletes=("A1",), pitches=("slider",))
        return hand_and_ball_chart(shown).count('style="fill: none; stroke: #12355b; stroke-width: 1.4')

    assert (lines(2), lines(3)) == (0, 1)


def test_two_throws_differ_by_what_their_uncertainties_leave(filled, monkeypatch):
    served, session, clips = filled
    own = {"wrist_flexion": 0.5, "wrist_deviation": 0.5, "forearm_rotation": 0.5, "elbow_flexion": 0.5}
    monkeypatch.setattr(serve_study, "read_own_fractions", lambda: own)
    one, two, third = clips[0], clips[1], clips[2]  # two athletes in turn
    text = served.client.get(f"/s/{session}/compare?a={one}&b={two}").text
    assert text.count("<td>0°</td><td>−6 to +6°</td>") == 9  # 1.96 x sqrt(2² + 2²) = 5.5 degrees
    text = served.client.get(f"/s/{session}/compare?a={one}&b={third}").text
    assert text.count("<td>0°</td><td>−3 to +3°</td>") == 4  # of one athlete, half of it is shared


def test_formulas_in_names_are_inert_in_an_export_and_numbers_stay_numbers(filled):
    served, session, _ = filled
    cue = "=cmd|' /C calc'!A0"
    write.add_fact(served.logbook, "throw tagged", who="T", session=session, throw=2, value={"cue": cue})
    address = f"/s/{session}/hand-and-ball.csv?angle=wrist_flexion&ball=speed_mph"
    rows = list(csv.DictReader(io.StringIO(served.client.get(address).text)))
    assert rows[1]["cue"] == f"'{cue}"
    assert [float(row["speed_mph"]) for row in rows] == [81, 82, 83, 84, 85, 86]
    assert {row["wrist_flexion_deg"] for row in rows} == {"1.0"}


def test_filters_leave_one_athlete(filled):
    served, session, _ = filled
    address = f"/s/{session}/hand-and-ball.csv?angle=wrist_flexion&ball=speed_mph&athlete=B2"
    rows = list(csv.DictReader(io.StringIO(served.client.get(address).text)))
    assert {row["athlete"] for row in rows} == {"B2"}


def test_empty_pages_say_what_to_do(served):
    at = f"/s/{served.session}"
    for path, words in [
        (at, "Drop them above"),
        (f"{at}/links", "drop clips, the throw sheet and the flight file"),
        (f"{at}/tags", "Drop one on the Throws page"),
        (f"{at}/compare", "Two measured throws are needed"),
        (f"{at}/live", "release watch"),
        (f"{at}/camera", "Drop a clip on the Throws page first"),
        (f"{at}/hand-and-ball", "linked to the throw sheet"),
    ]:
        assert words in served.client.get(path).text, path


def test_every_page_carries_the_cautions(filled):
    served, session, clips = filled
    for path in ("", "/links", "/live", f"/review/{clips[0]}", "/hand-and-ball"):
        text = served.client.get(f"/s/{session}{path}").text
        assert "Not medical advice" in text
        assert "pitch counts" in text


def test_the_researchers_page_opens_on_an_angle_that_was_measured(filled):
    served, session, clips = filled
    address = f"/s/{session}/hand-and-ball.csv?ball=speed_mph"
    assert served.client.get(address).text.startswith("athlete,pitch,cue,palm_turn_deg,")
    for clip in clips:
        kept = measured(clip, models="again")
        refused = Estimate(value=None, sd=None, low=None, high=None, refused="no camera")
        hand = replace(kept.orientation, figures={**kept.orientation.figures, "palm_turn": refused})
        write.save_measurement(served.logbook, replace(kept, orientation=hand))
    assert served.client.get(address).text.startswith("athlete,pitch,cue,wrist_flexion_deg,")


HOSTILE = ("<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "{{7777*77}}", r"$\nothing{$")


@pytest.mark.parametrize("text", HOSTILE)
def test_names_and_cues_are_shown_as_text_on_every_page_and_chart(tmp_path, text):
    steps = replace(Asked().steps(), compare=cue_comparisons, running=running_answer)
    with page(tmp_path / "logbook", lambda: steps) as served:
        session, clips = fill(served.logbook, tmp_path, athletes=(text, "B2"), n=4)
        at, of = f"/s/{session}", {"athlete": text, "pitch": "slider"}
        for throws, cue in (([1, 5], text), ([3, 7], "short arm")):
            tags = dict.fromkeys(("cue", "grip_seams", "grip_index"), cue)
            decide(served, f"{at}/tag", throws=throws, value=tags).raise_for_status()
        decide(served, f"/clip/{clips[1]}/verdict", accepted=False, why=text).raise_for_status()
        two = {"cue_a": text, "cue_b": "short arm"}
        one = {"first": text, "second": "short arm", "figure": "wrist_flexion_deg"}
        places = ["/", at, f"{at}/links", f"{at}/tags", f"{at}/camera", f"{at}/review/{clips[1]}"]
        places += [f"{at}/compare?{urlencode(two)}", f"{at}/live?{urlencode(one)}"]
        places += [f"{at}/hand-and-ball{kind}?{urlencode(of)}" for kind in ("", ".svg")]
        places += [f"{at}/mean-hands.svg?{urlencode(two | of)}"]
        for place in places:
            shown = served.client.get(place)
            assert shown.status_code == 200, (place, shown.text[:300])
            for run in ("<script>alert", "<img src=x", "598829"):
                assert run not in shown.text, place


@pytest.mark.parametrize(
    ("thrown_deg", "interval"),
    [
        pytest.param(
            [10, 20, 30], "−5 to 45°", id="20 +- 4.303 * 10 / sqrt 3 (Student's t, 2 degrees of freedom)"
        ),
        pytest.param([20], "one throw", id="one throw has no scatter"),
    ],
)
def test_the_mean_of_a_cue_stands_with_its_interval_over_the_throws(thrown_deg, interval):
    clips = [
        SimpleNamespace(
            figures={"wrist_flexion": {"value": float(value)}},
            flight=None,
            throw={"cue": "whip"},
            verdict=None,
        )
        for value in thrown_deg
    ]
    (mean,) = cue_means(clips, "whip")
    assert (mean.value, mean.interval) == ("20°", interval)


def test_what_the_flight_unit_measured_is_said_to_have_no_interval(filled):
    served, session, clips = filled
    for place in ("", "/live", f"/review/{clips[0]}"):
        assert "states no error of measurement" in served.client.get(f"/s/{session}{place}").text


SHEET = pd.DataFrame({"throw": [1], "athlete": "A1", "throws": "R", "pitch": "slider", "cue": "whip"})


@pytest.mark.parametrize(
    "written",
    [
        pytest.param(lambda book, session, _: write.save_links(book, session, []), id="links"),
        pytest.param(
            lambda book, session, _: write.add_sheet(book, session, SHEET, sha256="new", name="sheet.csv"),
            id="a sheet with another cue",
        ),
        pytest.param(
            lambda book, session, clips: write.save_measurement(book, measured(clips[0], models="new")),
            id="an answer",
        ),
        pytest.param(
            lambda book, session, clips: write.add_fact(
                book, "clip accepted", who="A.B.", session=session, clip=clips[0]
            ),
            id="a word",
        ),
    ],
)
def test_what_another_program_writes_is_another_turn_of_the_session(filled, written):
    served, session, clips = filled

    def turn():
        return served.client.get(f"/s/{session}/progress").json()["turn"]

    before = turn()
    assert turn() == before
    written(served.logbook, session, clips)
    assert turn() != before


def test_what_is_wrong_with_a_clip_is_told_without_where_the_logbook_lies(filled):
    served, _, clips = filled  # a few words of text, no videos
    answer = served.client.get(f"/clip/{clips[0]}/frames")
    assert answer.status_code == 400
    assert "not a video" in answer.text
    assert str(served.logbook.folder) not in answer.text
