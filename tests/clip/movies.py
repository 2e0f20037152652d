"""Small movies made in the test: every frame carries its own number in black and white squares."""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

BITS, SQUARE_PX, HEIGHT_PX = 12, 16, 48
WIDTH_PX = BITS * SQUARE_PX
TICK = Fraction(1, 12_000)


def numbered(number: int, width_px: int = WIDTH_PX, height_px: int = HEIGHT_PX) -> NDArray[np.uint8]:
    """A picture of its number; the left third of the part below the squares is red, the rest blue."""
    picture = np.zeros((height_px, width_px, 3), np.uint8)
    bits = [(number >> b) & 1 for b in range(BITS)]
    squares = np.repeat(np.array(bits, np.uint8), SQUARE_PX) * 255
    picture[:SQUARE_PX, : len(squares)] = squares[:width_px, None]
    picture[SQUARE_PX + 8 :, : width_px // 3, 0] = 255
    picture[SQUARE_PX + 8 :, width_px // 3 :, 2] = 255
    return picture


def number_of(picture: NDArray[np.uint8], scale: float = 1.0) -> int:
    """Read the number back."""
    centres = ((np.arange(BITS) + 0.5) * SQUARE_PX * scale).astype(int)
    row = picture[int(SQUARE_PX / 2 * scale), centres].mean(axis=-1)
    return sum(1 << b for b, level in enumerate(row) if level > 127)


def write_movie(
    path: Path,
    times_s: Sequence[float] | NDArray[np.float64],
    *,
    codec: str = "libx264",
    pix_fmt: str = "yuv420p",
    size_px: tuple[int, int] = (WIDTH_PX, HEIGHT_PX),
    gop: int = 24,
    b_frames: int = 0,
    options: dict[str, str] | None = None,
    tags: dict[str, str] | None = None,
    display: tuple[float, bool] | None = None,
    first_ticks: int = 0,
    sound: bool = False,
    container_options: dict[str, str] | None = None,
) -> Path:
    """Encode one numbered frame for each presentation time.

    Args:
        display: Degrees counter-clockwise, and whether flipped, for FFmpeg's display matrix.
        first_ticks: Added to every packet's time stamps after encoding, in TICK.
    """
    with av.open(
        str(path), "w", options={"movflags": "use_metadata_tags"} | (container_options or {})
    ) as out:
        out.metadata.update(tags or {})
        stream = out.add_stream(codec, rate=Fraction(240), options=options or {})
        stream.width, stream.height, stream.pix_fmt = *size_px, pix_fmt
        stream.time_base = stream.codec_context.time_base = TICK
        stream.codec_context.gop_size = gop
        stream.codec_context.max_b_frames = b_frames
        if display is not None:
            stream.set_display_rotation(display[0], hflip=display[1])
        voice = out.add_stream("aac", rate=48_000) if sound else None
        pictures = [(round(t / TICK), numbered(i, *size_px)) for i, t in enumerate(times_s)]
        for packet in _encode(stream, pictures):
            packet.pts += first_ticks
            packet.dts += first_ticks
            out.mux(packet)
        if voice is not None:
            silence = av.AudioFrame.from_ndarray(
                np.zeros((1, 1024), np.float32), format="fltp", layout="mono"
            )
            silence.sample_rate = 48_000
            out.mux(voice.encode(silence) + voice.encode(None))
    return path


def _encode(stream, pictures):
    for ticks, picture in pictures:
        frame = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(format=stream.pix_fmt)
        frame.pts, frame.time_base = ticks, TICK
        yield from stream.encode(frame)
    yield from stream.encode(None)


def steady(n_frames: int, fps: float = 240.0) -> NDArray[np.float64]:
    return np.arange(n_frames) / fps


def ramp(n_slow: int = 30, n_fast: int = 240) -> NDArray[np.float64]:
    """30 frames a second, then 240, then 30: the capture times of a clip sped up and down inside."""
    steps = np.r_[np.full(n_slow, 1 / 30), np.full(n_fast, 1 / 240), np.full(n_slow, 1 / 30)]
    return np.r_[0, np.cumsum(steps)]
