"""The roster, what is due, and forgetting an athlete."""

import sqlite3
from datetime import date

import pandas as pd
import pytest

from release.errors import NoSuchAthlete
from release.record import read, write
from release.record.read_roster import due, read_roster
from release.record.read_session import session_table
from release.record.read_traces import traces
from release.record.read_verify import faults
from release.record.write_backup import backup, restore
from release.record.write_clips import add_clips
from release.record.write_forget import forget, what_is_known
from release.record.write_open import new_logbook, reading
from release.study_export import export_logbook
from tests.record.filled import fill, measured, rows

CODE, NAME = "ZQ17", "Quirina Zapfl"


@pytest.fixture
def shared(logbook, tmp_path):
    """A session that ZQ17 shares with B2, one of ZQ17's alone, and one of B2's alone."""
    (tmp_path / "in").mkdir()
    fill(logbook, tmp_path / "in", name="shared", athletes=(CODE, "B2"))
    fill(logbook, tmp_path / "in", name=f"{CODE}_alone", athletes=(CODE,))
    fill(logbook, tmp_path / "in", name="other", athletes=("B2",))
    write.set_athlete(logbook, CODE, name=NAME)
    return logbook


def roster_file(folder, text):
    path = folder / "roster.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_roster_is_entered_and_an_empty_cell_leaves_what_is_there(logbook, tmp_path):
    heading = "athlete,age_band,consent,consent_day,keep_until,name\n"
    first = roster_file(tmp_path, heading + "ZQ17,13 to 15,guardian,2026-03-01,2027-08-31,Quirina Zapfl\n")
    write.set_athletes(logbook, read_roster(first).rows)
    write.set_athletes(logbook, read_roster(roster_file(tmp_path, heading + "ZQ17,16 to 17,,,,\n")).rows)
    (row,) = read.roster(logbook, names=True).to_dict("records")
    assert (row["age_band"], row["consent"], row["keep_until"]) == ("16 to 17", "guardian", "2027-08-31")
    assert row["name"] == NAME


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("A1,15,guardian,,,", "is none of under 13"),
        ("A1,13 to 15,own,,,", "takes a guardian's consent"),
        ("A1,13 to 15,maybe,,,", "is none of guardian"),
        ("A1,,,,31.8.2027,", "is not a day"),
        ("A1,,,,2027-02-30,", "is not a day"),
        (",,,,,Somebody", "is empty"),
    ],
)
def test_a_row_that_cannot_be_meant_is_set_aside_with_its_number(tmp_path, row, why):
    text = f"athlete,age_band,consent,consent_day,keep_until,name\nB2,,,,,\n{row}\n"
    found = read_roster(roster_file(tmp_path, text))
    assert list(found.rows["athlete"]) == ["B2"]
    assert [(aside.row, why in aside.why) for aside in found.set_aside] == [(3, True)]


def test_names_stand_in_no_table_that_leaves_the_logbook(shared):
    frames = (session_table(shared), read.throws(shared), read.flights(shared, "x"), read.roster(shared))
    text = "".join(frame.to_csv() for frame in frames) + str(read.facts(shared)) + read.clips(shared).to_csv()
    assert CODE in text
    assert NAME not in text


def test_the_clips_of_an_athlete_are_due_from_their_day_on_also_those_known_only_by_link(shared):
    write.set_athlete(shared, CODE, keep_until="2027-08-31")
    assert len(due(shared, date(2027, 8, 30))) == 0
    found = due(shared, date(2027, 8, 31))
    assert list(found["athlete"].unique()) == [CODE]
    assert sorted(found["session_name"]) == [f"{CODE}_alone"] * 3 + ["shared"] * 3
    assert len(read.clips(shared)) == 12  # proposed, not deleted


def bytes_of(folder):
    return b"\n".join(
        str(path).encode() + path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    )


def test_after_forgetting_no_byte_of_the_folder_tells_of_the_athlete(shared, tmp_path):
    (shared.folder / "backups" / "before-0002.sqlite").write_bytes(f"{CODE} {NAME}".encode())
    with reading(shared) as connection:
        found = traces(connection, CODE)
        keys = [read.measurement(shared, clip)["measurement"] for clip in found.clips]
    gone = [CODE, NAME, *found.clips, *found.facts, *found.notes, *keys, f"clip shared 1: {CODE}"]
    before = bytes_of(shared.folder)
    assert [word for word in gone if word.encode() not in before] == []
    forget(shared, CODE)
    shared.engine.dispose()
    after = bytes_of(shared.folder)
    assert [word for word in gone if word.encode() in after] == []
    assert faults(shared) == []


