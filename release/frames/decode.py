"""Decode chosen frames of a clip, upright, in RGB.

Frames are found by their time stamps only. Reading starts at the key frame before the first frame wanted;
where a container's own seeking lands too late, reading starts over from the beginning.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from threading import get_ident
from typing import Literal

import av
import av.container
import cv2
import numpy as np
from av.video.plane import VideoPlane
from av.video.reformatter import ColorRange, VideoReformatter
from numpy.typing import NDArray

from release.clip.read import BROKEN, open_video
from release.clip.result import Clip
from release.errors import ClipDamaged
from release.frames.result import Frames, Square

Image = NDArray[np.uint8]
Edges = tuple[int, int, int, int]  # left, top, right and bottom, the last two outside
# Brightness from 16 (black) to 235 (white), as most clips hold it (ITU-R BT.709), to all of a byte.
STRETCHED = np.clip((np.arange(256) - 16) * 255 / 219, 0, 255).round().astype(np.uint8)
# FFmpeg 8 makes up the last columns of RGBA where they are two or four more than a multiple of this.
RGBA_EVERY_PX = 16
HALVED = ("yuv420p", "yuvj420p")  # nearly all 8-bit clips: a pixel of colour for four of brightness


def decode(clip: Clip, first: int, last: int, *, scale: float = 1.0) -> Frames:
    """Decode every frame from `first` to `last`, both included.

    Args:
        clip: As read by `read_clip`.
        first: Index of the first frame wanted, 0-based in display order.
        last: Index of the last.
        scale: Decoded pixels per full-resolution pixel.

    Raises:
        ClipDamaged: the file does not give every one of them.
        ValueError: a frame that the clip does not have.
    """
    return _gather(clip, range(first, last + 1), scale, last)


def decode_every(
    clip: Clip, step: int, *, first: int = 0, last: int | None = None, scale: float = 1.0
) -> Frames:
    """Decode every `step`-th frame from `first` to `last` (the clip's end if None), for a coarse pass.

    Raises:
        ClipDamaged: the file does not give every frame from `first` to `last`, those between the steps too.
    """
    last = len(clip.presentation_s) - 1 if last is None else last
    return _gather(clip, range(first, last + 1, step), scale, last)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduced:
    """A frame made smaller, or a part of one: half the size of its RGB, which is made when asked for."""

    clip: Clip
    frame: av.VideoFrame

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, upright."""
        width, height = self.frame.width, self.frame.height
        return (height, width) if self.clip.turns % 2 else (width, height)

    def rgb(self) -> Image:
        """Upright."""
        return _turned(self.clip, _rgb(self.frame))

    def grey(self) -> Image:
        """Brightness alone, 0 to 255, upright, shape (height, width)."""
        if self.frame.format.name not in HALVED:
            return np.asarray(cv2.cvtColor(self.rgb(), cv2.COLOR_RGB2GRAY), np.uint8)
        grey = _rows(self.frame.planes[0])[: self.frame.height, : self.frame.width]
        if self.frame.format.name == "yuv420p" and self.frame.color_range != ColorRange.JPEG:
            grey = np.asarray(cv2.LUT(grey, STRETCHED), np.uint8)
        return _turned(self.clip, grey)

    def rgb_of(self, left: int, top: int, right: int, bottom: int) -> Image:
        """A part of it, upright; of four channels, if there are so many, the last says nothing.

        Crops are cut in two thirds of the time out of four.
        """
        edges = _as_stored(self.clip, (left, top, right, bottom), *self.size)
        if not _halves(self.frame, edges):
            return self.rgb()[top:bottom, left:right]
        first, above, after, below = edges
        wide = _cut(self.frame, first, above, after + (first - after) % RGBA_EVERY_PX, below)
        return _turned(self.clip, _rgb(wide, "rgba")[:, : after - first])


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """A decoded frame at full size, as stored: some megabytes, so that only a few are held at a time."""

    index: int
    clip: Clip
    frame: av.VideoFrame

    def whole(self, scale: float) -> Reduced:
        """All of it; `scale` in pixels per full-resolution pixel."""
        return Reduced(clip=self.clip, frame=_shrunk(self.frame, *_stored_size(self.clip, scale)))

    def part(self, square: Square) -> Reduced:
        """The square alone, to even sides: RGB of odd ones takes ten times as long to make."""
        upright = square.left, square.top, square.right, square.bottom
        size = self.clip.width_px, self.clip.height_px
        edges = left, top, right, bottom = _as_stored(self.clip, upright, *size)
        frame = _shrunk(self.frame, *_stored_size(self.clip, 1.0))
        if _halves(frame, edges):
            part = _cut(frame, *edges)
        else:
            rgb = np.ascontiguousarray(_rgb(frame)[top:bottom, left:right])
            part = av.VideoFrame.from_ndarray(rgb, "rgb24")
        size = (max(2 * round(n * square.scale / 2), 2) for n in (right - left, bottom - top))
        return Reduced(clip=self.clip, frame=_shrunk(part, *size))


def stored(
    clip: Clip, indices: Sequence[int] | NDArray[np.int64], *, enough: Callable[[], bool] = lambda: False
) -> Iterator[Stored]:
    """Yield each of the increasing `indices`, to take from it what is wanted.

    Args:
        enough: Asked after each: whether it is to be the last.

    Raises:
        ClipDamaged: the file does not give every frame from the first to the last of them.
        ValueError: indices that do not increase, or that the clip does not have.
    """
    for index, frame in _frames(clip, indices, int(indices[-1]), enough):
        yield Stored(index=index, clip=clip, frame=frame)


def _as_stored(clip: Clip, upright: Edges, width: int, height: int) -> Edges:
    """Edges in the picture as stored of a part of the upright one, which is so wide and high."""
    left, top, right, bottom = upright
    if clip.mirrored:
        left, right = width - right, width - left
    for _ in range(clip.turns):
        width, height = height, width
        left, top, right, bottom = width - bottom, left, width - top, right
    return left, top, right, bottom


def _halves(frame: av.VideoFrame, edges: Edges) -> bool:
    """Whether a part can be cut out of a frame's planes, of which colour has half the resolution."""
    return frame.format.name in HALVED and not any(n % 2 for n in (frame.width, frame.height, *edges))


def _cut(frame: av.VideoFrame, left: int, top: int, right: int, bottom: int) -> av.VideoFrame:
    """A part with even edges of a frame whose colour has half its resolution."""
    part = av.VideoFrame(right - left, bottom - top, frame.format.name)
    for whole, plane, by in zip(frame.planes, part.planes, (1, 2, 2), strict=True):
        rows = _rows(whole)[top // by : bottom // by, left // by : right // by]
        _rows(plane)[: len(rows), : rows.shape[1]] = rows
    part.colorspace, part.color_range = frame.colorspace, frame.color_range
    return part


def _rows(plane: VideoPlane) -> Image:
    return np.frombuffer(memoryview(plane), np.uint8).reshape(-1, plane.line_size)


def stream(clip: Clip, indices: Iterable[int], *, scale: float = 1.0) -> Iterator[tuple[int, Image]]:
    """Yield (index, image) for each of the increasing `indices`; one image is held at a time.

    Args:
        clip: As read by `read_clip`.
        indices: The frames wanted.
        scale: Decoded pixels per full-resolution pixel.

    Raises:
        ClipDamaged: the file does not give every one of them.
        ValueError: indices that do not increase, or that the clip does not have.
    """
    for index, frame in _frames(clip, indices):
        yield index, _upright(clip, frame, scale)


def _frames(
    clip: Clip,
    indices: Iterable[int],
    whole_to: int | None = None,
    enough: Callable[[], bool] = lambda: False,
) -> Iterator[tuple[int, av.VideoFrame]]:
    """The frames as stored.

    Every frame from the first wanted to `whole_to` must come out, wanted or not: a damaged file may decode
    silently short.
    """
    wanted = np.fromiter(indices, np.int64)
    if (
        not len(wanted)
        or wanted[0] < 0
        or wanted[-1] >= len(clip.presentation_s)
        or (np.diff(wanted) <= 0).any()
    ):
        raise ValueError(f"want increasing frame indices below {len(clip.presentation_s)}, got {wanted}")
    last = int(wanted[-1]) if whole_to is None else whole_to
    left, seen = deque(wanted.tolist()), set[int]()
    for start in (_key_frame_before(clip, left[0]), None):
        for index, frame in _pictures(clip, start, int(wanted[0]), last):
            if left and index > left[0]:
                break  # it was passed over: start earlier, or it is not there
            seen.add(index)
            if left and index == left[0]:
                yield left.popleft(), frame
                if enough():
                    left.clear()
                    last = index
                    break
        if not left:
            break
    n_frames = len(clip.presentation_s)
    if left:
        raise ClipDamaged(
            clip.path, f"frame {left[0]} of {n_frames} and {len(left) - 1} after it do not decode"
        )
    missing = set(range(int(wanted[0]), last + 1)) - seen
    if whole_to is not None and missing:
        raise ClipDamaged(clip.path, f"{len(missing)} of the {n_frames} frames it lists do not decode")


def _key_frame_before(clip: Clip, index: int) -> int | None:
    """The last key frame at or before a frame whose time stamp is its own; None: start at the beginning."""
    fresh = np.diff(clip.presentation_s[: index + 1], prepend=-1) > 0
    starts = np.flatnonzero(clip.keyframe[: index + 1] & fresh)
    return int(starts[-1]) if len(starts) else None


def _gather(clip: Clip, indices: range, scale: float, last: int) -> Frames:
    images = np.empty((len(indices), *_shape(clip, scale)), np.uint8)
    for row, (_, frame) in enumerate(_frames(clip, indices, last)):
        images[row] = _upright(clip, frame, scale)
    return Frames(index=np.array(indices, np.int64), images=images, scale=scale)


def _shape(clip: Clip, scale: float) -> tuple[int, int, int]:
    return max(round(clip.height_px * scale), 1), max(round(clip.width_px * scale), 1), 3


def _pictures(clip: Clip, start: int | None, wanted: int, last: int) -> Iterator[tuple[int, av.VideoFrame]]:
    """Decoded pictures from key frame `start` (None: from the beginning) to `last`, with their indices.

    Of those before `wanted` only the ones that others refer to.
    """
    with open_video(clip.path) as (container, track):
        ticks = np.rint(clip.presentation_s / float(track.time_base or 1)).astype(np.int64) + clip.first_pts
        previous = -1
        try:
            if start is not None:
                container.seek(int(ticks[start]), stream=track, backward=True)
            for frame in _decoded(container, track, int(ticks[wanted])):
                pts = -1 if frame.pts is None else frame.pts
                index = int(np.searchsorted(ticks, pts))
                if index <= previous < len(ticks) - 1 and ticks[previous + 1] == pts:
                    index = previous + 1  # the same time stamp again
                if index >= len(ticks) or ticks[index] != pts:
                    continue  # outside the edit list
                previous = index
                yield index, frame
                if index >= last:
                    return
        except MemoryError:
            raise  # a large picture, not a damaged one
        except BROKEN as error:
            raise ClipDamaged(clip.path, f"decoding stops after frame {previous}") from error


def _decoded(
    container: av.container.InputContainer, track: av.VideoStream, wanted_pts: int
) -> Iterator[av.VideoFrame]:
    """Every picture from a time stamp on; before it those that no other refers to are passed over."""
    for packet in container.demux(track):
        early = packet.pts is not None and packet.pts < wanted_pts
        track.codec_context.skip_frame = "NONREF" if early else "DEFAULT"
        yield from packet.decode()


def _upright(clip: Clip, frame: av.VideoFrame, scale: float) -> Image:
    return _turned(clip, _rgb(_shrunk(frame, *_stored_size(clip, scale))))


def _stored_size(clip: Clip, scale: float) -> tuple[int, int]:
    """Width and height before it is turned upright."""
    width, height = (max(round(n * scale), 1) for n in (clip.width_px, clip.height_px))
    return (height, width) if clip.turns % 2 else (width, height)


def _shrunk(frame: av.VideoFrame, width_px: int, height_px: int) -> av.VideoFrame:
    """In its own colours: together with the change to RGB it takes twice as long."""
    if (frame.width, frame.height) == (width_px, height_px):
        return frame
    shrink = _reformatter(get_ident(), frame.format.name, frame.width, frame.height, width_px, height_px)
    return shrink.reformat(frame, width_px, height_px, interpolation="AREA", threads=1)


def _rgb(frame: av.VideoFrame, kind: Literal["rgb24", "rgba"] = "rgb24") -> Image:
    change = _reformatter(get_ident(), frame.format.name, frame.width, frame.height, kind)
    return np.asarray(
        change.reformat(frame, format=kind, interpolation="BICUBIC", threads=1).to_ndarray(), np.uint8
    )


@lru_cache(maxsize=8)
def _reformatter(thread: int, *change: object) -> VideoReformatter:
    """One a thread for each kind of change: making one takes as long as a change does.

    Not the frame's own, which it would keep, with threads, for as long as the frame is held.
    """
    return VideoReformatter()


def _turned(clip: Clip, stored: Image) -> Image:
    image = np.rot90(stored, clip.turns)
    return np.ascontiguousarray(image[:, ::-1] if clip.mirrored else image)
