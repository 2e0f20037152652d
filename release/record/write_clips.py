"""Takes clips in: first the file, whole and under its content hash, then its row."""

import hashlib
import os
import uuid
from collections.abc import Iterable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from sqlalchemy import select

from release.errors import ClipEmpty, ClipMissing, ClipNotFetched, ClipStillGrowing, ClipUnreadable
from release.record import schema as t
from release.record.write import forgotten_digest, insert_new
from release.record.write_open import Logbook, now_utc, reading, said_plainly, sync, writing
from release.store import fetched, is_address

SUFFIXES = {".mp4", ".mov", ".m4v", ".mkv", ".webm", ".avi", ".ts", ".mts", ".3gp"}
BLOCK = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """What became of one clip that was handed in."""

    source: str
    sha256: str | None
    new: bool
    why_not: str | None  # the reason it was not taken in; None when it is in the logbook


def clips_in(sources: Iterable[str | Path]) -> list[str]:
    """The clips meant: files and addresses as given, and of a folder every video in it and below."""
    found: list[str] = []
    for source in sources:
        folder = Path(source)
        if not is_address(str(source)) and folder.is_dir():
            inside = (p for p in folder.rglob("*") if p.suffix.lower() in SUFFIXES and p.name[0] != ".")
            found.extend(sorted(str(p) for p in inside if p.is_file()))
        else:
            found.append(str(source))
    return found


def add_clips(
    logbook: Logbook,
    sources: Iterable[str | Path],
    session: str,
    *,
    camera: str = "",
    athlete: str | None = None,
) -> Iterator[TakenIn]:
    """Take clips in, one after the other; a bad one is told and the rest goes on.

    Args:
        logbook: Where.
        sources: Paths, or addresses that fsspec understands.
        session: Its id.
        camera: Which phone, where there are several.
        athlete: A code of the roster, where the clips are all of one.

    Yields:
        One answer a clip, once it is safely in.

    Raises:
        DiskFull, LogbookReadOnly, LogbookUnreachable: Nothing more can be taken in; what was is kept.
    """
    for source in map(str, sources):
        try:
            with fetched(source) if is_address(source) else nullcontext(source) as file:
                sha256, new = _take_in(logbook, str(file), session, camera, athlete)
            yield TakenIn(source=source, sha256=sha256, new=new, why_not=None)
        except (ClipMissing, ClipEmpty, ClipUnreadable, ClipStillGrowing, ClipNotFetched) as error:
            yield TakenIn(source=source, sha256=None, new=False, why_not=str(error))


def file_sha256(path: Path) -> str:
    """The content hash of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _take_in(
    logbook: Logbook, source: str, session: str, camera: str, athlete: str | None
) -> tuple[str, bool]:
    name = source.replace("\\", "/").rsplit("/", 1)[-1]
    with _opened(source) as file:
        digest, size = hashlib.sha256(), 0
        while block := _read(file, source):
            digest.update(block)
            size += len(block)
        sha256 = digest.hexdigest()
        if size == 0:
            raise ClipEmpty(Path(source))
        with reading(logbook) as connection:
            row = connection.execute(select(t.clips).where(t.clips.c.sha256 == sha256)).mappings().first()
        ext = row["ext"] if row else _safe_suffix(name)
        target = logbook.clips / f"{sha256}{ext}"
        if not (target.is_file() and target.stat().st_size == size):
            file.seek(0)
            _copy_whole(logbook, file, target, sha256, source)
    if row:
        return sha256, False
    values = {"sha256": sha256, "session": session, "name": name, "ext": ext, "bytes": size}
    values |= {"camera": camera, "athlete": athlete, "taken_in": now_utc(), "state": "waiting"}
    with writing(logbook) as connection:
        if athlete is not None:
            insert_new(connection, t.athletes, [{"athlete": athlete}])
        gone = t.forgotten.c.digest == forgotten_digest("clips", sha256)
        connection.execute(t.forgotten.delete().where(gone))
        return sha256, insert_new(connection, t.clips, [values]) == 1


def copied_in(logbook: Logbook, source: Path, target: Path, sha256: str, n_bytes: int) -> bool:
    """Copy a clip of another logbook, if it is not here; False where it is whole on neither side."""
    if target.is_file() and target.stat().st_size == n_bytes:
        return True
    try:
        with _opened(str(source)) as file:
            _copy_whole(logbook, file, target, sha256, str(source))
    except (ClipMissing, ClipUnreadable, ClipStillGrowing):
        return False
    return True


def _opened(source: str) -> IO[bytes]:
    try:
        return Path(source).open("rb")
    except FileNotFoundError:
        raise ClipMissing(Path(source)) from None
    except (OSError, ValueError) as error:
        raise ClipUnreadable(Path(source), str(error)) from error


def _copy_whole(logbook: Logbook, file: IO[bytes], target: Path, sha256: str, source: str) -> None:
    part = logbook.clips / f".part-{uuid.uuid4().hex}"
    again = hashlib.sha256()
    try:
        with part.open("xb") as copy:
            while block := _read(file, source):
                again.update(block)
                copy.write(block)
            copy.flush()
            os.fsync(copy.fileno())
        if again.hexdigest() != sha256:
            raise ClipStillGrowing(Path(source))
        part.replace(target)
        sync(logbook.clips)
    except OSError as error:
        raise said_plainly(error, logbook.folder) from error
    finally:
        part.unlink(missing_ok=True)


def _read(file: IO[bytes], source: str) -> bytes:
    try:
        return file.read(BLOCK)
    except OSError as error:
        raise ClipUnreadable(Path(source), str(error)) from error


def _safe_suffix(name: str) -> str:
    suffix = Path(name).suffix.lower()
    return suffix if suffix in SUFFIXES else ".bin"
