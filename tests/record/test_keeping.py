"""Backup, restore and verify."""

import itertools
import os
import signal
import sqlite3
import time
import zipfile

import pytest

from release.errors import NotABackup, NotALogbook, OutputUnwritable
from release.record import read, write
from release.record.read_verify import faults
from release.record.write_backup import backup, restore
from release.record.write_clips import add_clips
from release.record.write_open import open_logbook
from tests.record.filled import rows


def test_a_logbook_as_the_tool_writes_it_has_no_fault(filled):
    assert faults(filled) == []


def spoil(path, how):
    content = bytearray(path.read_bytes())
    if how == "gone":
        path.unlink()
    elif how == "one bit flipped":
        content[len(content) // 2] ^= 1
        path.write_bytes(content)
    else:
        path.write_bytes(content[: len(content) // 2])


@pytest.mark.parametrize("how", ["gone", "one bit flipped", "cut off"])
def test_a_spoilt_clip_is_named_with_the_way_to_mend_it_and_that_way_works(filled, tmp_path, how):
    name = "barn_3.mp4"
    clips = read.clips(filled).set_index("name")
    path = filled.clips / f"{clips.loc[name, 'sha256']}.mp4"
    spoil(path, how)
    (fault,) = faults(filled)
    assert name in fault.what
    assert "release add" in fault.mend
    path.unlink(missing_ok=True)
    (taken,) = add_clips(filled, [tmp_path / name], clips.loc[name, "session"])
    assert taken.why_not is None
    assert faults(filled) == []


@pytest.mark.parametrize("how", ["gone", "cut off"])
def test_a_spoilt_release_frame_is_named(filled, how):
    spoil(next(filled.frames.iterdir()), how)
    (fault,) = faults(filled)
    assert "release frame" in fault.what
    assert "release measure" in fault.mend


def test_leftovers_of_a_killed_step_are_named_as_harmless(filled):
    (filled.clips / ".part-x").touch()
    (filled.frames / ".part-y").touch()
    assert [fault.harmless for fault in faults(filled)] == [True, True]


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("DELETE FROM measurements WHERE clip IN (SELECT clip FROM measurements LIMIT 1)", "measurement"),
        ("UPDATE measurements SET models_sha256 = 'x' WHERE rowid = 1", "not what its name says"),
        ("UPDATE facts SET undoes = 'nothing' WHERE undoes IS NOT NULL", "takes back nothing"),
        ("UPDATE facts SET throw = 99 WHERE throw = 2", "throw 99"),
        ("DELETE FROM sessions", "not there"),
    ],
)
def test_a_reference_to_what_is_not_there_is_named(filled, statement, words):
    filled.engine.dispose()
    connection = sqlite3.connect(filled.database_file)  # without the keys that the tool switches on
    connection.execute(statement)
    connection.commit()
    connection.close()
    assert words in " ".join(fault.what for fault in faults(filled))


def test_a_damaged_database_is_told_not_raised(filled):
    filled.engine.dispose()
    size = filled.database_file.stat().st_size
    with filled.database_file.open("r+b") as file:
        file.seek(size // 2)
        file.write(b"\xff" * 8192)
    assert "damaged" in faults(filled)[0].what


def test_what_is_restored_is_what_was_there(filled, tmp_path):
    made = backup(filled, tmp_path / "copy.zip")
    assert (made.clips, made.missing, made.noted) == (6, (), True)
    wanted = rows(filled)
    book, wrong = restore(tmp_path / "copy.zip", tmp_path / "again")
    assert wrong == []
    assert rows(book) == {**wanted, "backups": []}  # written down after the copy was made
    for part in ("clips", "frames"):
        assert {p.name: p.read_bytes() for p in (tmp_path / "again" / part).iterdir()} == {
            p.name: p.read_bytes() for p in (tmp_path / "book" / part).iterdir()
        }
    book.engine.dispose()


def go_on_writing(folder):
    """Clips and decisions, numbered, until killed."""
    book = open_logbook(folder / "book")
    session = read.session_id(book)
    for n in itertools.count():
        path = folder / f"more_{n}.mp4"
        path.write_bytes(f"more {n}".encode() * 1000)
        (taken,) = add_clips(book, [path], session)
        write.add_fact(book, "clip accepted", who="coach", clip=taken.sha256, value={"n": n})


def test_copies_made_while_another_process_writes_are_whole(filled, tmp_path):
    writer = os.fork()
    if writer == 0:
        try:
            go_on_writing(tmp_path)
        finally:
            os._exit(1)
    try:
        for i in range(5):
            while not (tmp_path / f"more_{20 * i}.mp4").exists():
                time.sleep(0.01)
            made = backup(filled, tmp_path / f"copy{i}.zip")
            assert made.missing == ()
    finally:
        os.kill(writer, signal.SIGKILL)
        os.waitpid(writer, 0)
    for i in range(5):
        book, wrong = restore(tmp_path / f"copy{i}.zip", tmp_path / f"again{i}")
        assert wrong == []
        accepted = [fact for fact in read.facts(book) if fact["kind"] == "clip accepted"]
        # One moment of the logbook: all that was written before it, in order, and nothing after it.
        assert [fact["value"]["n"] for fact in accepted] == list(range(len(accepted)))
        names = set(read.clips(book)["name"])
        assert len(accepted) <= sum(name.startswith("more_") for name in names) <= len(accepted) + 1
        assert len(accepted) >= 20 * i
        book.engine.dispose()


def test_what_was_missing_when_the_copy_was_made_is_told_then_and_after_restoring(filled, tmp_path):
    gone, changed, *_ = sorted(filled.clips.iterdir())
    gone.unlink()
    changed.write_bytes(b"other")
    made = backup(filled, tmp_path / "copy.zip")
    assert [gone.name in made.missing[0], changed.name in made.missing[1]] == [True, True]
    book, wrong = restore(tmp_path / "copy.zip", tmp_path / "again")
    assert {gone.name in fault.what or changed.name in fault.what for fault in wrong} == {True}
    book.engine.dispose()


@pytest.mark.parametrize("part", [0.1, 0.5, 0.9, 0.999])
def test_a_cut_off_or_altered_copy_is_refused_and_leaves_nothing(filled, tmp_path, part):
    file = tmp_path / "copy.zip"
    backup(filled, file)
    content = file.read_bytes()
    file.write_bytes(content[: int(len(content) * part)])
    with pytest.raises(NotABackup):
        restore(file, tmp_path / "again")
    altered = bytearray(content)
    altered[int(len(content) * min(part, 0.5))] ^= 1
    file.write_bytes(altered)
    with pytest.raises(NotABackup):
        restore(file, tmp_path / "again")
    assert not (tmp_path / "again").exists()
    assert not list(tmp_path.glob(".part*"))


def test_a_copy_in_which_a_clip_was_exchanged_is_refused(filled, tmp_path):
    backup(filled, tmp_path / "copy.zip")
    with zipfile.ZipFile(tmp_path / "copy.zip") as packed, zipfile.ZipFile(tmp_path / "x.zip", "w") as other:
        clip = next(name for name in packed.namelist() if name.startswith("clips/"))
        for name in packed.namelist():
            other.writestr(name, b"other" if name == clip else packed.read(name))
    with pytest.raises(NotABackup, match="has changed"):
        restore(tmp_path / "x.zip", tmp_path / "again")


def test_a_zip_that_names_a_path_outside_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as packed:
        packed.writestr("contents.json", '{"sha256": {"logbook.sqlite": "0", "../clips/x.mp4": "0"}}')
    with pytest.raises(NotABackup, match="no logbook holds"):
        restore(tmp_path / "bad.zip", tmp_path / "again")


def test_nothing_that_is_there_is_written_over(filled, tmp_path):
    (tmp_path / "copy.zip").touch()
    with pytest.raises(OutputUnwritable, match="already"):
        backup(filled, tmp_path / "copy.zip")
    (tmp_path / "copy.zip").unlink()
    backup(filled, tmp_path / "copy.zip")
    with pytest.raises(NotALogbook, match="already"):
        restore(tmp_path / "copy.zip", filled.folder)
