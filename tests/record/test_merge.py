"""Two laptops that were offline."""

import shutil

import pytest

from release.record import read, write
from release.record.conflicts import in_words
from release.record.read_session import session_table
from release.record.read_verify import faults
from release.record.write_backup import backup, restore
from release.record.write_clips import add_clips
from release.record.write_forget import forget
from release.record.write_merge import merge
from release.record.write_open import new_logbook
from tests.record.filled import fill, measured, rows


@pytest.fixture
def books(tmp_path):
    """Two empty logbooks, and a folder for clips."""
    (tmp_path / "in").mkdir()
    made = [new_logbook(tmp_path / name) for name in ("a", "b")]
    yield made
    for book in made:
        book.engine.dispose()


@pytest.fixture
def twins(tmp_path):
    """One filled logbook copied to a second laptop, from where both went on alone."""
    (tmp_path / "in").mkdir()
    first = new_logbook(tmp_path / "a")
    fill(first, tmp_path / "in")
    backup(first, tmp_path / "copy.zip")
    second, _ = restore(tmp_path / "copy.zip", tmp_path / "b")
    yield first, second
    first.engine.dispose()
    second.engine.dispose()


def add_on(book, folder, name):
    """One more clip, measured, with a decision and a note."""
    path = folder / f"{name}.mp4"
    path.write_bytes(name.encode() * 100)
    (taken,) = add_clips(book, [path], read.session_id(book, "barn"))
    write.save_measurement(book, measured(taken.sha256))
    write.add_fact(book, "clip accepted", who=name, clip=taken.sha256)
    write.add_note(book, name, who=name, kind="decision")
    return taken.sha256


def content(book):
    """All that is in a logbook but where it was copied to, and which machine wrote a conflict down."""
    tables = {name: found for name, found in rows(book).items() if name != "backups"}
    tables["facts"] = [row for row in tables["facts"] if "merge conflict" not in row]
    return tables


def files(book):
    return {p.name: p.read_bytes() for part in (book.clips, book.frames) for p in part.iterdir()}


def test_both_sides_hold_everything_once_and_again_changes_nothing(twins, tmp_path):
    ours, theirs = twins
    add_on(ours, tmp_path / "in", "ours")
    add_on(theirs, tmp_path / "in", "theirs")
    add_on(ours, tmp_path / "in", "both")
    add_on(theirs, tmp_path / "in", "both")
    merged = merge(ours, theirs, who="coach")
    assert {k: n for k, n in merged.new.items() if n} == {
        "clips": 1,
        "measurements": 1,
        "facts": 2,
        "notes": 2,
    }
    assert len(read.clips(ours)) == 9
    assert merged.conflicts == ()
    merge(theirs, ours, who="coach")
    assert content(ours) == content(theirs)
    assert files(ours) == files(theirs)
    before = rows(ours)
    again = merge(ours, theirs, who="coach")
    assert (sum(again.new.values()) - again.new["backups"], again.conflicts) == (0, ())
    assert {**rows(ours), "backups": []} == {**before, "backups": []}
    assert faults(ours) == faults(theirs) == []


def test_logbooks_that_never_met_are_united(books, tmp_path):
    ours, theirs = books
    fill(ours, tmp_path / "in", name="monday", athletes=("A1",))
    fill(theirs, tmp_path / "in", name="tuesday", athletes=("B2",))
    merge(ours, theirs, who="coach")
    assert sorted(session_table(ours)["athlete"]) == ["A1"] * 3 + ["B2"] * 3
    assert session_table(ours)["forearm_rotation_deg"].notna().all()
    assert faults(ours) == []


def test_a_session_begun_on_both_from_the_same_sheet_is_one(books, tmp_path):
    ours, theirs = books
    fill(ours, tmp_path / "in")
    fill(theirs, tmp_path / "in")
    merged = merge(ours, theirs, who="coach")
    assert merged.joined == ("barn",)
    assert (len(read.sessions(ours)), len(read.throws(ours)), len(read.clips(ours))) == (1, 6, 6)
    merge(theirs, ours, who="coach")
    assert len(session_table(theirs)) == 6


def test_sessions_of_one_name_that_share_nothing_are_kept_apart_and_named(books, tmp_path):
    ours, theirs = books
    fill(ours, tmp_path / "in", salt=" here")
    fill(theirs, tmp_path / "in", salt=" there")
    merged = merge(ours, theirs, who="coach")
    assert merged.apart == ("barn",)
    assert (len(read.sessions(ours)), len(read.throws(ours))) == (2, 12)


