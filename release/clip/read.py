"""Read a video file as its container describes it: times, packets, turn, codec, time base, hash.

One pass over the packets; of the pictures only the first is decoded, which carries the display matrix and
shows that there is anything to decode.
"""

import hashlib
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

import av
import av.container
import numpy as np
from av.error import FFmpegError
from numpy.typing import NDArray

from release.clip.read_lens import read_focal_35mm
from release.clip.result import Clip
from release.clip.timing import time_base
from release.clip.turn import turns_and_mirror
from release.cores import cores
from release.errors import (
    ClipDamaged,
    ClipEmpty,
    ClipMissing,
    ClipTooLarge,
    ClipTruncated,
    ClipUnreadable,
    NoFrames,
    NotAVideo,
    NoVideoTrack,
)

# Without a list FFmpeg also opens play lists and scripts that name other files or network addresses.
CONTAINERS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts"
LARGEST_PX = 4096 * 4096  # 8K is no slow-motion format, and a damaged header may claim any size
DECODING_THREADS = 4  # each holds frames of its own
LAST_FRAME_S = 0.1  # how long the last frame may be shown
# What a damaged file makes PyAV raise: its own errors, and foreign ones from parsing what it was given.
BROKEN = (FFmpegError, ArithmeticError, EOFError, IndexError, ValueError, MemoryError)


def read_clip(path: Path, *, slowdown: float | None = None, capture_fps: float | None = None) -> Clip:
    """Read what the container says about one clip.

    Args:
        path: A local file.
        slowdown: Presentation seconds per true second, where the user knows it.
        capture_fps: Frames per true second, where the user knows it; not together with `slowdown`.

    Raises:
        ClipError: a subclass of it that names what is wrong with the file.
        ValueError: both or an impossible rate stated.
    """
    sha256 = _sha256(path)
    with open_video(path) as (container, stream):
        tags = dict(container.metadata) | dict(stream.metadata)
        packets = _packets(path, container, stream)
        first_pts, matrix = _first_picture(path, container, stream)
        kept = _shown(packets, first_pts)
        if not len(kept):
            raise NoFrames(path)
        presentation_s = (kept["pts"] - kept["pts"][0]) * float(stream.time_base or 0)
        if len(kept) > 1 and not np.median(np.diff(presentation_s)) > 0:
            raise ClipDamaged(path, "most of its frames carry the time of the one before")
        turns, mirrored = turns_and_mirror(matrix)
        width_px, height_px = stream.codec_context.width, stream.codec_context.height
        if turns % 2:
            width_px, height_px = height_px, width_px
        return Clip(
            path=path,
            sha256=sha256,
            width_px=width_px,
            height_px=height_px,
            turns=turns,
            mirrored=mirrored,
            codec=stream.codec_context.codec.canonical_name,
            created=_created(tags),
            first_pts=int(kept["pts"][0]),
            presentation_s=presentation_s,
            packet_bytes=kept["bytes"].astype(np.int64),
            keyframe=kept["keyframe"].astype(np.bool_),
            has_sound=bool(container.streams.audio),
            time_base=time_base(presentation_s, slowdown=slowdown, capture_fps=capture_fps, tags=tags),
            focal_35mm=read_focal_35mm(path),
        )


@contextmanager
def open_video(path: Path) -> Iterator[tuple[av.container.InputContainer, av.VideoStream]]:
    """Open a file and choose its video track; decoding uses several processors.

    Raises:
        ClipError: a subclass of it that names what is wrong with the file.
    """
    options = {"format_whitelist": CONTAINERS, "protocol_whitelist": "file"}
    try:
        container = av.open(str(path), options=options, metadata_errors="replace")
    except BROKEN as error:
        raise _why_not_open(path) from error
    with container:
        tracks = [s for s in container.streams.video if not s.disposition & s.disposition.attached_pic]
        if not tracks:
            raise NoVideoTrack(path)
        stream = tracks[0]
        # The decoder and its options can only be missing for a codec this FFmpeg does not know.
        if stream.codec_context is None:
            raise NotAVideo(path, "its video codec is unknown")
        stream.thread_type = "AUTO"
        stream.codec_context.thread_count = min(cores(), DECODING_THREADS)
        width_px, height_px = stream.codec_context.width, stream.codec_context.height
        if width_px * height_px > LARGEST_PX:
            raise ClipTooLarge(path, f"{width_px} x {height_px} px")
        yield container, stream


def _sha256(path: Path) -> str:
    if not path.is_file():
        raise ClipMissing(path)
    try:
        with path.open("rb") as file:
            if path.stat().st_size == 0:
                raise ClipEmpty(path)
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise ClipUnreadable(path, error.strerror or "") from error


PACKET = np.dtype([("pts", "i8"), ("bytes", "i8"), ("keyframe", "?"), ("discard", "?"), ("order", "i8")])


