"""The main job on a logbook, from plain files to the report; what was measured is made up."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from release import logbook as job
from release.clip_settings import settings_for
from release.record import read, write
from release.record.write_clips import add_clips
from release.record.write_open import new_logbook
from release.session_report import session_throws, write_session_report
from release.study_export import export_logbook
from release.suggest.read_words import read_words
from release.suggest.write_words import write_rename
from tests.record.filled import measured

SHEET = """throw,time,athlete,throws,pitch,cue,block
1,2026-05-01T10:00:00,A1,R,slider,long arm,1
2,2026-05-01T10:00:40,A1,R,slider,short arm,2
three,2026-05-01T10:01:10,A1,R,slider,long arm,3
"""
FLIGHT = """flight,time,speed_mph,side,tilt,efficiency
F1,2026-05-01T15:03:00Z,80.5,10.0,30,0.9
F2,2026-05-01T15:03:40Z,81.5,8.0,35,0.9
"""
MAPPING = """break_window = "full flight"
speed_at = "release"
[columns.flight]
name = "flight"
[columns.time]
name = "time"
[columns.speed_mph]
name = "speed_mph"
unit = "mph"
[columns.horizontal_break_in]
name = "side"
unit = "in"
positive = "toward third base"
[columns.spin_tilt_deg]
name = "tilt"
unit = "deg"
[columns.spin_efficiency]
name = "efficiency"
"""
SESSION = "one day"


@pytest.fixture
def book(tmp_path):
    for name, text in (("sheet.csv", SHEET), ("flight.csv", FLIGHT), ("unit.toml", MAPPING)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    logbook = new_logbook(tmp_path / "book")
    yield logbook
    logbook.engine.dispose()


def fill(logbook, folder):
    entered = job.enter_sheet(logbook, folder / "sheet.csv", SESSION, "America/Chicago")
    balls = job.enter_flights(logbook, folder / "flight.csv", SESSION, folder / "unit.toml")
    session = read.session_id(logbook, SESSION)
    for second, name in ((7, "a.mp4"), (47, "b.mp4")):
        (folder / name).write_bytes(name.encode() * 50)
        (taken,) = add_clips(logbook, [folder / name], session)
        write.save_measurement(logbook, measured(taken.sha256), f"2026-05-01T15:00:{second:02d}+00:00")
    return session, entered, balls


def fill_confirmed(logbook, folder):
    session, *_ = fill(logbook, folder)
    facts = {"session": session, "kind": "link confirmed", "who": "coach"}
    for throw, clip in enumerate(("a.mp4", "b.mp4"), start=1):
        sha256 = read.clips(logbook, session).set_index("name").loc[clip, "sha256"]
        write.add_fact(logbook, clip=sha256, throw=throw, flight=f"F{throw}", **facts)
    return session


def test_a_row_without_a_number_is_set_aside_and_the_rest_is_entered(book, tmp_path):
    _, entered, _ = fill(book, tmp_path)
    assert (entered.new, entered.changed) == (2, 0)
    assert [(row.row, row.why) for row in entered.set_aside] == [
        (4, "throw is a running number, not 'three'")
    ]


def test_the_same_files_again_change_nothing(book, tmp_path):
    fill(book, tmp_path)
    session, entered, balls = fill(book, tmp_path)
    assert (entered.new, entered.changed, balls.new, balls.changed) == (0, 0, 0, 0)
    assert len(read.throws(book, session=session)) == 2


def test_times_are_kept_in_utc_where_the_zone_is_known(book, tmp_path):
    session, *_ = fill(book, tmp_path)
    assert read.throws(book, session=session)["time"].iloc[0] == "2026-05-01T15:00:00+00:00"


def test_a_side_toward_a_base_becomes_ours_once_the_link_tells_the_hand(book, tmp_path):
    session = fill_confirmed(book, tmp_path)
    job.link_logbook(book, session)
    table = job.linked_table(book, session).set_index("throw")
    # Third base is a right-hander's arm side, and our break is positive to the glove side.
    assert list(table["horizontal_break_in"]) == [-10.0, -8.0]


def test_a_persons_word_on_a_clip_is_final(book, tmp_path):
    session, *_ = fill(book, tmp_path)
    clip = read.clips(book, session).set_index("name").loc["a.mp4", "sha256"]
    write.add_fact(book, "link confirmed", who="coach", session=session, clip=clip, throw=2)
    job.link_logbook(book, session)
    links = read.links(book, session)
    assert links.loc[links["clip"] == clip, ["throw", "state"]].to_numpy().tolist() == [[2, "linked"]]


def test_a_persons_word_on_a_release_asks_for_a_new_measuring(book, tmp_path):
    session, *_ = fill(book, tmp_path)
    clip = read.clips(book, session)["sha256"].iloc[0]
    before, _ = settings_for(book, session, clip)
    write.add_fact(book, "release set", who="coach", clip=clip, value={"frame_index": 41})
    after, edits = settings_for(book, session, clip)
    assert (before.release_frame, after.release_frame) == (None, 41.0)
    assert edits


def test_clips_that_share_a_name_are_told_apart():
    clips = pd.DataFrame(
        {"sha256": ["aaaabbbbcc", "ddddeeeeff", "0000111122"], "name": ["x.mp4"] * 2 + ["y.mp4"]}
    )
    assert list(job.clip_names(clips).values()) == ["x.mp4 (aaaabbbb)", "x.mp4 (ddddeeee)", "y.mp4"]


def test_the_report_and_the_export_hold_every_throw(book, tmp_path):
    session = fill_confirmed(book, tmp_path)
    page = write_session_report(book, session, tmp_path / "out", metric=True).read_text(encoding="utf-8")
    assert "long arm" in page
    assert "km/h" in page or "cm" in page
    assert "2 throws with palm and spin; 4 are needed" in page
    assert len(pd.read_csv(tmp_path / "out" / "look.csv")) == 2
    assert export_logbook(book, session, tmp_path / "export")
    assert (
        len(pd.read_csv(tmp_path / "export" / "throws.csv")) == len(session_throws(book, session).rows) == 2
    )


def test_the_report_reads_cues_in_the_facilitys_words_and_the_table_beside_it_keeps_them_as_said(
    book, tmp_path
):
    session, *_ = fill(book, tmp_path)
    write_rename(tmp_path / "words.toml", of="cue", old="long arm", new="reach back")
    words = read_words(tmp_path / "words.toml")
    page = write_session_report(book, session, tmp_path / "out", words=words).read_text(encoding="utf-8")
    assert "reach back" in page
    assert "long arm" not in page
    assert "long arm" in set(pd.read_csv(tmp_path / "out" / "throws.csv")["cue"])


@pytest.mark.parametrize(("slowdown", "mph"), [(1.0, 80.0), (8.0, 640.0), (None, None)])
def test_the_ball_as_a_clip_shows_it_is_put_to_the_links_in_true_time(book, tmp_path, slowdown, mph):
    session, *_ = fill(book, tmp_path)
    clip = read.clips(book, session)["sha256"].iloc[0]
    seen = measured(clip, models="which saw the ball fly")
    base = replace(seen.time_base, slowdown=slowdown, ball_m_s=80 * 0.44704, ball_sd_m_s=4 * 0.44704)
    write.save_measurement(book, replace(seen, time_base=base))
    table = job._clips_to_link(book, session).set_index("sha256")
    known = table.loc[clip, ["speed_mph", "speed_sd_mph"]].tolist()
    assert known == pytest.approx([np.nan, np.nan] if mph is None else [mph, mph / 20], nan_ok=True)
    assert table["speed_mph"].drop(clip).isna().all()
