"""The frames round release, sent to the browser once; stepping then needs no server.

A stream of records: little-endian frame index and length (4 bytes each), then a JPEG of that length.
"""

import struct
from collections.abc import Iterator
from pathlib import Path

from release.clip.read import read_clip
from release.clip.result import Clip
from release.frames.decode import stream
from release.jpeg import jpeg_of

FRAMES_TO_EACH_SIDE = 60
SHOWN_HEIGHT_PX = 540
JPEG_QUALITY = 85


def shown_scale(height_px: int) -> float:
    """Shown pixels per pixel of the clip."""
    return min(1.0, SHOWN_HEIGHT_PX / height_px)


def frame_range(clip: Clip, release_frame: float | None) -> range:
    """The frames that are sent: round release, or from the start where none is known."""
    count = len(clip.presentation_s)
    middle = FRAMES_TO_EACH_SIDE if release_frame is None else round(release_frame)
    first = max(0, min(middle - FRAMES_TO_EACH_SIDE, count - 2 * FRAMES_TO_EACH_SIDE - 1))
    return range(first, min(count, first + 2 * FRAMES_TO_EACH_SIDE + 1))


def open_clip(path: Path) -> Clip:
    """The clip as its container describes it."""
    return read_clip(path)


def frame_records(clip: Clip, frames: range) -> Iterator[bytes]:
    """One record a frame."""
    for index, image in stream(clip, frames, scale=shown_scale(clip.height_px)):
        jpeg = jpeg_of(image, JPEG_QUALITY)
        yield struct.pack("<II", index, len(jpeg)) + jpeg