def _packets(path: Path, container: av.container.InputContainer, stream: av.VideoStream) -> NDArray[np.void]:
    """Every packet of the video track in the order stored, as PACKET."""
    rows = []
    corrupt = 0
    try:
        for packet in container.demux(stream):
            if packet.size == 0:
                continue
            pts = packet.pts if packet.pts is not None else packet.dts
            if pts is None:
                raise ClipDamaged(path, f"frame {len(rows)} has no time stamp")
            corrupt += packet.is_corrupt
            rows.append((pts, packet.size, packet.is_keyframe, packet.is_discard, len(rows)))
    except BROKEN as error:
        raise ClipDamaged(path, f"its packets cannot be read past number {len(rows)}") from error
    listed = len(stream.index_entries) if "mov" in container.format.name else 0
    if corrupt or len(rows) < listed:
        raise ClipTruncated(path, f"it holds {len(rows) - corrupt} whole frames of the {listed} it lists")
    packets = np.array(rows, dtype=PACKET)
    if not len(packets):
        raise NoFrames(path)
    if not listed:
        _check_end(path, container, float((packets["pts"].max()) * (stream.time_base or 0)))
    return packets


def _check_end(path: Path, container: av.container.InputContainer, last_s: float) -> None:
    """A container without a list of its frames shows a cut only by ending before its declared duration."""
    declared_s = ((container.start_time or 0) + (container.duration or 0)) / av.time_base
    if (
        last_s < declared_s - LAST_FRAME_S
        and container.size == path.stat().st_size
        and not container.streams.audio
    ):
        raise ClipTruncated(path, f"it ends at {last_s:.2f} s of the {declared_s:.2f} s it declares")


def _first_picture(
    path: Path, container: av.container.InputContainer, stream: av.VideoStream
) -> tuple[int, NDArray[np.int32]]:
    """Time stamp and display matrix (3 x 3, 16.16 fixed point, rows as stored) of the first shown picture."""
    identity = np.array([[1 << 16, 0, 0], [0, 1 << 16, 0], [0, 0, 1 << 30]], np.int32)
    try:
        container.seek(0, backward=True)
        frame = next(container.decode(stream))
    except StopIteration:
        raise NoFrames(path, "none of its packets decodes to a picture") from None
    except BROKEN as error:
        raise ClipDamaged(path, "its first picture does not decode") from error
    side_data = frame.side_data.get("DISPLAYMATRIX")
    matrix = identity if side_data is None else np.frombuffer(bytes(side_data), np.int32).reshape(3, 3)
    return int(frame.pts or 0), matrix


def _shown(packets: NDArray[np.void], first_pts: int) -> NDArray[np.void]:
    """The packets that are shown, in display order.

    Left out are those outside the edit list, and pictures before the first key frame that refer to ones cut
    away (a recording trimmed without encoding again may start so).
    """
    first_key = packets["pts"][packets["keyframe"]][:1]
    lost = (packets["pts"] < first_pts) & np.isin(np.sign(packets["pts"] - first_key), -1)
    kept = packets[~packets["discard"] & ~lost]
    return np.sort(kept, order=["pts", "order"])


def _created(tags: dict[str, str]) -> datetime | None:
    for key in ("com.apple.quicktime.creationdate", "creation_time"):
        try:
            created = datetime.fromisoformat(tags[key])
        except (KeyError, ValueError):
            continue
        if created.year > 1970:  # 1904 and 1970 are the zeros of unset clocks
            return created
    return None


def _why_not_open(path: Path) -> ClipTruncated | ClipDamaged | NotAVideo:
    with path.open("rb") as file:
        head = file.read(12)
        if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"):
            broken_at = _cut_box(file, path.stat().st_size)
            if broken_at is not None:
                return ClipTruncated(path, f"its index is missing, {broken_at}")
            return ClipDamaged(path, "its index cannot be read")
    if head[:4] == b"\x1a\x45\xdf\xa3" or (head[:4] == b"RIFF" and head[8:12] == b"AVI "):
        return ClipDamaged(path, "its header cannot be read")
    return NotAVideo(path)


def _cut_box(file: BinaryIO, size_bytes: int) -> str | None:
    """Say where a file of boxes (ISO/IEC 14496-12, section 4.2) ends too early; None where it does not."""
    at = 0
    while at + 8 <= size_bytes:
        file.seek(at)
        length, name = struct.unpack(">I4s", file.read(8))
        if length == 1:  # a 64-bit length follows
            length = int.from_bytes(file.read(8), "big")
        if name == b"moov" and at + length <= size_bytes:
            return None
        if length == 0 or at + length > size_bytes:
            return f"the file ends inside the part {name.decode('latin-1')!r}"
        at += max(length, 8)
    return "the file ends before it"