def test_pages_that_another_program_left_behind_are_cleaned_too(shared):
    shared.engine.dispose()
    careless = sqlite3.connect(shared.database_file)
    careless.execute("PRAGMA secure_delete = OFF")
    careless.execute(
        "INSERT INTO notes VALUES ('n', 'x', 'x', 'decision', NULL, NULL, NULL, ?)", (NAME * 500,)
    )
    careless.commit()
    careless.execute("DELETE FROM notes WHERE note = 'n'")
    careless.commit()
    careless.close()
    write.set_athlete(shared, CODE, name="renamed")
    assert NAME.encode() in bytes_of(shared.folder)
    forget(shared, CODE)
    assert NAME.encode() not in bytes_of(shared.folder)


def test_a_note_on_a_throw_goes_with_it_and_a_note_on_the_session_stays(shared):
    session = read.session_id(shared, "shared")
    write.add_note(shared, "elbow low", who="coach", kind="decision", session=session, throw=1)
    write.add_note(shared, "windy", who="coach", kind="decision", session=session)
    forget(shared, CODE)
    texts = " ".join(rows(shared)["notes"])
    assert "elbow low" not in texts
    assert "windy" in texts


def test_a_clip_that_is_forgotten_while_it_is_measured_leaves_no_picture(shared):
    with reading(shared) as connection:
        clip = next(iter(traces(connection, CODE).clips))
    forget(shared, CODE)
    write.save_measurement(shared, measured(clip, models="newer"))
    assert len(list(shared.frames.iterdir())) == 6
    assert faults(shared) == []


def test_what_others_threw_is_as_it_was(shared, tmp_path):
    alone = new_logbook(tmp_path / "alone")
    before = session_table(shared)
    forget(shared, CODE)
    after = session_table(shared)
    kept = before[before["athlete"] == "B2"].reset_index(drop=True)
    pd.testing.assert_frame_equal(after, kept, check_dtype=False)
    assert set(rows(shared)["athletes"]) == {"['B2', 'R', '18 or over', 'own', None, None]"}
    alone.engine.dispose()


def test_forgetting_is_told_first_and_a_stranger_is_an_error(shared):
    known = what_is_known(shared, CODE)
    assert (known.throws, known.clips, known.sessions) == (6, 6, 1)
    with pytest.raises(NoSuchAthlete, match="ZZ"):
        forget(shared, "ZZ")


def test_a_clip_of_a_shared_session_that_no_link_gives_to_anybody_is_kept_and_named(shared, tmp_path):
    (tmp_path / "loose.mp4").write_bytes(b"who is it")
    list(add_clips(shared, [tmp_path / "loose.mp4"], read.session_id(shared, "shared")))
    gone = forget(shared, CODE)
    assert gone.unsure == ("loose.mp4",)
    assert "loose.mp4" in set(read.clips(shared)["name"])


def test_a_clip_that_a_person_linked_goes_with_its_throw(shared, tmp_path):
    session = read.session_id(shared, "shared")
    (tmp_path / "second.mp4").write_bytes(b"second camera")
    (taken,) = add_clips(shared, [tmp_path / "second.mp4"], session, camera="B")
    write.add_fact(shared, "link confirmed", who="coach", session=session, clip=taken.sha256, throw=1)
    forget(shared, CODE)
    assert taken.sha256 not in set(read.clips(shared)["sha256"])


def test_a_run_that_was_cut_off_after_the_files_is_finished_by_the_next(shared):
    for path in shared.clips.iterdir():
        if CODE.encode() in path.read_bytes():
            path.unlink()
    forget(shared, CODE)
    assert faults(shared) == []
    forget(shared, CODE)  # and once more, were it cut off before the pages were cleaned


def test_backups_out_of_reach_are_named_and_those_within_are_gone(shared, tmp_path):
    backup(shared, tmp_path / "stick.zip")
    backup(shared, shared.folder / "backups" / "inside.zip")
    gone = forget(shared, CODE)
    assert len(gone.copies) == 1
    assert str(tmp_path / "stick.zip") in gone.copies[0]
    assert not (shared.folder / "backups" / "inside.zip").exists()
    old, wrong = restore(tmp_path / "stick.zip", tmp_path / "old")
    assert wrong == []
    assert CODE in set(read.roster(old)["athlete"])  # why it is named
    old.engine.dispose()


def test_texts_of_others_that_name_the_athlete_are_named_not_changed(shared):
    note = write.add_note(shared, f"looked at {NAME}'s clip", who="coach", kind="decision", athlete="B2")
    assert forget(shared, CODE).mentioned == (f"notes text {note}",)


def test_the_picture_of_a_forgotten_athlete_is_in_no_frame(shared):
    before = {path.name for path in shared.frames.iterdir()}
    forget(shared, CODE)
    left = {path.name for path in shared.frames.iterdir()}
    assert (len(before), len(left)) == (12, 6)


def test_an_export_tells_codes_and_no_name(shared, tmp_path):
    export_logbook(shared, read.session_id(shared, "shared"), tmp_path / "out")
    told = bytes_of(tmp_path / "out")
    assert CODE.encode() in told
    assert NAME.encode() not in told
