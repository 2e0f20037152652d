"""kill -9 at random moments: afterwards everything is there exactly once, and the run goes on."""

import random
import shutil
import time

import pytest

from release.record import read, write
from release.record.read_verify import faults
from release.record.write_backup import backup, restore
from release.record.write_clips import add_clips
from release.record.write_forget import forget
from release.record.write_merge import merge
from release.record.write_open import new_logbook, open_logbook
from tests.record.dying import killed
from tests.record.filled import fill, measured, rows
from tests.record.test_migrations import RELEASED, filled_with

CLIPS = 3


def whole(folder):
    """Open a logbook, check that nothing in it is wrong, and close it again; returns its rows."""
    book = open_logbook(folder)
    wrong = [fault.what for fault in faults(book) if not fault.harmless]
    found = rows(book)
    book.engine.dispose()
    assert wrong == []
    return found


def rest(book):
    book.engine.dispose()


class Working:
    """Takes clips in, enters a sheet, measures, links and decides; notes what a person was told."""

    def __init__(self, folder):
        self.folder = folder
        self.said = folder / "said.txt"
        rest(new_logbook(folder / "book"))

    def prepare(self, i):
        for k in range(CLIPS):
            (self.folder / f"{i}_{k}.mp4").write_bytes(f"{i} {k}".encode() * 20_000)

    def work(self, i):
        book = open_logbook(self.folder / "book")
        session = write.session_for(book, f"round {i}")
        paths = [self.folder / f"{i}_{k}.mp4" for k in range(CLIPS)]
        taken = [clip.sha256 for clip in add_clips(book, paths, session)]
        for clip in taken:
            write.save_measurement(book, measured(clip))
        fixed = {"throw": None, "flight": None, "probability": 1.0, "state": "alone", "why": ""}
        write.save_links(book, session, [{"clip": clip, **fixed} for clip in taken])
        for k, clip in enumerate(taken):
            write.add_fact(book, "clip accepted", who="coach", fact=f"{i} {k}", session=session, clip=clip)
            with self.said.open("a") as said:
                said.write(f"{i} {k}\n")
        rest(book)

    def check(self, i):
        found = whole(self.folder / "book")
        book = open_logbook(self.folder / "book")
        kept = [fact["fact"] for fact in read.facts(book)]
        rest(book)
        assert len(kept) == len(set(kept))
        assert set(self.said.read_text().split("\n")) - {""} <= set(kept) if self.said.exists() else True
        done = i * CLIPS
        for name in ("clips", "measurements", "facts", "links"):
            assert done <= len(found[name]) <= done + CLIPS, name
        assert i <= len(found["sessions"]) <= i + 1

    def finished(self, i):
        found = whole(self.folder / "book")
        done = (i + 1) * CLIPS
        assert [len(found[name]) for name in ("clips", "measurements", "facts", "links")] == [done] * 4


class Migrating:
    """Opens a filled logbook of an earlier version."""

    def __init__(self, folder):
        self.folder = folder
        self.version = sorted(RELEASED)[0]
        book = open_logbook(filled_with(RELEASED[self.version], folder / "wanted"))
        self.wanted = rows(book)
        rest(book)

    def prepare(self, i):
        shutil.rmtree(self.folder / "book", ignore_errors=True)
        filled_with(RELEASED[self.version], self.folder / "book")

    def work(self, i):
        rest(open_logbook(self.folder / "book"))

    def check(self, i):
        for copy in (self.folder / "book" / "backups").glob("*.sqlite"):
            assert copy.read_bytes().startswith(b"SQLite format 3")

    def finished(self, i):
        book = open_logbook(self.folder / "book")
        assert rows(book) == self.wanted
        rest(book)


