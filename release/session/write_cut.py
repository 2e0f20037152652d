"""Writes each throw of a long recording as a clip of its own, nothing encoded again."""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import av
import numpy as np
from av.error import FFmpegError

from release.clip.read import open_video, read_clip
from release.clip.result import Clip
from release.clip.timing import CAPTURE_RATE_TAGS
from release.errors import ClipDamaged, NoThrowsToCut, OutputUnwritable
from release.session.cut import Span, cut_throws, movement_told


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One clip that was written."""

    path: Path
    start_s: float  # of its first frame in the recording, true seconds where the time base is known
    throws: int  # in it: more than one where no key frame lies between two throws


def write_cut(
    recording: Path, out: Path, *, slowdown: float | None = None, capture_fps: float | None = None
) -> tuple[Piece, ...]:
    """Cut a recording of a phone left running into a clip for each throw.

    A clip goes from the key frame before its throw to the key frame after it, so that pictures and sound are
    copied as they are; of the recording's tags it keeps the capture rate, and the time of recording moved to
    its first frame: not the place, the device or what else a phone writes.

    Args:
        recording: The file.
        out: A folder; the clips are called after the recording, numbered from 1 in the order thrown.
        slowdown: Presentation seconds per true second, where the user knows it.
        capture_fps: Frames per true second, where the user knows it.

    Raises:
        ClipError: The recording cannot be read.
        NoThrowsToCut: Nothing in it moves as a throw does.
        OutputUnwritable: A clip cannot be written.
    """
    clip = read_clip(recording, slowdown=slowdown, capture_fps=capture_fps)
    true_s = clip.presentation_s if clip.frame_time_s is None else clip.frame_time_s
    spans = cut_throws(*movement_told(clip.packet_bytes, clip.keyframe, true_s))
    if not spans:
        raise NoThrowsToCut(recording)
    out.mkdir(parents=True, exist_ok=True)
    pieces = []
    for number, (first, last, throws) in enumerate(_between_keys(clip, true_s, spans), start=1):
        path = out / f"{recording.stem}-{number:03d}{recording.suffix}"
        start_s = float(true_s[first])
        try:
            _copy(clip, path, first, last, start_s)
        except FFmpegError as error:
            raise ClipDamaged(recording, f"it cannot be copied from {start_s:.1f} s on") from error
        except OSError as error:
            raise OutputUnwritable(f"{path} cannot be written: {error.strerror}") from error
        pieces.append(Piece(path=path, start_s=start_s, throws=throws))
    return tuple(pieces)


def _between_keys(clip: Clip, true_s: np.ndarray, spans: Sequence[Span]) -> list[tuple[int, int, int]]:
    """First frame, the frame after the last, and number of throws of each clip; none overlaps the next."""
    keys = [*np.flatnonzero(clip.keyframe).tolist(), len(true_s)]
    found: list[tuple[int, int, int]] = []
    for span in spans:
        start, end = np.searchsorted(true_s, [span.start_s, span.end_s]).tolist()
        first, last = keys[max(bisect_right(keys, start) - 1, 0)], keys[bisect_left(keys, end)]
        if found and first < found[-1][1]:  # no key frame lies between the two throws
            found[-1] = (found[-1][0], last, found[-1][2] + 1)
        else:
            found.append((first, last, 1))
    return found


def _copy(clip: Clip, path: Path, first: int, last: int, start_s: float) -> None:
    with open_video(clip.path) as (source, track):
        tick_s = float(track.time_base or 1)
        ticks = np.rint(clip.presentation_s / tick_s).astype(np.int64) + clip.first_pts
        from_s, to_s = tick_s * ticks[first], tick_s * ticks[last] if last < len(ticks) else np.inf
        tracks = [track, *source.streams.audio[:1]]
        with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as written:
            written.metadata.update(_tags(clip, source.metadata, start_s))
            copies = {each.index: written.add_stream_from_template(each) for each in tracks}
            source.seek(int(ticks[first]), stream=track, backward=True)
            left = set(copies)
            for packet in source.demux(tracks):
                if packet.pts is None or packet.dts is None or packet.stream.index not in left:
                    continue
                at_s, earlier = float(packet.pts * packet.time_base), round(from_s / packet.time_base)
                if at_s >= to_s - tick_s / 2 and packet.is_keyframe:  # a packet of sound is one always
                    left.remove(packet.stream.index)
                elif at_s >= from_s - tick_s / 2:
                    packet.pts, packet.dts = packet.pts - earlier, packet.dts - earlier
                    packet.stream = copies[packet.stream.index]
                    written.mux(packet)
                if not left:
                    break


def _tags(clip: Clip, tags: Mapping[str, str], start_s: float) -> dict[str, str]:
    kept = {name: tags[name] for name in CAPTURE_RATE_TAGS if name in tags}
    if clip.created is None:
        return kept
    return kept | {"creation_time": (clip.created + timedelta(seconds=start_s)).isoformat()}
