"""Files dropped on the page: streamed to disk under our own names, counted, looked into before they count.

The name that a browser gives is kept as text to show, and never becomes part of a path.
"""

import asyncio
import re
import shutil
import time
import unicodedata
import uuid
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from starlette.requests import ClientDisconnect

from release.errors import ReleaseError

Kind = Literal["clip", "table"]

MOST_BYTES: dict[Kind, int] = {"clip": 2 << 30, "table": 20 << 20}
KEEP_FREE_BYTES = 1 << 30
CHUNK_S = 30.0  # a sender that is silent for longer is cut off
FILE_S = 3600.0  # and one that has not sent the whole file by then
MOST_AT_ONCE = 8
NAME_LENGTH = 120


class UploadRefused(ReleaseError):
    """A dropped file that is not taken; `status` is the HTTP answer."""

    def __init__(self, why: str, status: int) -> None:
        self.status = status
        super().__init__(why)


@dataclass(kw_only=True)
class Inbox:
    """The folder that dropped files pass through."""

    folder: Path
    under_way: int = 0

    def empty(self) -> None:
        """Remove what an earlier run left half-received."""
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)

    async def receive(self, chunks: AsyncIterator[bytes], *, kind: Kind, declared: int | None) -> Path:
        """Stream one file to disk.

        Args:
            chunks: The body as it comes.
            kind: What it says it is; the content must agree.
            declared: The length that the sender states.

        Raises:
            UploadRefused: Too large, too many at once, no room, cut off, or not what it says.
        """
        most = MOST_BYTES[kind]
        if declared is not None and declared > most:
            raise UploadRefused(f"larger than {most >> 20} MB", 413)
        if self.under_way >= MOST_AT_ONCE:
            raise UploadRefused("too many files at once; it is sent again by itself", 429)
        if shutil.disk_usage(self.folder).free - (declared or 0) < KEEP_FREE_BYTES:
            raise UploadRefused("too little room on the disk of the logbook", 507)
        self.under_way += 1
        path = self.folder / uuid.uuid4().hex
        try:
            received = await self._stream(chunks, path, most)
            if declared is not None and received != declared:
                raise UploadRefused("the file did not arrive whole", 400)
            suffix = content_suffix(path, kind)
            return path.rename(path.with_suffix(suffix))
        except BaseException:
            path.unlink(missing_ok=True)
            raise
        finally:
            self.under_way -= 1

    async def _stream(self, chunks: AsyncIterator[bytes], path: Path, most: int) -> int:
        received, until = 0, time.monotonic() + FILE_S
        with path.open("xb") as file:
            while True:
                try:
                    chunk = await asyncio.wait_for(anext(chunks), CHUNK_S)
                except StopAsyncIteration:
                    return received
                except ClientDisconnect:
                    raise UploadRefused("the sender broke off", 400) from None
                except TimeoutError:
                    raise UploadRefused("the sender fell silent", 408) from None
                received += len(chunk)
                if time.monotonic() > until:
                    raise UploadRefused("the sender is too slow", 408)
                if received > most:
                    raise UploadRefused(f"larger than {most >> 20} MB", 413)
                if (
                    received % (64 << 20) < len(chunk)
                    and shutil.disk_usage(path.parent).free < KEEP_FREE_BYTES
                ):
                    raise UploadRefused("too little room on the disk of the logbook", 507)
                await asyncio.to_thread(file.write, chunk)


def content_suffix(path: Path, kind: Kind) -> str:
    """The suffix that the content deserves.

    Raises:
        UploadRefused: The content is not of this kind.
    """
    with path.open("rb") as file:
        head = file.read(4096)
    if not head:
        raise UploadRefused("the file is empty", 415)
    if kind == "clip":
        # ISO base media (ISO/IEC 14496-12: size, then 'ftyp'), Matroska's EBML magic, RIFF.
        if head[4:8] == b"ftyp":
            return ".mov" if head[8:12] == b"qt  " else ".mp4"
        if head[4:8] in (b"moov", b"mdat", b"wide", b"free"):  # QuickTime without a type box
            return ".mov"
        if head[:4] == b"\x1a\x45\xdf\xa3":
            return ".mkv"
        if head[:4] == b"RIFF" and head[8:12] == b"AVI ":
            return ".avi"
        raise UploadRefused("not a video that is understood (MP4, MOV, MKV, AVI)", 415)
    if b"\0" in head and head[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        raise UploadRefused("not a table in plain text (CSV)", 415)
    return ".csv"


def shown_name(given: str) -> str:
    """A name from outside as text to show: no folder, no control or direction marks, not long."""
    last = re.split(r"[/\\]", unicodedata.normalize("NFC", given))[-1]
    plain = "".join(c for c in last if unicodedata.category(c)[0] != "C").strip()
    return plain[:NAME_LENGTH] or "without a name"
