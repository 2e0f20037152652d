"""A logbook on a real PostgreSQL server."""

import itertools
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from release.errors import DatabaseAddressUnusable, LogbookUnreachable, NotALogbook
from release.record import read, write
from release.record.read_session import session_table
from release.record.read_verify import faults
from release.record.write_backup import backup, restore
from release.record.write_forget import forget, what_is_known
from release.record.write_merge import merge
from release.record.write_open import new_logbook, open_logbook, reading, write_marker
from tests.record import server
from tests.record.filled import fill, rows

pytestmark = [
    pytest.mark.system,
    pytest.mark.skipif(server.binaries() is None, reason="PostgreSQL is not installed: see .ci/system"),
]
NUMBER = itertools.count()

WRITER = """
import sys
from pathlib import Path
from release.record import write
from release.record.write_clips import add_clips
from release.record.write_open import open_logbook
import pandas as pd
from tests.record.filled import measured
SHEET = pd.DataFrame({'throw': [1, 2, 3], 'athlete': ['A1', 'B2', 'A1']})
folder, source, who = map(Path, sys.argv[1:])
book = open_logbook(folder)
session = write.session_for(book, "shared")
for path in sorted(source.iterdir()):
    (taken,) = add_clips(book, [path], session)
    write.save_measurement(book, measured(taken.sha256))
    write.add_fact(book, "clip accepted", who=who.name, session=session, clip=taken.sha256)
    write.add_sheet(book, session, SHEET, sha256=f"sheet of {who.name}", name="sheet.csv")
    fixed = {"throw": None, "flight": None, "probability": 1.0, "state": "alone", "why": ""}
    write.save_links(book, session, [{"clip": taken.sha256, **fixed}])
"""

OPENER = """
import sys
from pathlib import Path
from release.record.write_open import open_logbook
open_logbook(Path(sys.argv[1]))
"""


@pytest.fixture(scope="module")
def address():
    with server.running() as new_database:
        yield lambda: new_database(f"logbook{next(NUMBER)}")


@pytest.fixture
def book(address, tmp_path):
    (tmp_path / "in").mkdir()
    made = new_logbook(tmp_path / "book", address())
    yield made
    made.engine.dispose()


@pytest.fixture
def plain(tmp_path):
    made = new_logbook(tmp_path / "plain")
    yield made
    made.engine.dispose()


def test_a_session_on_the_server_is_the_one_that_a_file_holds(book, plain, tmp_path):
    for each in (book, plain):
        fill(each, tmp_path / "in")
    tables = [session_table(each).drop(columns=["session"]) for each in (book, plain)]
    assert tables[0].to_csv() == tables[1].to_csv()
    assert not (book.folder / "logbook.sqlite").exists()
    assert faults(book) == []
    assert [read.session_counts(each)["measured"][0] for each in (book, plain)] == [6, 6]
    again = open_logbook(book.folder)
    assert rows(again) == rows(book)
    again.engine.dispose()


def test_every_step_run_twice_changes_nothing(book, tmp_path):
    fill(book, tmp_path / "in")
    first = {name: found for name, found in rows(book).items() if name not in ("facts", "notes")}
    fill(book, tmp_path / "in")
    assert {name: found for name, found in rows(book).items() if name in first} == first


def test_four_processes_that_write_at_once_lose_nothing_and_double_nothing(book, tmp_path):
    def write_apart(i):
        source = tmp_path / f"clips{i}"
        source.mkdir()
        for k in range(8):  # two clips of each are also the next one's
            (source / f"{k}.mp4").write_bytes(f"clip {(6 * i + k) % 24}".encode() * 99)
        command = [sys.executable, "-c", WRITER, str(book.folder), str(source), f"writer {i}"]
        return subprocess.run(command, check=False, capture_output=True, text=True)

    with ThreadPoolExecutor(4) as pool:
        ran = list(pool.map(write_apart, range(4)))
    assert [(run.returncode, run.stderr) for run in ran] == [(0, "")] * 4
    found = rows(book)
    counted = {name: len(found[name]) for name in ("sessions", "clips", "measurements", "facts", "links")}
    assert counted == {"sessions": 1, "clips": 24, "measurements": 24, "facts": 32, "links": 1}
    at = [fact["at"] for fact in read.facts(book)]
    assert len(set(at)) == 32  # one after the other, so that the newest is known
    assert faults(book) == []


def test_processes_that_open_a_new_logbook_at_once_make_its_tables_once(book, address, tmp_path):
    write_marker(book.folder, address())
    book.engine.dispose()
    started = [subprocess.Popen([sys.executable, "-c", OPENER, str(book.folder)]) for _ in range(3)]
    assert [process.wait() for process in started] == [0, 0, 0]


def test_a_reader_sees_one_moment_throughout(book, tmp_path):
    fill(book, tmp_path / "in")
    with reading(book) as connection:
        count = "SELECT count(*) FROM facts"
        before = connection.exec_driver_sql(count).scalar()
        write.add_fact(book, "target set", who="coach", athlete="A1", value={})
        assert connection.exec_driver_sql(count).scalar() == before


def test_a_backup_of_the_server_is_restored_to_a_file_and_to_another_database(book, address, tmp_path):
    fill(book, tmp_path / "in")
    wanted = rows(book)
    assert backup(book, tmp_path / "copy.zip").missing == ()
    for name, database in (("file", None), ("server", address())):
        again, wrong = restore(tmp_path / "copy.zip", tmp_path / name, database)
        assert wrong == []
        assert rows(again) == {**wanted, "backups": []}
        assert (tmp_path / name / "logbook.sqlite").exists() == (database is None)
        again.engine.dispose()


def test_a_database_that_holds_a_logbook_is_not_filled_again(book, tmp_path):
    fill(book, tmp_path / "in")
    backup(book, tmp_path / "copy.zip")
    held = str(book.engine.url.render_as_string(hide_password=False))
    with pytest.raises(NotALogbook, match="holds a logbook already"):
        restore(tmp_path / "copy.zip", tmp_path / "again", held)
    assert not (tmp_path / "again").exists()


def test_a_laptop_is_merged_into_the_server_and_back(book, plain, tmp_path):
    fill(book, tmp_path / "in", name="monday", athletes=("A1",))
    fill(plain, tmp_path / "in", name="tuesday", athletes=("B2",))
    merge(book, plain, who="coach")
    merge(plain, book, who="coach")
    assert rows(book) == rows(plain)
    assert sum(merge(book, plain, who="coach").new.values()) == 0


def test_a_forgotten_athlete_is_in_no_row_of_the_server(book, tmp_path):
    fill(book, tmp_path / "in", athletes=("ZQ17", "B2"))
    assert what_is_known(book, "ZQ17").throws == 3
    forget(book, "ZQ17")
    assert "ZQ17" not in str(rows(book))
    assert faults(book) == []


def test_an_address_that_does_not_answer_or_is_none_makes_no_logbook(tmp_path):
    with pytest.raises(LogbookUnreachable, match="start its database server"):
        new_logbook(tmp_path / "book", f"postgresql://nobody@/none?host={tmp_path}")
    with pytest.raises(DatabaseAddressUnusable, match="cannot be used"):
        new_logbook(tmp_path / "book", "no address")
    assert not (tmp_path / "book").exists()
