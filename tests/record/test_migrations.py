import hashlib
import json
import re
import sqlite3
import zipfile
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from release.errors import LogbookTooNew
from release.record import write_open
from release.record.read_verify import faults
from release.record.schema import metadata
from release.record.write_backup import restore
from release.record.write_open import new_logbook, open_logbook, reading, write_marker
from tests.record.filled import fill, rows

SCRIPTS = ScriptDirectory(str(write_open.MIGRATIONS))
HEAD = SCRIPTS.get_current_head()
RELEASED = {path.stem: path for path in (Path(__file__).parent / "released").glob("*.sql")}


def filled_with(sql, folder):
    """A logbook as an earlier version left it: two athletes, six throws, their answers and decisions."""
    folder.mkdir()
    for part in write_open.PARTS:
        (folder / part).mkdir()
    write_marker(folder, None)
    connection = sqlite3.connect(folder / "logbook.sqlite")
    connection.executescript(sql.read_text(encoding="utf-8"))
    connection.close()
    return folder


def test_a_filled_database_of_every_earlier_schema_is_kept():
    assert set(RELEASED) == {s.revision for s in SCRIPTS.walk_revisions()} - {HEAD}


@pytest.mark.parametrize("version", sorted(RELEASED))
def test_every_row_of_an_earlier_schema_is_there_after_opening_and_a_copy_of_before(version, tmp_path):
    folder = filled_with(RELEASED[version], tmp_path / "book")
    before = sqlite3.connect(folder / "logbook.sqlite")
    tables = [name for (name,) in before.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    wanted = {name: set(before.execute(f"SELECT * FROM {name}")) for name in tables}
    before.close()
    book = open_logbook(folder)
    after = sqlite3.connect(folder / "logbook.sqlite")
    for name in set(tables) - {"alembic_version"}:
        columns = len(next(iter(wanted[name]), ()))
        assert {row[:columns] for row in after.execute(f"SELECT * FROM {name}")} == wanted[name], name
    after.close()
    copy = sqlite3.connect(folder / "backups" / f"before-{HEAD}.sqlite")
    assert copy.execute("SELECT version_num FROM alembic_version").fetchone() == (version,)
    copy.close()
    book.engine.dispose()


@pytest.mark.parametrize("version", sorted(RELEASED))
def test_an_upgraded_logbook_is_the_one_that_this_version_would_have_made(version, tmp_path):
    book = open_logbook(filled_with(RELEASED[version], tmp_path / "old"))
    fresh = new_logbook(tmp_path / "new")
    fill(fresh, tmp_path)
    ids = re.compile(r"\b[0-9a-f]{32}\b")
    old, new = ({k: sorted(ids.sub("", r) for r in v) for k, v in rows(b).items()} for b in (book, fresh))
    assert old == new
    with reading(book) as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
    assert {f.what.split()[0] for f in faults(book)} == {"clip"}  # the files are not in the kept database
    book.engine.dispose()
    fresh.engine.dispose()


def test_a_logbook_of_a_later_version_is_refused_and_left_as_it_is(tmp_path):
    book = new_logbook(tmp_path / "book")
    book.engine.dispose()
    later = sqlite3.connect(tmp_path / "book" / "logbook.sqlite")
    later.execute("UPDATE alembic_version SET version_num = '9999'")
    later.commit()
    later.close()
    before = (tmp_path / "book" / "logbook.sqlite").read_bytes()
    with pytest.raises(LogbookTooNew, match="9999"):
        open_logbook(tmp_path / "book")
    assert (tmp_path / "book" / "logbook.sqlite").read_bytes() == before


@pytest.mark.parametrize("version", sorted(RELEASED))
def test_a_copy_made_by_an_earlier_version_is_restored(version, tmp_path):
    folder = filled_with(RELEASED[version], tmp_path / "old")
    content = (folder / "logbook.sqlite").read_bytes()
    with zipfile.ZipFile(tmp_path / "copy.zip", "w") as packed:
        packed.writestr("logbook.sqlite", content)
        sha256 = {"logbook.sqlite": hashlib.sha256(content).hexdigest()}
        packed.writestr("contents.json", json.dumps({"made": "2026-01-01", "sha256": sha256}))
    again, _ = restore(tmp_path / "copy.zip", tmp_path / "again")
    old = open_logbook(folder)
    assert rows(again) == rows(old)
    for book in (again, old):
        book.engine.dispose()
