"""Decode chosen frames of a clip, upright, in RGB.

Frames are found by their time stamps only. Reading starts at the key frame before the first frame wanted;
where a container's own seeking lands too late, reading starts over from the beginning.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence

import av
import av.container
import cv2
import numpy as np
from numpy.typing import NDArray

from release.clip.read import BROKEN, open_video
from release.clip.result import Clip
from release.errors import ClipDamaged
from release.frames.result import Frames, Square

Image = NDArray[np.uint8]
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


def decode_sharp(clip: Clip, index: NDArray[np.int64], squares: Sequence[Square], *, scale: float) -> Frames:
    """Decode some frames small, and a square of each sharper: all of them at full size take too much memory.

    Args:
        clip: As read by `read_clip`.
        index: Shape (k,), the frames wanted.
        squares: One for each.
        scale: Decoded pixels per full-resolution pixel, of the whole.

    Raises:
        ClipDamaged: the file does not give every frame from the first to the last of them.
    """
    images = np.empty((len(index), *_shape(clip, scale)), np.uint8)
    sizes = [_size(square) for square in squares]
    # In one block, which goes back to the system when it is no longer held; many small ones do not.
    block = np.empty((len(index), *np.max(sizes, axis=0), 3), np.uint8)
    sharp = tuple(part[:height, :width] for part, (height, width) in zip(block, sizes, strict=True))
    for row, (_, frame) in enumerate(_frames(clip, index, int(index[-1]))):
        images[row] = _upright(clip, frame, scale)
        sharp[row][:] = _sharp(clip, frame, squares[row])
    return Frames(index=index, images=images, scale=scale, squares=tuple(squares), sharp=sharp)


def _size(square: Square) -> tuple[int, int]:
    height, width = square.bottom - square.top, square.right - square.left
    return max(round(height * square.scale), 1), max(round(width * square.scale), 1)


def _sharp(clip: Clip, frame: av.VideoFrame, square: Square) -> Image:
    part = _part(clip, frame, square)
    if square.scale == 1:
        return part
    return np.asarray(cv2.resize(part, _size(square)[::-1], interpolation=cv2.INTER_AREA), np.uint8)


def _part(clip: Clip, frame: av.VideoFrame, square: Square) -> Image:
    """The square alone, at full size: making RGB of the whole frame takes three times as long."""
    stored = (clip.height_px, clip.width_px) if clip.turns % 2 else (clip.width_px, clip.height_px)
    odd = frame.width % 2 or frame.height % 2
    if frame.format.name not in HALVED or odd or (frame.width, frame.height) != stored:
        whole = _upright(clip, frame, 1.0)
        return whole[square.top : square.bottom, square.left : square.right].copy()
    left, top, right, bottom = _as_stored(clip, square)
    even = left // 2 * 2, top // 2 * 2, (right + 1) // 2 * 2, (bottom + 1) // 2 * 2
    rgb = _rgb(_cut(frame, *even))
    return _turned(clip, rgb[top - even[1] : bottom - even[1], left - even[0] : right - even[0]])


def _as_stored(clip: Clip, square: Square) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of an upright square in the picture as stored."""
    left, right, (width, height) = square.left, square.right, (clip.width_px, clip.height_px)
    if clip.mirrored:
        left, right = width - right, width - left
    top, bottom = square.top, square.bottom
    for _ in range(clip.turns):
        width, height = height, width
        left, top, right, bottom = width - bottom, left, width - top, right
    return left, top, right, bottom


def _cut(frame: av.VideoFrame, left: int, top: int, right: int, bottom: int) -> av.VideoFrame:
    """A part with even edges of a frame whose colour has half its resolution."""
    parts = []
    for plane, by in zip(frame.planes, (1, 2, 2), strict=True):
        rows = np.frombuffer(memoryview(plane), np.uint8).reshape(-1, plane.line_size)
        parts.append(rows[top // by : bottom // by, left // by : right // by].ravel())
    width = right - left
    part = av.VideoFrame.from_ndarray(np.concatenate(parts).reshape(-1, width), frame.format.name)
    part.colorspace, part.color_range = frame.colorspace, frame.color_range
    return part


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
    clip: Clip, indices: Iterable[int], whole_to: int | None = None
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
    width_px, height_px = (
        (clip.height_px, clip.width_px) if clip.turns % 2 else (clip.width_px, clip.height_px)
    )
    size = (max(round(n * scale), 1) for n in (width_px, height_px))
    return _turned(clip, _rgb(frame, *size, interpolation="BICUBIC" if scale == 1 else "AREA"))


def _rgb(
    frame: av.VideoFrame,
    width_px: int | None = None,
    height_px: int | None = None,
    interpolation: str = "BICUBIC",
) -> Image:
    rgb = frame.reformat(width=width_px, height=height_px, format="rgb24", interpolation=interpolation)
    return np.asarray(rgb.to_ndarray(), np.uint8)


def _turned(clip: Clip, stored: Image) -> Image:
    image = np.rot90(stored, clip.turns)
    return np.ascontiguousarray(image[:, ::-1] if clip.mirrored else image)