@pytest.mark.parametrize(
    ("kind", "here", "there", "words"),
    [
        ("release set", {"frame_index": 31.0}, {"frame_index": 33.0}, "33.0"),
        ("time base set", {"capture_fps": 240}, {"capture_fps": 480}, "480"),
        (
            "landmark pinned",
            {"frame_index": 3, "point": "wrist", "x_px": 1, "y_px": 2},
            {"frame_index": 3, "point": "wrist", "x_px": 5, "y_px": 2},
            "wrist",
        ),
    ],
)
def test_two_decisions_on_one_clip_are_both_kept_and_shown(twins, kind, here, there, words):
    ours, theirs = twins
    clip = read.clips(ours)["sha256"][2]
    write.add_fact(ours, kind, who="Ann", clip=clip, value=here)
    write.add_fact(theirs, kind, who="Ben", clip=clip, value=there)
    (conflict,) = merge(ours, theirs, who="coach").conflicts
    assert all(word in in_words(conflict, read.session_names(ours)) for word in ("Ann", "Ben", words))
    held = [fact for fact in read.facts(ours, clip=clip) if fact["kind"] == kind]
    assert [(fact["who"], fact["value"]) for fact in held] == [("Ann", here), ("Ben", there)]
    assert merge(theirs, ours, who="coach").conflicts == ()  # it came along as a row
    shown = [f["value"]["table"] for f in read.facts(theirs, clip=clip) if f["kind"] == "merge conflict"]
    assert shown == ["facts"]


def test_what_one_side_decided_knowing_the_other_is_no_conflict(twins):
    ours, theirs = twins
    clip = read.clips(ours)["sha256"][2]
    write.add_fact(ours, "clip accepted", who="Ann", clip=clip)
    merge(theirs, ours, who="coach")
    write.add_fact(theirs, "clip rejected", who="Ben", clip=clip, value={"why": "blurred"})
    assert merge(ours, theirs, who="coach").conflicts == ()


def test_accepting_and_rejecting_tagging_and_linking_apart_are_conflicts(twins):
    ours, theirs = twins
    session = read.session_id(ours, "barn")
    clips = list(read.clips(ours)["sha256"])
    write.add_fact(ours, "clip accepted", who="Ann", clip=clips[1])
    write.add_fact(theirs, "clip rejected", who="Ben", clip=clips[1], value={"why": "blurred"})
    write.add_fact(ours, "throw tagged", who="Ann", session=session, throw=3, value={"cue": "a", "ball": "x"})
    write.add_fact(
        theirs, "throw tagged", who="Ben", session=session, throw=3, value={"cue": "b", "ball": "x"}
    )
    write.add_fact(ours, "link confirmed", who="Ann", session=session, clip=clips[3], throw=4)
    write.add_fact(theirs, "link confirmed", who="Ben", session=session, clip=clips[3], throw=5)
    write.add_fact(ours, "link confirmed", who="Ann", session=session, clip=clips[4], throw=5)
    write.add_fact(theirs, "marked extra", who="Ben", session=session, clip=clips[4])
    found = merge(ours, theirs, who="coach").conflicts
    assert sorted(conflict["key"][0].split(" ")[0] for conflict in found) == ["clip", "throw", "what", "what"]


def test_the_same_row_filled_differently_keeps_ours_and_shows_both_and_blanks_are_filled(twins):
    ours, theirs = twins
    write.set_athlete(ours, "A1", keep_until="2027-01-01")
    write.set_athlete(theirs, "A1", keep_until="2028-01-01", consent_day="2026-01-02")
    (conflict,) = merge(ours, theirs, who="coach").conflicts
    assert (conflict["ours"], conflict["theirs"]) == (
        {"keep_until": "2027-01-01"},
        {"keep_until": "2028-01-01"},
    )
    row = read.roster(ours).set_index("athlete").loc["A1"]
    assert (row["keep_until"], row["consent_day"]) == ("2027-01-01", "2026-01-02")
    assert merge(ours, theirs, who="coach").conflicts == ()


def test_two_names_for_one_code_are_shown_and_stay_in_the_table_of_names(twins):
    ours, theirs = twins
    write.set_athlete(theirs, "A1", name="Somebody Else")
    (conflict,) = merge(ours, theirs, who="coach").conflicts
    assert "another name" in in_words(conflict, read.session_names(ours))
    assert "Somebody" not in str(read.facts(ours))
    assert read.roster(ours, names=True)["name"][0] == "Name of A1 / Somebody Else"
    assert merge(ours, theirs, who="coach").conflicts == ()


