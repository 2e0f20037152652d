"""Full disks, disks that cannot be written, folders that are unplugged, clocks that jump."""

import contextlib
import os
import resource
import shutil
import signal
import subprocess
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from release.errors import (
    DiskFull,
    LogbookBusy,
    LogbookReadOnly,
    LogbookUnreachable,
    NotALogbook,
    ReleaseError,
)
from release.record import read, write, write_open
from release.record.read_session import session_table
from release.record.read_verify import faults
from release.record.write_backup import backup
from release.record.write_clips import add_clips
from release.record.write_open import new_logbook, open_logbook, reading, writing
from tests.record.dying import in_child, without_rights
from tests.record.filled import measured, rows
from tests.record.test_migrations import RELEASED, filled_with


@pytest.fixture
def public():
    """A folder that everybody may enter, unlike pytest's own."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755)
    shutil.rmtree(folder)


def lock(folder):
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)


def attempts(folder, spare):
    """What a reader and each writer meet."""

    def trying(work):
        try:
            return work()
        except ReleaseError as error:
            return type(error)

    def decide(book):
        write.add_fact(book, "clip accepted", who="coach", clip=read.clips(book)["sha256"][0])

    def take_in(book):
        return list(add_clips(book, [spare], read.session_id(book)))

    book = open_logbook(folder)
    table = session_table(book)
    answers = {
        "read": len(table),
        "verify": len(faults(book)),
        "decide": trying(lambda: decide(book)),
        "take in": trying(lambda: take_in(book)),
        "measure": trying(lambda: write.save_measurement(book, measured(table["clip"][0], models="other"))),
    }
    book.engine.dispose()
    return answers


def test_a_logbook_that_cannot_be_written_is_read_and_every_writer_is_told_so(filled, public, tmp_path):
    filled.engine.dispose()
    (public / "spare.mp4").write_bytes(b"spare")
    shutil.copytree(filled.folder, public / "book")
    attempts(filled.folder, public / "spare.mp4")  # all that is imported on the way is so now
    lock(public / "book")
    answers = in_child(lambda: attempts(public / "book", public / "spare.mp4"), without_rights)
    writers = dict.fromkeys(("decide", "take in", "measure"), LogbookReadOnly)
    assert answers == {"read": 6, "verify": 0, **writers}


def test_a_logbook_that_cannot_be_written_is_copied_all_the_same(filled, public):
    filled.engine.dispose()
    shutil.copytree(filled.folder, public / "book")
    (public / "out").mkdir()
    (public / "out").chmod(0o777)
    lock(public / "book")

    def copy():
        made = backup(open_logbook(public / "book"), public / "out" / "copy.zip")
        return made.clips, made.noted

    assert in_child(copy, without_rights) == (6, False)


def test_an_earlier_logbook_that_cannot_be_written_is_left_as_it_is(public):
    version = sorted(RELEASED)[0]
    folder = filled_with(RELEASED[version], public / "book")
    before = (folder / "logbook.sqlite").read_bytes()
    lock(folder)

    def opened():
        try:
            open_logbook(folder)
        except ReleaseError as error:
            return type(error)

    assert in_child(opened, without_rights) == LogbookReadOnly
    assert (folder / "logbook.sqlite").read_bytes() == before


def no_file_beyond(n_bytes):
    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, n_bytes))

    return limit


def test_a_clip_that_the_disk_does_not_take_is_told_and_leaves_nothing(filled, tmp_path):
    filled.engine.dispose()
    before = rows(filled)
    filled.engine.dispose()
    (tmp_path / "big.mp4").write_bytes(b"x" * 3_000_000)

    def take_in():
        book = open_logbook(tmp_path / "book")
        try:
            return list(add_clips(book, [tmp_path / "big.mp4"], read.session_id(book)))
        except ReleaseError as error:
            return type(error)

    assert in_child(take_in, no_file_beyond(2_000_000)) == DiskFull
    assert rows(filled) == before
    assert faults(filled) == []


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 4 MB, and the means to make it larger."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "none", str(disk)]
    if os.geteuid() or subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("a small disk can be mounted by root only")
    yield disk, lambda: subprocess.run(["mount", "-o", "remount,size=32m", str(disk)], check=True)
    subprocess.run(["umount", "-l", str(disk)], check=True)


@pytest.mark.system
def test_on_a_full_disk_taking_in_stops_with_a_word_and_goes_on_when_there_is_room(small_disk, tmp_path):
    disk, enlarge = small_disk
    book = new_logbook(disk / "book")
    session = write.session_for(book, "barn")
    clips = [tmp_path / f"{i}.mp4" for i in range(12)]
    for i, path in enumerate(clips):
        path.write_bytes(bytes([i]) * 500_000)
    with pytest.raises(DiskFull, match="run the same command again"):
        list(add_clips(book, clips, session))
    taken = len(read.clips(book))
    assert 3 <= taken < 8
    assert faults(book) == []
    enlarge()
    again = list(add_clips(book, clips, session))
    assert [clip.new for clip in again] == [i >= taken for i in range(12)]
    assert faults(book) == []
    book.engine.dispose()


@pytest.mark.system
def test_a_decision_that_the_full_disk_does_not_take_is_told_and_those_before_are_kept(small_disk):
    disk, enlarge = small_disk
    book = new_logbook(disk / "book")
    session = write.session_for(book, "barn")
    (disk / "filler").write_bytes(b"x" * (shutil.disk_usage(disk).free - 200_000))
    kept = []

    def decide(i):
        value = {"cue": f"cue {i} " * 200}
        kept.append(write.add_fact(book, "throw tagged", who="coach", session=session, throw=i, value=value))

    with pytest.raises(DiskFull):
        list(map(decide, range(1000)))
    assert [fact["fact"] for fact in read.facts(book)] == kept
    assert faults(book) == []
    with pytest.raises(DiskFull):
        write_open.copy_database(book, disk / "copy.sqlite")
    assert not list(disk.glob("copy*"))
    enlarge()
    decide(1000)
    assert [fact["fact"] for fact in read.facts(book)] == kept
    book.engine.dispose()


@pytest.mark.parametrize("how", ["gone", "link to an unplugged disk"])
def test_without_its_clips_a_logbook_still_tells_its_figures_and_takes_nothing_in(filled, tmp_path, how):
    table = session_table(filled)
    filled.clips.rename(tmp_path / "elsewhere")
    if how != "gone":
        filled.clips.symlink_to(tmp_path / "unplugged", target_is_directory=True)
    filled.engine.dispose()
    book = open_logbook(filled.folder)
    assert session_table(book).equals(table)
    with pytest.raises(LogbookUnreachable, match="Plug in its disk"):
        list(add_clips(book, [tmp_path / "barn_1.mp4"], read.session_id(book)))
    (fault,) = faults(book)
    assert "plug in the disk" in fault.mend
    if how != "gone":
        book.clips.unlink()
    (tmp_path / "elsewhere").rename(book.clips)
    assert faults(book) == []
    book.engine.dispose()


def test_a_folder_that_is_gone_or_something_else_is_no_logbook(tmp_path):
    with pytest.raises(NotALogbook, match="release new"):
        open_logbook(tmp_path / "nowhere")
    (tmp_path / "notes.txt").write_text("hello")
    with pytest.raises(NotALogbook, match="other files"):
        new_logbook(tmp_path)


def test_making_a_logbook_that_was_cut_off_is_finished_by_the_next(tmp_path):
    (tmp_path / "book" / "clips").mkdir(parents=True)
    (tmp_path / "book" / ".part-1-logbook.toml").touch()
    book = new_logbook(tmp_path / "book")
    assert len(read.sessions(book)) == 0
    book.engine.dispose()


def test_many_writers_of_one_file_leave_one_of_their_contents_whole(tmp_path):
    contents = [bytes([n]) * 100_000 for n in range(8)]
    with ThreadPoolExecutor(len(contents)) as writers:
        list(writers.map(lambda content: write_open.write_whole(tmp_path / "file", content), contents * 20))
    assert (tmp_path / "file").read_bytes() in contents
    assert os.listdir(tmp_path) == ["file"]


def test_after_the_clock_has_jumped_back_the_later_decision_still_holds(filled, monkeypatch):
    clip = read.clips(filled)["sha256"][1]
    write.add_fact(filled, "clip accepted", who="coach", clip=clip)
    monkeypatch.setattr(write, "now_utc", lambda: "2001-01-01T00:00:00.000000+00:00")
    write.add_fact(filled, "clip rejected", who="coach", clip=clip, value={"why": "blurred"})
    kinds = [fact["kind"] for fact in read.facts(filled, clip=clip)]
    assert kinds == ["clip accepted", "clip rejected"]
    assert faults(filled) == []


def test_after_the_clock_has_jumped_back_a_new_measurement_is_in_force(filled, monkeypatch):
    clip = read.clips(filled)["sha256"][1]
    monkeypatch.setattr(write, "now_utc", lambda: "2001-01-01T00:00:00.000000+00:00")
    write.save_measurement(filled, measured(clip, models="newer"))
    assert read.measurement(filled, clip)["models_sha256"] == "newer"


def test_a_writer_that_waits_too_long_is_told_who_to_close(filled, monkeypatch):
    monkeypatch.setattr(write_open, "BUSY_S", 0.1)
    other = open_logbook(filled.folder)
    with writing(filled), pytest.raises(LogbookBusy, match="half a minute"):
        write.set_athlete(other, "A1", throws="L")
    write.set_athlete(other, "A1", throws="L")
    other.engine.dispose()


def test_a_thread_that_gets_no_connection_is_told_so_plainly(filled):
    filled.engine.pool._timeout = 0.05
    with contextlib.ExitStack() as held:
        for _ in range(15):  # as many as a program keeps open
            held.enter_context(reading(filled))
        with pytest.raises(LogbookBusy, match="in use"):
            read.sessions(filled)
    assert len(read.sessions(filled)) == 1
