"""The lens that a phone wrote into its clip: the focal length as on 35 mm film.

iPhones write it under the key below for the video track (Apple, AVMetadataIdentifier
quickTimeMetadataCameraFocalLength35mmEquivalent: text such as "50.00mm"; a whole number is met too). FFmpeg
shows only keys of the whole file, so the parts are read here: QuickTime File Format, metadata atoms.
"""

import math
import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

KEY = b"com.apple.quicktime.camera.focal_length.35mm_equivalent"
LARGEST_INDEX_BYTES = 64 << 20
TEXT, WHOLE, FLOAT, DOUBLE = 1, 21, 23, 24  # well-known types of a value
NUMBER = re.compile(rb"\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*")


def read_focal_35mm(path: Path) -> float | None:
    """Focal length as on 35 mm film, mm; None where the file does not say, or says what cannot be."""
    with path.open("rb") as file:
        index = _index(file, path.stat().st_size)
    inside = list(_parts(index))
    holders = [body for wanted in (b"trak", b"udta") for name, body in inside if name == wanted]
    for holder in (*holders, index):
        for name, body in _parts(holder):
            found = _value(body) if name == b"meta" else None
            mm = None if found is None else _number(*found)
            if mm is not None and math.isfinite(mm) and mm > 0:
                return mm
    return None


def _index(file: BinaryIO, size_bytes: int) -> bytes:
    """The part `moov` (ISO/IEC 14496-12, section 8.2), empty where there is none."""
    at = 0
    while at + 16 <= size_bytes:
        file.seek(at)
        length, name, long = struct.unpack(">I4sQ", file.read(16))
        head = 16 if length == 1 else 8
        length = long if length == 1 else length or size_bytes - at
        if length < head:
            break
        if name == b"moov":
            file.seek(at + head)
            return file.read(min(length - head, LARGEST_INDEX_BYTES))
        at += length
    return b""


def _parts(body: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 0
    while at + 8 <= len(body):
        length, name = struct.unpack_from(">I4s", body, at)
        if length < 8:
            return
        yield name, body[at + 8 : at + length]
        at += length


def _value(meta: bytes) -> tuple[int, bytes] | None:
    """Type and bytes of the value under KEY; MP4 puts four bytes before the parts of `meta`."""
    parts = dict(_parts(meta[4:] if meta[8:12] == b"hdlr" else meta))
    names = [name for _, name in _parts(parts.get(b"keys", b"")[8:])]
    if KEY not in names:
        return None
    number = struct.pack(">I", names.index(KEY) + 1)
    data = dict(_parts(dict(_parts(parts.get(b"ilst", b""))).get(number, b""))).get(b"data", b"")
    return (struct.unpack_from(">I", data)[0], data[8:]) if len(data) > 8 else None


def _number(kind: int, value: bytes) -> float | None:
    if kind == TEXT:
        found = NUMBER.fullmatch(value.rstrip(b"\0"))
        return None if found is None else float(found[1])
    if kind == WHOLE:
        return float(int.from_bytes(value, "big", signed=True))
    if kind in (FLOAT, DOUBLE) and len(value) == {FLOAT: 4, DOUBLE: 8}[kind]:
        return float(struct.unpack(">f" if kind == FLOAT else ">d", value)[0])
    return None
