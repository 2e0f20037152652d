import pandas as pd
import pytest

from release.orientation.read_calibration import read_own_fractions
from release.orientation.result import ANGLES, FIELD_LENGTHS
from release.record import read, write
from release.record.read_session import session_table
from release.record.write_clips import add_clips
from tests.record.filled import measured

SHEET = pd.DataFrame(
    {
        "throw": [1.0, 2.0],
        "athlete": ["A1", "A1"],
        "throws": ["R", "R"],
        "cue": ["long arm", None],
        "mood": ["ok", None],
    }
)
FLIGHT = pd.DataFrame({"flight": ["7"], "speed_mph": [80.5], "time": ["2026-05-01T10:00:00"]})


def fill(book, folder):
    (folder / "a.mp4").write_bytes(b"x" * 100)
    session = write.session_for(book, "one")
    (taken,) = add_clips(book, [folder / "a.mp4"], session)
    write.add_sheet(book, session, SHEET, sha256="f", name="sheet.csv")
    write.add_flights(book, session, FLIGHT, sha256="g", name="flight.csv")
    write.save_measurement(book, measured(taken.sha256))
    link = {
        "clip": taken.sha256,
        "throw": 1,
        "flight": "7",
        "probability": 0.999,
        "state": "linked",
        "why": "time",
    }
    write.save_links(book, session, [link])
    return session


def test_every_step_run_twice_changes_nothing(logbook, tmp_path):
    first = session_table(logbook, fill(logbook, tmp_path))
    pd.testing.assert_frame_equal(session_table(logbook, fill(logbook, tmp_path)), first)


def test_a_linked_throw_shows_its_hand_and_its_ball_and_a_lone_one_neither(logbook, tmp_path):
    table = session_table(logbook, fill(logbook, tmp_path)).set_index("throw")
    assert list(table.loc[1, ["forearm_rotation_deg", "forearm_rotation_deg_sd", "speed_mph"]]) == [
        1,
        2,
        80.5,
    ]
    shared_left_out = read_own_fractions()["forearm_rotation"] * 2
    assert table.loc[1, "forearm_rotation_deg_own_sd"] == pytest.approx(shared_left_out)
    assert shared_left_out < 2
    assert table.loc[2, ["forearm_rotation_deg", "speed_mph"]].isna().all()
    assert table.loc[2, "link_state"] == "alone"


def test_a_tag_can_be_undone_and_the_undoing_undone(logbook, tmp_path):
    session = fill(logbook, tmp_path)
    tag = write.add_fact(
        logbook, "throw tagged", who="coach", session=session, throw=2, value={"cue": "short arm"}
    )
    undo = write.add_fact(logbook, "undone", who="coach", undoes=tag)
    assert pd.isna(session_table(logbook, session)["cue"][1])
    write.add_fact(logbook, "undone", who="coach", undoes=undo)
    assert session_table(logbook, session)["cue"][1] == "short arm"


def test_a_bad_clip_is_told_and_the_rest_goes_on(logbook, tmp_path):
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "good.mp4").write_bytes(b"x")
    session = write.session_for(logbook)
    answers = list(add_clips(logbook, [tmp_path / n for n in ("empty.mp4", "gone.mp4", "good.mp4")], session))
    assert [a.why_not is None for a in answers] == [False, False, True]
    assert list(read.clips(logbook, session)["name"]) == ["good.mp4"]


def test_sessions_are_counted_as_they_are_listed(logbook, tmp_path):
    session = fill(logbook, tmp_path)
    (tmp_path / "b.mp4").write_bytes(b"y")
    list(add_clips(logbook, [tmp_path / "b.mp4"], session))
    write.session_for(logbook, "empty")
    counts = read.session_counts(logbook).set_index("name")
    assert list(counts.loc["one", ["throws", "waiting", "measured", "set aside"]]) == [2, 1, 1, 0]
    assert list(counts.loc["empty", ["throws", "waiting", "measured"]]) == [0, 0, 0]


def test_the_table_of_one_athlete_is_the_same_rows_of_the_table_of_all(logbook, tmp_path):
    fill(logbook, tmp_path)
    other = write.session_for(logbook, "two")
    write.add_sheet(logbook, other, SHEET.assign(athlete="B2"), sha256="h", name="sheet.csv")
    everybody = session_table(logbook)
    own = everybody[everybody["athlete"] == "A1"].reset_index(drop=True)
    pd.testing.assert_frame_equal(session_table(logbook, athlete="A1"), own, check_dtype=False)


def test_the_answers_of_a_session_are_those_of_its_clips(logbook, tmp_path):
    session = fill(logbook, tmp_path)
    (tmp_path / "b.mp4").write_bytes(b"not measured")
    list(add_clips(logbook, [tmp_path / "b.mp4"], session))
    answers = read.measurements(logbook, session)
    clips = read.clips(logbook, session)["sha256"]
    single = {sha256: read.measurement(logbook, sha256) for sha256 in clips}
    assert answers == {sha256: answer for sha256, answer in single.items() if answer is not None}
    assert len(answers) == 1
    assert len(next(iter(answers.values()))["figures"]) == len(ANGLES + FIELD_LENGTHS)
