"""Cues on the page: read in the words now in use, with who says them; photos of grips beside them."""

from dataclasses import replace
from urllib.parse import urlencode

import cv2
import numpy as np
import pytest

from release.grip_photo import keep_photo
from release.live_draw import live_in_logbook
from release.page_answers import cue_comparisons, running_answer
from release.record import read, write
from release.suggest.read_words import read_words
from release.suggest.rename import PlannedCuesMerged
from tests.record.filled import fill, measured
from tests.views.web.served import Asked, page

FILE = """
[[cues]]
words = "long arm"
meant = "more behind the ball"
said_by = "the barn's coach"
[[renames]]
of = "cue"
old = "long arm"
new = "reach far back"
"""
NEW, OTHER = "reach far back", "short arm"


@pytest.fixture
def words(tmp_path):
    file = tmp_path / "cues.toml"
    file.write_text(FILE)
    return read_words(file)


@pytest.fixture
def served(tmp_path, words):
    with page(tmp_path / "logbook", words=words) as running:
        session, clips = fill(running.logbook, tmp_path, athletes=("A1", "B2", "C3"), n=4)
        yield running, session, clips


@pytest.mark.parametrize("place", ["", "/wall", "/tags", "/live", "/review/{clip}"])
def test_a_renamed_cue_is_shown_in_its_new_words_with_who_says_it(served, place):
    running, session, clips = served  # the second throw's cue is "long arm"
    shown = running.client.get(f"/s/{session}{place.format(clip=clips[1])}").text
    assert NEW in shown
    assert "long arm" not in shown
    assert "said by the barn&#39;s coach" in shown


def test_the_record_keeps_the_words_as_said(served):
    running, session, _ = served
    running.client.get(f"/s/{session}")
    assert {row["cue"] for row in read.throws(running.logbook, session=session).to_dict("records")} == {
        "long arm",
        "short arm",
    }


def test_cues_are_compared_in_their_new_words_with_the_same_answers(served, words):
    book, session = served[0].logbook, served[1]
    as_said = cue_comparisons(book, session, ("long arm", OTHER))
    now = cue_comparisons(book, session, (NEW, OTHER), words=words)
    assert as_said
    assert {(one.cue_a, one.cue_b) for one in now} <= {(NEW, OTHER), (OTHER, NEW)}
    assert [(one.figure, one.n_a, one.n_b, abs(one.difference)) for one in now] == [
        (one.figure, one.n_a, one.n_b, abs(one.difference)) for one in as_said
    ]
    assert cue_comparisons(book, session, ("long arm", OTHER), words=words) == []


def test_the_running_answer_reads_the_new_words(served, words):
    book, session, figure = served[0].logbook, served[1], "wrist_flexion_deg"
    (said,) = running_answer(book, session, (NEW, OTHER), figure, words=words)
    who, what = said.split(":")[0].split(", ")
    assert "4 throws with these cues, which were not drawn" in said
    drawn = live_in_logbook(book, session, who, what, ("long arm", OTHER), figure, seed=1)
    said = running_answer(book, session, (NEW, OTHER), figure, words=words)
    assert f"“{OTHER}” less “{NEW}”, drawn with seed {drawn.seed}" in said[0]


def test_a_reason_against_comparing_stands_on_the_page(tmp_path):
    def merged(*_):
        raise PlannedCuesMerged(("long arm", "short arm"))

    with page(tmp_path / "logbook", lambda: replace(Asked().steps(), compare=merged)) as running:
        session, _ = fill(running.logbook, tmp_path)
        cues = urlencode({"cue_a": "long arm", "cue_b": "short arm"})
        answer = running.client.get(f"/s/{session}/compare?{cues}")
        assert answer.status_code == 200
        assert "the renames make two of them one" in answer.text


def test_photos_of_the_sessions_grips_stand_beside_the_tags(served, tmp_path):
    running, session, _ = served
    file = tmp_path / "grip.png"
    cv2.imwrite(str(file), np.full((30, 40, 3), 90, np.uint8))
    kept = keep_photo(running.logbook, "A1", file, pitch="slider", throw=3, note="<b>two seams</b>")
    keep_photo(running.logbook, "A1", file, pitch="cutter")  # not thrown in this session
    shown = running.client.get(f"/s/{session}/tags").text
    assert shown.count("/grip.jpg?") == 1
    assert "&lt;b&gt;two seams&lt;/b&gt;" in shown
    picture = running.client.get("/grip.jpg", params={"athlete": "A1", "name": kept})
    assert picture.headers["content-type"] == "image/jpeg"
    assert cv2.imdecode(np.frombuffer(picture.content, np.uint8), cv2.IMREAD_COLOR).shape == (30, 40, 3)
    for athlete, name in (("B2", kept), ("A1", "../secret"), ("nobody", kept)):
        assert running.client.get("/grip.jpg", params={"athlete": athlete, "name": name}).status_code == 404


def test_two_cues_asked_the_other_way_round_answer_with_the_other_sign(served):
    book, session = served[0].logbook, served[1]
    for clip, turn in zip(served[2], (0, 9, 1, 8, 2, 7, 0, 9, 3, 8, 2, 6), strict=True):
        one = measured(clip, models="again")
        figures = {name: replace(f, value=float(turn)) for name, f in one.orientation.figures.items()}
        turned = replace(one, orientation=replace(one.orientation, figures=figures))
        write.save_measurement(book, turned)
    there = cue_comparisons(book, session, ("long arm", OTHER))
    back = cue_comparisons(book, session, (OTHER, "long arm"))
    assert {(one.cue_a, one.cue_b) for one in there} == {("long arm", OTHER)}
    assert [-one.difference for one in back] == [one.difference for one in there]
    assert all(one.difference < 0 for one in there if one.figure == "wrist_flexion_deg")
    assert [(one.n_b, one.n_a) for one in back] == [(one.n_a, one.n_b) for one in there]
