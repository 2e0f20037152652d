"""Clips of throws: frames with exposure blur before a drawn scene, as a phone would keep them.

In:   a throw, a camera, frame times, a look, light, scene and sensor.
Out:  frames in 8-bit RGB, one at a time; `encode` writes them to a file.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from release.workshop.drawing import Shots, Studio
from release.workshop.scenes import backdrop, net_cover
from release.workshop.thrown import Thrown
from release.workshop.truth import MIRROR, Camera

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

FILM_GRID = (2, 2)  # frames drawn in one call
FAST_S = 0.045  # the arm is fast this long before and after release
CLOCK_HZ = 90_000  # of the time stamps in the files


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """How the light becomes a picture."""

    exposure_s: float = 1 / 2000
    gain: float = 1.0
    shot_noise: float = 0.0004  # variance per unit of light
    read_noise: float = 0.003
    flicker: float = 0.0  # share of light that swings with the lamps
    flicker_hz: float = 120.0
    contrast: float = 0.2  # of the tone curve, 0 plain
    blur_px: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """One throw as one camera films it."""

    thrown: Thrown
    side: str  # R or L
    camera: Camera
    size: tuple[int, int]  # px
    time_s: Array  # shape (n,), middle of each exposure since release
    sensor: Sensor
    scene: str  # hall or field
    scene_seed: int  # same scene, same picture behind
    look: NDArray[np.float32]
    light: NDArray[np.float32]
    net: bool = False
    frozen_at_s: float | None = None  # no throw: the pose of this time, breathing
    others: tuple["Take", ...] = field(default=())  # people who stand behind, only their pose counts
    subframes: int = 8  # while the arm is fast; a third of them else


def frames(take: Take, studio: Studio) -> Iterator[Image]:
    """Draw a take, frame by frame, shape (height, width, 3)."""
    K, R, t = (tuple(np.asarray(m).ravel()) for m in (take.camera.K, take.camera.R, take.camera.t))
    behind = _behind(K, R, t, take.size, take.scene, take.scene_seed)
    for other in take.others:
        still = next(_drawn(other, studio))
        behind = _over(still, behind)
    rng = np.random.default_rng([take.scene_seed, 1])
    cover = net_cover(take.camera, take.size, rng)[..., None] if take.net else None
    strand = rng.uniform(0.02, 0.4, 3).astype(np.float32)
    grain = rng.standard_normal((take.size[1] + 64, take.size[0] + 64, 3)).astype(np.float32)
    for k, picture in enumerate(_drawn(take, studio)):
        light = _over(picture, behind)
        if cover is not None:
            light = (light * (1 - cover) + strand * cover).astype(np.float32, copy=False)
        yield sensed(light, take.sensor, float(take.time_s[k]), grain, rng)


@lru_cache(maxsize=2)
def _behind(
    K: tuple[float, ...],
    R: tuple[float, ...],
    t: tuple[float, ...],
    size: tuple[int, int],
    scene: str,
    seed: int,
) -> NDArray[np.float32]:
    """The backdrop, kept for the next clip from the same tripod."""
    camera = Camera(K=np.reshape(K, (3, 3)), R=np.reshape(R, (3, 3)), t=np.array(t))
    return backdrop(camera, size, scene, np.random.default_rng(seed))


def _drawn(take: Take, studio: Studio) -> Iterator[Image]:
    """Premultiplied pictures of the person and the ball."""
    size = studio.grid[0] * studio.grid[1]
    for first in range(0, len(take.time_s), size):
        times = take.time_s[first : first + size]
        fast = take.frozen_at_s is None and bool((np.abs(times) < FAST_S).any())
        s = take.subframes if fast else max(take.subframes // 3, 1)
        moments = times[:, None] + ((np.arange(s) + 0.5) / s - 0.5) * take.sensor.exposure_s
        if take.frozen_at_s is not None:
            moments = take.frozen_at_s + 0.03 * np.sin(2 * moments)
        drawn = studio.draw(_shots(take, moments))
        yield from (drawn[:, :, ::-1] if take.side == "L" else drawn)


def _shots(take: Take, moments: Array) -> Shots:
    """What to draw at (n, s) moments since release."""
    n, s = moments.shape
    posed = take.thrown.posed(moments.ravel())
    camera, lens = _render_camera(take)
    ball = posed.points["ball"] if take.frozen_at_s is None else np.full((n * s, 3), -500.0)
    return Shots(
        which=np.full(n, take.thrown.which, np.int32),
        matrices=posed.matrices.reshape(n, s, -1, 3, 4).astype(np.float32),
        ball_m=ball.reshape(n, s, 3).astype(np.float32),
        ball_turn=posed.ball_turn.reshape(n, s, 3, 3).astype(np.float32),
        camera=np.broadcast_to(camera, (n, s, 3, 4)).astype(np.float32),
        lens=np.broadcast_to(lens, (n, 4)).astype(np.float32),
        looks=np.broadcast_to(take.look, (n, *take.look.shape)),
        light=np.broadcast_to(take.light, (n, *take.light.shape)),
    )


def _render_camera(take: Take) -> tuple[Array, Array]:
    """The camera for the right-handed pose: for a left-hander the mirror picture, to be flipped back."""
    c, size = take.camera, take.size
    if take.side == "R":
        return np.column_stack([c.R, c.t]), np.array([c.K[0, 0], c.K[1, 1], *c.K[:2, 2]])
    flip = np.array([-1.0, 1.0, 1.0])
    rows = np.column_stack([flip[:, None] * c.R * MIRROR, flip * c.t])
    return rows, np.array([c.K[0, 0], c.K[1, 1], size[0] - c.K[0, 2], c.K[1, 2]])


def _over(picture: Image, behind: NDArray[np.float32]) -> NDArray[np.float32]:
    linear = (picture[..., :3].astype(np.float32) / 255) ** 2
    lit = linear + (1 - picture[..., 3:].astype(np.float32) / 255) * behind
    return lit.astype(np.float32, copy=False)


def sensed(
    light: NDArray[np.float32],
    sensor: Sensor,
    time_s: float,
    grain: NDArray[np.float32],
    rng: np.random.Generator,
) -> Image:
    if sensor.blur_px > 0:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), sensor.blur_px), np.float32)
    swing = 1 + sensor.flicker * np.sin(2 * np.pi * sensor.flicker_hz * time_s)
    light = light * np.float32(sensor.gain * swing)
    y, x = rng.integers(0, 64, 2)
    noise = grain[y : y + light.shape[0], x : x + light.shape[1]]
    light = light + noise * np.sqrt(sensor.shot_noise * np.maximum(light, 0) + sensor.read_noise**2)
    coded = np.clip(light, 0, 1) ** np.float32(1 / 2.2)
    coded = coded + sensor.contrast * coded * (1 - coded) * (2 * coded - 1)
    return (coded * 255 + 0.5).astype(np.uint8)


def encode(
    pictures: Iterator[Image],
    path: Path,
    *,
    stamps_s: Array,
    created: datetime,
    codec: str = "h264",
    crf: int = 25,
    rotation_deg: int = 0,
    capture_fps: float | None = None,
) -> None:
    """Write frames to an MP4 or MOV file.

    Args:
        pictures: As displayed.
        path: Of the file.
        stamps_s: Shape (n,), time stamp of each frame in the file.
        created: Goes into the container.
        codec: h264 or hevc.
        crf: Quality of the encoder.
        rotation_deg: Clockwise turn from the stored to the displayed picture: 0, 90, 180 or 270.
        capture_fps: Written as Android's capture rate, where given.
    """
    options = {"crf": str(crf), "preset": "medium", "threads": "1"}
    if codec == "hevc":
        options["x265-params"] = "log-level=none:pools=1:frame-threads=1"
    flags = {"movflags": "use_metadata_tags"} if capture_fps is not None else {}
    with av.open(str(path), "w", options=flags) as container:
        stream = None
        container.metadata["creation_time"] = created.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000000Z")
        if capture_fps is not None:
            container.metadata["com.android.capture.fps"] = f"{capture_fps:f}"
        for picture, stamp in zip(pictures, stamps_s, strict=True):
            stored = np.ascontiguousarray(np.rot90(picture, rotation_deg // 90))
            if stream is None:
                rate = round((len(stamps_s) - 1) / (stamps_s[-1] - stamps_s[0]))
                stream = container.add_stream(
                    "libx264" if codec == "h264" else "libx265", rate, options=options
                )
                stream.height, stream.width, stream.pix_fmt = *stored.shape[:2], "yuv420p"
                stream.codec_context.time_base = Fraction(1, CLOCK_HZ)
            frame = av.VideoFrame.from_ndarray(stored, format="rgb24")
            frame.pts, frame.time_base = round(stamp * CLOCK_HZ), Fraction(1, CLOCK_HZ)
            container.mux(stream.encode(frame))
        if stream is not None:
            container.mux(stream.encode(None))
    if rotation_deg:
        _turn(path, rotation_deg)


_MATRIX = {90: (0, 1, -1, 0), 180: (-1, 0, 0, -1), 270: (0, -1, 1, 0)}


def _turn(path: Path, rotation_deg: int) -> None:
    """Put a display matrix into the track header (ISO/IEC 14496-12, 8.3.2), which PyAV cannot write."""
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4
    at += 40 if data[at] == 0 else 52  # version 1 has longer times
    a, b, c, d = _MATRIX[rotation_deg]
    data[at : at + 36] = struct.pack(">9i", *(v << 16 for v in (a, b, 0, c, d, 0, 0, 0)), 1 << 30)
    path.write_bytes(data)
