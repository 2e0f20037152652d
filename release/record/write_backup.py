"""Copies a whole logbook into one file while it is in use, and brings one back.

The file is a plain ZIP that any program opens: logbook.sqlite, clips/, frames/ and, last, contents.json with
the SHA-256 of each. A clip's file is written before its row and only `forget` takes it away, so a copy of the
database followed by the files that it names is whole, whatever is added meanwhile.
"""

import hashlib
import json
import os
import platform
import re
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO
from urllib.parse import quote

from sqlalchemy import Connection, select

from release.errors import LogbookReadOnly, NotABackup, NotALogbook, OutputUnwritable
from release.record import schema as t
from release.record.read import table
from release.record.read_verify import faults
from release.record.result import Fault
from release.record.write import upsert
from release.record.write_open import (
    PARTS,
    Logbook,
    copy_database,
    new_logbook,
    now_utc,
    open_logbook,
    reading,
    said_plainly,
    sync,
    write_marker,
    writing,
)

DATABASE, CONTENTS = "logbook.sqlite", "contents.json"
MEMBER = re.compile(r"logbook\.sqlite|clips/[0-9a-f]{64}\.[a-z0-9]+|frames/[0-9a-f]{64}\.jpg")
BLOCK = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """What was copied."""

    file: Path
    clips: int
    bytes: int
    missing: tuple[str, ...]  # clips and frames whose file is gone or changed, which the copy lacks
    noted: bool  # the logbook remembers where the copy went; not where it cannot be written


def backup(logbook: Logbook, file: Path, told: Callable[[int], None] = lambda n_bytes: None) -> Backup:
    """Copy a logbook into one new file, as it is at this moment, while others read and write it.

    Args:
        logbook: Which.
        file: Where; must not be there yet. Names of athletes are in it: keep it as safe as the logbook.
        told: Called with the bytes copied so far of each file, to show how far the work is.

    Raises:
        OutputUnwritable: The file is there already, or its folder is not.
        DiskFull, LogbookReadOnly, LogbookUnreachable: The copy cannot be finished; no file is left.
    """
    if file.exists() or not file.absolute().parent.is_dir():
        why = "is there already" if file.exists() else "has no folder to lie in"
        raise OutputUnwritable(f"{file} {why}: name a new file in a folder that is there")
    part = file.with_name(f".part-{os.getpid()}-{file.name}")
    try:
        with tempfile.TemporaryDirectory(dir=file.absolute().parent, prefix=".part-") as scratch:
            copy = _database_copy(logbook, Path(scratch))
            missing, n_clips = _pack(logbook, copy, part, told)
        sync(part)
        part.replace(file)
        sync(file.absolute().parent)
    except OSError as error:
        raise said_plainly(error, file.absolute().parent) from error
    finally:
        part.unlink(missing_ok=True)
    noted = _noted(logbook, file)
    return Backup(file=file, clips=n_clips, bytes=file.stat().st_size, missing=missing, noted=noted)


def restore(
    file: Path, folder: Path, database: str | None = None, told: Callable[[int], None] = lambda n_bytes: None
) -> tuple[Logbook, list[Fault]]:
    """Bring a backup back as a logbook of its own, and check all of it.

    Args:
        file: What `backup` wrote.
        folder: Where; must be new or empty.
        database: A PostgreSQL address to fill; None for a SQLite file in the folder.
        told: As for `faults`.

    Returns:
        The logbook, and what is wrong in it: what was already missing when the copy was made.

    Raises:
        NotABackup: The file is damaged or cut off; nothing is left behind.
        NotALogbook: The folder, or the database, holds something already.
    """
    folder = folder.absolute()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise NotALogbook(folder, "something lies there already; name a new or empty folder")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f".part-{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise said_plainly(error, folder) from error
    try:
        _unpack(file, part)
        write_marker(part, None)
        restored = open_logbook(part)
        if database is not None:
            _move_rows(restored, database)
        restored.engine.dispose()
        part.chmod(0o755)
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
        sync(folder.parent)
    except OSError as error:
        raise said_plainly(error, folder) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    logbook = open_logbook(folder)
    return logbook, faults(logbook, told)


def copy_rows(source: Connection, target: Connection) -> None:
    """Copy every row into empty tables, whatever the two databases are."""
    for each in t.metadata.sorted_tables:
        rows = source.execute(select(each).execution_options(yield_per=1000)).mappings()
        for chunk in rows.partitions():
            target.execute(each.insert(), [dict(row) for row in chunk])