def test_an_undoing_on_either_side_holds_on_both(twins):
    ours, theirs = twins
    fact = next(f["fact"] for f in read.facts(ours) if f["kind"] == "release set")
    write.add_fact(theirs, "undone", who="Ben", undoes=fact)
    merge(ours, theirs, who="coach")
    assert "release set" not in {f["kind"] for f in read.facts(ours)}


def test_a_clip_measured_there_and_waiting_here_is_measured(twins, tmp_path):
    ours, theirs = twins
    path = tmp_path / "in" / "new.mp4"
    path.write_bytes(b"new" * 9)
    (taken,) = add_clips(ours, [path], read.session_id(ours, "barn"))
    list(add_clips(theirs, [path], read.session_id(theirs, "barn")))
    write.save_measurement(theirs, measured(taken.sha256))
    merge(ours, theirs, who="coach")
    assert read.measurement(ours, taken.sha256)["figures"]


def test_of_two_measurements_the_later_one_is_in_force_on_both_sides(twins):
    ours, theirs = twins
    clip = read.clips(ours)["sha256"][0]
    write.save_measurement(theirs, measured(clip, models="newer"))
    merge(ours, theirs, who="coach")
    merge(theirs, ours, who="coach")
    assert [read.measurement(book, clip)["models_sha256"] for book in (ours, theirs)] == ["newer"] * 2


def test_sessions_linked_differently_are_named_to_be_linked_again(twins):
    ours, theirs = twins
    write.save_links(theirs, read.session_id(theirs, "barn"), [])
    assert merge(ours, theirs, who="coach").link_again == ()  # none there is no answer
    clip = read.clips(theirs)["sha256"][0]
    link = {"clip": clip, "throw": 6, "flight": None, "probability": 0.5, "state": "asked", "why": "time"}
    write.save_links(theirs, read.session_id(theirs, "barn"), [link])
    assert merge(ours, theirs, who="coach").link_again == ("barn",)


@pytest.mark.parametrize("how", ["gone", "changed"])
def test_a_clip_that_is_not_whole_there_is_named(twins, tmp_path, how):
    ours, theirs = twins
    path = theirs.clips / f"{add_on(theirs, tmp_path / 'in', 'theirs')}.mp4"
    path.unlink() if how == "gone" else path.write_bytes(b"x")
    assert merge(ours, theirs, who="coach").damaged == ("theirs.mp4",)
    (fault,) = faults(ours)
    assert "theirs.mp4" in fault.what


def test_a_clip_that_is_damaged_here_comes_whole_from_there(twins):
    ours, theirs = twins
    next(ours.clips.iterdir()).unlink()
    merge(ours, theirs, who="coach")
    assert faults(ours) == []


def test_what_was_forgotten_here_does_not_come_back(twins, tmp_path):
    ours, theirs = twins
    clip = add_on(theirs, tmp_path / "in", "later")
    session = read.session_id(theirs, "barn")
    write.add_fact(theirs, "link confirmed", who="Ben", session=session, clip=clip, throw=1)
    forget(ours, "A1")
    merged = merge(ours, theirs, who="coach")
    assert merged.left_out > 10
    ours.engine.dispose()
    told = b"".join(path.read_bytes() for path in ours.folder.rglob("*") if path.is_file())
    assert b"A1" not in told
    assert clip.encode() not in told
    assert faults(ours) == []


def test_what_was_forgotten_there_is_named_here_and_comes_back_only_if_entered_again(twins):
    ours, theirs = twins
    forget(theirs, "A1")
    assert merge(ours, theirs, who="coach").forgotten_there == ("A1",)
    assert len(read.throws(ours, athlete="A1")) == 3
    write.set_athlete(theirs, "A1")
    merge(theirs, ours, who="coach")
    assert len(read.throws(theirs, athlete="A1")) == 3


def test_the_other_logbook_is_left_as_it_was(twins):
    ours, theirs = twins
    theirs.engine.dispose()
    before = {p: p.read_bytes() for p in theirs.folder.rglob("*") if p.is_file()}
    merge(ours, theirs, who="coach")
    theirs.engine.dispose()
    assert {p: p.read_bytes() for p in theirs.folder.rglob("*") if p.is_file()} == before
    shutil.rmtree(theirs.folder)
