"""Makes and opens a logbook, and brings an older one up to this version.

A logbook is a folder: logbook.toml (where the database is), logbook.sqlite, clips/, frames/, backups/.
"""

import errno
import json
import os
import sqlite3
import tomllib
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnectionFree

from release.errors import (
    DatabaseAddressUnusable,
    DiskFull,
    LogbookBusy,
    LogbookDamaged,
    LogbookReadOnly,
    LogbookTooNew,
    LogbookUnreachable,
    NotALogbook,
    ReleaseError,
)

MIGRATIONS = Path(__file__).parent / "migrations"
PARTS = ("clips", "frames", "backups")
BUSY_S = 30  # how long a writer waits for another one
OS_ERRORS = {
    **dict.fromkeys((errno.ENOSPC, errno.EDQUOT, errno.EFBIG), DiskFull),
    **dict.fromkeys((errno.EROFS, errno.EACCES, errno.EPERM), LogbookReadOnly),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Logbook:
    """An open logbook."""

    folder: Path
    engine: Engine

    @property
    def clips(self) -> Path:
        """Where the clips lie, each as <sha256><ext>."""
        return self.folder / "clips"

    @property
    def frames(self) -> Path:
        """Where the release frames lie, each as <measurement>.jpg; made again by measuring again."""
        return self.folder / "frames"

    @property
    def database_file(self) -> Path | None:
        """The SQLite file; None where the database is on a server."""
        return self.folder / "logbook.sqlite" if self.engine.dialect.name == "sqlite" else None


def new_logbook(folder: Path, database: str | None = None) -> Logbook:
    """Make an empty logbook, or finish one whose making was cut off; a whole one is left as it is.

    Args:
        folder: Where; made if need be.
        database: A PostgreSQL address; None for a SQLite file in the folder.

    Raises:
        NotALogbook: The folder holds something else.
        LogbookReadOnly, DiskFull: It cannot be written.
    """
    marker = folder / "logbook.toml"
    if folder.exists() and not marker.exists() and not all(map(_is_ours, folder.iterdir())):
        raise NotALogbook(folder, "it holds other files; name a new or empty folder")
    if database:
        tried = Logbook(folder=folder, engine=_engine(database))
        with reading(tried):
            pass  # an address that does not answer is told before anything is made
        tried.engine.dispose()
    try:
        if not marker.exists():
            for part in PARTS:
                (folder / part).mkdir(parents=True, exist_ok=True)
            write_marker(folder, database)
    except OSError as error:
        raise said_plainly(error, folder) from error
    return open_logbook(folder)


def open_logbook(folder: Path) -> Logbook:
    """Open a logbook; one of an older version is copied to backups/ and brought up to date.

    Raises:
        NotALogbook: No logbook lies there.
        LogbookTooNew: A newer version of the tool has written it.
        LogbookUnreachable: Its database or folder does not answer.
    """
    marker = folder / "logbook.toml"
    try:
        settings = tomllib.loads(marker.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise NotALogbook(folder, "it has no logbook.toml; make one with `release new`") from None
    except (OSError, ValueError) as error:
        raise NotALogbook(folder, f"its logbook.toml cannot be read: {error}") from None
    url = settings.get("database") or f"sqlite:///{_sqlite_uri(folder.resolve() / 'logbook.sqlite')}&uri=true"
    logbook = Logbook(folder=folder, engine=_engine(url))
    upgrade(logbook)
    return logbook


def write_marker(folder: Path, database: str | None) -> None:
    """Make a folder a logbook, and note where its database is; None for a SQLite file in it."""
    settings = f"database = {json.dumps(database)}\n" if database else ""
    write_whole(folder / "logbook.toml", f"# A logbook of the release tool.\n{settings}".encode())


def upgrade(logbook: Logbook, migrations: Path = MIGRATIONS) -> None:
    """Bring the tables up to the newest version, in one transaction, after a copy of what was there."""
    scripts = ScriptDirectory(str(migrations))
    head = scripts.get_current_head()
    with reading(logbook) as connection:
        current = MigrationContext.configure(connection).get_current_revision()
    if current == head:
        return
    if current is not None and current not in {s.revision for s in scripts.walk_revisions()}:
        raise LogbookTooNew(logbook.folder, current)
    if current is not None and logbook.database_file is not None:
        copy_database(logbook, logbook.folder / "backups" / f"before-{head}.sqlite")
    config = Config()
    config.set_main_option("script_location", str(migrations).replace("%", "%%"))
    with writing(logbook, alone=True) as connection:
        if MigrationContext.configure(connection).get_current_revision() == current:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")


def copy_database(logbook: Logbook, target: Path) -> None:
    """A consistent copy of a SQLite logbook's database, while it is in use."""
    assert logbook.database_file is not None, "a server's database is copied by its own tools"
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    try:
        source = sqlite3.connect(_sqlite_uri(logbook.database_file.resolve()), timeout=BUSY_S, uri=True)
        copy = sqlite3.connect(part)
        try:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
        finally:
            source.close()
            copy.close()
        sync(part)
        part.replace(target)
        sync(target.parent)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise said_plainly(error, logbook.folder) from error


@contextmanager
def reading(logbook: Logbook) -> Iterator[Connection]:
    """A connection that sees one state of the logbook throughout."""
    options = {"isolation_level": "REPEATABLE READ"} if logbook.database_file is None else {}
    try:
        with logbook.engine.connect().execution_options(**options) as connection, connection.begin():
            yield connection
    except DBAPIError as error:
        raise said_plainly(error.orig or error, logbook.folder) from error
    except NoConnectionFree as error:
        raise LogbookBusy(logbook.folder, "all its connections are in use") from error


@contextmanager
def writing(logbook: Logbook, *, alone: bool = False) -> Iterator[Connection]:
    """A transaction: all of it or nothing. `alone`: no other writer that asks for it runs beside it."""
    try:
        with logbook.engine.connect().execution_options(writes=True) as connection, connection.begin():
            if alone and connection.dialect.name == "postgresql":
                connection.exec_driver_sql("SELECT pg_advisory_xact_lock(7325463)")
            yield connection
    except DBAPIError as error:
        raise said_plainly(error.orig or error, logbook.folder) from error
    except NoConnectionFree as error:
        raise LogbookBusy(logbook.folder, "all its connections are in use") from error


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that after a crash it is there whole or not at all."""
    part = path.with_name(f".part-{uuid.uuid4().hex}-{path.name}")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        sync(path.parent)
    except OSError:
        part.unlink(missing_ok=True)
        raise


def now_utc() -> str:
    """The time as the logbook writes it."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def said_plainly(error: BaseException, folder: Path) -> ReleaseError:
    """The error of disk or database as one that says what to do."""
    text = str(error).strip()
    if isinstance(error, OSError):
        return OS_ERRORS.get(error.errno or 0, LogbookUnreachable)(folder, text)
    if "unable to open" in text and folder.is_dir() and not os.access(folder, os.W_OK):
        return LogbookReadOnly(folder, text)
    for words, kind in (
        ("readonly", LogbookReadOnly),
        ("is full", DiskFull),
        ("No space left", DiskFull),
        ("locked", LogbookBusy),
        ("malformed", LogbookDamaged),
        ("not a database", LogbookDamaged),
    ):
        if words in text:
            return kind(folder, text)
    return LogbookUnreachable(folder, text)


def sync(path: Path) -> None:
    """Wait until a file or the names in a folder are on the disk."""
    if os.name == "nt" and path.is_dir():
        return  # Windows has no handle on a folder
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _is_ours(path: Path) -> bool:
    """Whether a making that was cut off can have left this behind."""
    return path.name in PARTS or path.name.startswith(".part-")


def _sqlite_uri(file: Path) -> str:
    """How SQLite is to open a file; as it is, or where its disk cannot be written, so that it can be read."""
    wal = file.with_name(f"{file.name}-wal")
    if os.access(file.parent, os.W_OK) or not file.exists() or (wal.exists() and wal.stat().st_size):
        return f"file:{quote(str(file))}?mode=rwc"
    # SQLite may not make its side files there; `immutable` does without them.
    return f"file:{quote(str(file))}?mode=ro&immutable=1"


def _engine(url: str) -> Engine:
    try:
        sqlite = make_url(url).get_backend_name() == "sqlite"
        arguments = {"timeout": BUSY_S} if sqlite else {}
        engine = create_engine(url, connect_args=arguments, pool_pre_ping=not sqlite)
    except (ArgumentError, ImportError) as error:
        raise DatabaseAddressUnusable(str(error)) from error
    if sqlite:
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # transactions are begun below, by us
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes its turn at once: one that read first and then wrote could be refused halfway.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