def _database_copy(logbook: Logbook, scratch: Path) -> Path:
    if logbook.database_file is not None:
        copy_database(logbook, scratch / DATABASE)
        return scratch / DATABASE
    plain = new_logbook(scratch / "copy")
    with reading(logbook) as source, writing(plain) as target:
        copy_rows(source, target)
    copy_database(plain, scratch / DATABASE)
    plain.engine.dispose()
    return scratch / DATABASE


def _move_rows(restored: Logbook, database: str) -> None:
    """Take the rows over into a server's database, and out of the folder."""
    write_marker(restored.folder, database)
    server = open_logbook(restored.folder)
    try:
        if any(len(table(server, select(of).limit(1))) for of in (t.sessions, t.athletes)):
            raise NotALogbook(restored.folder, "the database holds a logbook already; name an empty one")
        with reading(restored) as source, writing(server, alone=True) as target:
            copy_rows(source, target)
    finally:
        server.engine.dispose()
        restored.engine.dispose()
    for path in restored.folder.glob(f"{DATABASE}*"):
        path.unlink()


def _pack(
    logbook: Logbook, copy: Path, part: Path, told: Callable[[int], None]
) -> tuple[tuple[str, ...], int]:
    """Write the ZIP; returns what is missing, and how many clips are in it."""
    contents: dict[str, str] = {}
    missing, n_clips = [], 0
    with zipfile.ZipFile(part, "x", zipfile.ZIP_STORED) as packed:
        contents[DATABASE] = _put(packed, DATABASE, copy, zipfile.ZIP_DEFLATED, told)
        for name, path, sha256 in _files(logbook, copy):
            try:
                contents[name] = _put(packed, name, path, zipfile.ZIP_STORED, told)
            except FileNotFoundError:
                missing.append(f"{name} is gone")
                continue
            n_clips += sha256 is not None
            if sha256 is not None and contents[name] != sha256:
                missing.append(f"{name} has changed since it was taken in")
        text = json.dumps({"made": now_utc(), "sha256": contents}, indent=1)
        packed.writestr(CONTENTS, text, zipfile.ZIP_DEFLATED)
    return tuple(missing), n_clips


def _files(logbook: Logbook, copy: Path) -> Iterator[tuple[str, Path, str | None]]:
    """Name in the ZIP, path and, of clips, the SHA-256 of every file that the copied database names."""
    frozen = sqlite3.connect(f"file:{quote(str(copy))}?mode=ro", uri=True)
    try:
        clips = frozen.execute("SELECT sha256, ext FROM clips ORDER BY sha256").fetchall()
        pictures = "SELECT measurement FROM measurements WHERE picture_frame_index IS NOT NULL ORDER BY 1"
        frames = frozen.execute(pictures).fetchall()
    finally:
        frozen.close()
    for sha256, ext in clips:
        yield f"clips/{sha256}{ext}", logbook.clips / f"{sha256}{ext}", sha256
    for (measurement,) in frames:
        yield f"frames/{measurement}.jpg", logbook.frames / f"{measurement}.jpg", None


def _put(packed: zipfile.ZipFile, name: str, path: Path, kind: int, told: Callable[[int], None]) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as source:
        entry = zipfile.ZipInfo(name)
        entry.compress_type = kind
        with packed.open(entry, "w", force_zip64=True) as target:
            while block := source.read(BLOCK):
                digest.update(block)
                target.write(block)
                told(len(block))
    return digest.hexdigest()


def _unpack(file: Path, folder: Path) -> None:
    try:
        with zipfile.ZipFile(file) as packed:
            wanted = json.loads(packed.read(CONTENTS))["sha256"]
            if DATABASE not in wanted or not all(map(MEMBER.fullmatch, wanted)):
                raise NotABackup(file, "it lists files that no logbook holds")
            for part in PARTS:
                (folder / part).mkdir()
            for name, sha256 in wanted.items():
                with packed.open(name) as source, (folder / name).open("xb") as target:
                    if _copied(source, target) != sha256:
                        raise NotABackup(file, f"{name} in it has changed")
    except FileNotFoundError:
        raise NotABackup(file, "there is no such file") from None
    except (zipfile.BadZipFile, zlib.error, KeyError, TypeError, ValueError, EOFError) as error:
        raise NotABackup(file, str(error)) from error


def _copied(source: IO[bytes], target: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while block := source.read(BLOCK):
        digest.update(block)
        target.write(block)
    target.flush()
    os.fsync(target.fileno())
    return digest.hexdigest()


def _noted(logbook: Logbook, file: Path) -> bool:
    row = {"machine": platform.node(), "path": str(file.resolve()), "at": now_utc()}
    try:
        with writing(logbook) as connection:
            upsert(connection, t.backups, [row])
    except LogbookReadOnly:
        return False
    return True