class Merging:
    """Brings another laptop's logbook in."""

    def __init__(self, folder):
        self.folder = folder
        (folder / "in").mkdir()
        rest(new_logbook(folder / "book"))

    def prepare(self, i):
        other = new_logbook(self.folder / f"other{i}")
        fill(other, self.folder / "in", name=f"round {i}", athletes=(f"P{i}",))
        rest(other)

    def work(self, i):
        ours, theirs = open_logbook(self.folder / "book"), open_logbook(self.folder / f"other{i}")
        merge(ours, theirs, who="coach")
        rest(ours)
        rest(theirs)

    def check(self, i):
        found = whole(self.folder / "book")
        assert (len(found["clips"]), len(found["throws"])) in ((3 * i, 3 * i), (3 * i + 3, 3 * i + 3))

    def finished(self, i):
        found = whole(self.folder / "book")
        assert [len(found[name]) for name in ("clips", "throws", "flights", "athletes")] == [
            *([3 * i + 3] * 3),
            i + 1,
        ]


class Forgetting:
    """Forgets one athlete of a shared session."""

    def __init__(self, folder):
        self.folder = folder
        (folder / "in").mkdir()

    def prepare(self, i):
        shutil.rmtree(self.folder / "book", ignore_errors=True)
        book = new_logbook(self.folder / "book")
        fill(book, self.folder / "in", athletes=("ZQ17", "B2"))
        rest(book)

    def work(self, i):
        book = open_logbook(self.folder / "book")
        forget(book, "ZQ17")
        rest(book)

    def check(self, i):
        book = open_logbook(self.folder / "book")
        kept = set(read.throws(book, athlete="B2")["throw"])
        rest(book)
        assert kept == {2, 4, 6}

    def finished(self, i):
        found = whole(self.folder / "book")
        assert [len(found[name]) for name in ("clips", "throws", "athletes")] == [3, 3, 1]
        told = b"".join(p.read_bytes() for p in (self.folder / "book").rglob("*") if p.is_file())
        assert b"ZQ17" not in told


class BackingUp:
    """Copies a logbook to a file; a copy that is there is whole."""

    def __init__(self, folder):
        self.folder = folder
        (folder / "in").mkdir()
        book = new_logbook(folder / "book")
        fill(book, folder / "in")
        rest(book)
        self.wanted = whole(folder / "book")["clips"]

    def prepare(self, i):
        (self.folder / "copy.zip").unlink(missing_ok=True)

    def work(self, i):
        if not (self.folder / "copy.zip").exists():
            book = open_logbook(self.folder / "book")
            backup(book, self.folder / "copy.zip")
            rest(book)

    def check(self, i):
        whole(self.folder / "book")
        if (self.folder / "copy.zip").exists():
            self.finished(i)

    def finished(self, i):
        shutil.rmtree(self.folder / "again", ignore_errors=True)
        book, wrong = restore(self.folder / "copy.zip", self.folder / "again")
        assert wrong == []
        assert rows(book)["clips"] == self.wanted
        rest(book)


def kill_at_random_moments(doing, seed, times):
    """Start the work and kill it, so many times; after each, look, run it to its end, and look again."""
    chance = random.Random(seed)
    doing.prepare(0)
    start = time.perf_counter()
    doing.work(0)
    takes_s = time.perf_counter() - start
    doing.finished(0)
    died = i = 0
    while died < times:
        i += 1
        doing.prepare(i)
        if killed(lambda i=i: doing.work(i), chance.uniform(0, takes_s)):
            takes_s *= 0.8  # it was done before: aim earlier
        else:
            died, takes_s = died + 1, takes_s * 1.1  # and up to the very end
        doing.check(i)
        doing.work(i)
        doing.finished(i)


EACH = [Working, Migrating, Merging, Forgetting, BackingUp]


@pytest.mark.system
@pytest.mark.parametrize("kind", EACH)
def test_twice_killed_and_nothing_is_lost_or_doubled(kind, tmp_path):
    kill_at_random_moments(kind(tmp_path), seed=1, times=2)


@pytest.mark.soak
@pytest.mark.parametrize("kind", EACH)
def test_killed_at_two_hundred_random_moments_and_nothing_is_lost_or_doubled(kind, tmp_path):
    kill_at_random_moments(kind(tmp_path), seed=2, times=200 // len(EACH))
