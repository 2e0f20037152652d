"""Make some hundreds of bad and odd video files with ffmpeg: `python tests/corpus/make.py FOLDER`.

Each has a name and what must become of it: some of the words below, of which one must be in the reason, or
READ: the tool must read it (and then finds no throw: the picture is a test pattern).
"""

import subprocess
import sys
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

READ = "read"
CUT, DAMAGED, EMPTY = "the file is cut off", "the file is damaged", "is empty"
NOT_VIDEO, NO_TRACK, NO_FRAME = "not a video", "no video track", "no frame"
LARGE, MISSING = "larger than the tool takes", "no file here"
BROKEN = (CUT, DAMAGED, NOT_VIDEO, NO_TRACK, NO_FRAME, LARGE)

PATTERN = ["-f", "lavfi", "-i", "testsrc2=size=320x180:rate=240:duration=0.25"]
H264 = ["-c:v", "libx264", "-preset", "ultrafast", "-g", "24", "-bf", "2", "-pix_fmt", "yuv420p"]
HEVC = ["-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=error:keyint=24"]
VP9 = ["-c:v", "libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8", "-b:v", "500k", "-g", "24"]
AV1 = ["-c:v", "libaom-av1", "-usage", "realtime", "-cpu-used", "8", "-b:v", "500k", "-g", "24"]
MJPEG = ["-c:v", "mjpeg", "-q:v", "8", "-pix_fmt", "yuvj420p"]
PRORES = ["-c:v", "prores_ks", "-profile:v", "0"]
BASES = {
    "h264.mp4": H264,
    "h264_index_first.mp4": [*H264, "-movflags", "+faststart"],
    "h264.mov": H264,
    "h264.mkv": H264,
    "h264.ts": H264,
    "hevc.mp4": [*HEVC, "-tag:v", "hvc1"],
    "hevc.mov": [*HEVC, "-tag:v", "hvc1"],
    "vp9.webm": VP9,
    "av1.mp4": AV1,
    "mjpeg.avi": MJPEG,
    "prores.mov": PRORES,
}
UNLISTED = ("mkv", "ts", "webm", "avi")  # containers that do not list their frames in front


@dataclass(frozen=True, kw_only=True)
class BadFile:
    """One file and what may become of it."""

    path: Path
    expected: tuple[str, ...]


def make_corpus(folder: Path) -> list[BadFile]:
    """Make every file; returns what must become of each."""
    folder.mkdir(parents=True, exist_ok=True)
    bases = {name: _ffmpeg(folder / f"good_{name}", PATTERN, how) for name, how in BASES.items()}
    made = [BadFile(path=path, expected=(READ,)) for path in bases.values()]
    for name, base in bases.items():
        made += _cut(folder, name, base.read_bytes())
        made += _flipped(folder, name, base.read_bytes())
    made += _no_videos(folder, bases)
    made += _headers_that_lie(folder, bases["h264.mp4"].read_bytes())
    made += _odd_but_whole(folder)
    made += _odd_times(folder, bases)
    return made


def _ffmpeg(path: Path, source: list[str], how: list[str]) -> Path:
    command = ["ffmpeg", "-y", "-v", "error", *source, *how, "-map_metadata", "-1", str(path)]
    subprocess.run(command, check=True, stdin=subprocess.DEVNULL)
    return path


def _write(folder: Path, name: str, content: bytes, *expected: str) -> BadFile:
    (folder / name).write_bytes(content)
    return BadFile(path=folder / name, expected=expected)


def _cut(folder: Path, name: str, whole: bytes) -> Iterator[BadFile]:
    """At every tenth. Without a list of frames a cut shows only in what the last packet lacks."""
    expected = (CUT, DAMAGED, READ, NO_FRAME, NOT_VIDEO) if name.endswith(UNLISTED) else (CUT, DAMAGED)
    for tenth in range(1, 10):
        yield _write(folder, f"cut_{tenth}_{name}", whole[: len(whole) * tenth // 10], *expected)


def _flipped(folder: Path, name: str, whole: bytes) -> Iterator[BadFile]:
    """Single bits in the first and last 600 bytes, where headers lie, and anywhere."""
    random = np.random.default_rng(zlib.crc32(name.encode()))
    ends = np.r_[0:600, len(whole) - 600 : len(whole)]
    for number in range(16):
        content = bytearray(whole)
        for _ in range(1 if number < 8 else 20):
            at = random.choice(ends) if number < 8 else random.integers(len(whole))
            content[int(at)] ^= 1 << int(random.integers(8))
        yield _write(folder, f"flipped_{number:02}_{name}", bytes(content), READ, *BROKEN)


def _no_videos(folder: Path, bases: dict[str, Path]) -> Iterator[BadFile]:
    whole = bases["h264.mp4"].read_bytes()
    yield _write(folder, "empty.mp4", b"", EMPTY)
    yield _write(folder, "one_byte.mp4", b"\0", NOT_VIDEO)
    yield _write(folder, "text.mp4", b"speed,pitch\n90,sinker\n" * 50, NOT_VIDEO)
    yield _write(folder, "zeros.mov", bytes(100_000), NOT_VIDEO)
    yield _write(folder, "noise.mp4", np.random.default_rng(0).bytes(100_000), NOT_VIDEO)
    yield _write(folder, "zip.mp4", b"PK\x03\x04" + bytes(2000), NOT_VIDEO)
    yield _write(folder, "list.m3u8", b"#EXTM3U\n#EXTINF:1,\ngood_h264.ts\n#EXT-X-ENDLIST\n", NOT_VIDEO)
    yield _write(folder, "list.mp4", b"#EXTM3U\n#EXTINF:1,\nhttp://127.0.0.1:1/a.ts\n", NOT_VIDEO)
    yield _write(folder, "script.mp4", b"ffconcat version 1.0\nfile good_h264.mp4\n", NOT_VIDEO)
    yield _write(folder, "only_the_type.mp4", whole[:32], CUT, DAMAGED)
    yield _write(folder, "wrong_extension.avi", whole, READ)
    yield _write(folder, "no_extension", whole, READ)
    yield _write(folder, "capitals.MP4", whole, READ)
    yield _write(folder, "two_in_one.mp4", whole + whole, READ, *BROKEN)
    yield _write(folder, "bytes_after_the_end.mp4", whole + bytes(5000), READ)
    yield _write(folder, "bytes_before.mp4", bytes(5000) + whole, READ, *BROKEN)
    tone = ["-f", "lavfi", "-i", "sine=duration=0.3"]
    for name in ("sound.m4a", "sound.mp4", "sound.mkv"):
        path = _ffmpeg(folder / name, tone, ["-c:a", "aac"])
        yield BadFile(path=path, expected=(NO_TRACK,))
    for name in ("still.png", "still.jpg", "still.gif"):
        path = _ffmpeg(folder / name, PATTERN, ["-frames:v", "1"])
        yield BadFile(path=path, expected=(NOT_VIDEO,))
        yield _write(folder, f"{name}.mp4", path.read_bytes(), NOT_VIDEO)
    (folder / "folder.mp4").mkdir(exist_ok=True)
    yield BadFile(path=folder / "folder.mp4", expected=(MISSING,))
    (folder / "dangling.mp4").unlink(missing_ok=True)
    (folder / "dangling.mp4").symlink_to("nowhere.mp4")
    yield BadFile(path=folder / "dangling.mp4", expected=(MISSING,))


def _headers_that_lie(folder: Path, whole: bytes) -> Iterator[BadFile]:
    """Boxes of ISO/IEC 14496-12: the sizes, times and lists that a decoder believes."""

    def patched(name: str, box: bytes, offset: int, value: int, *expected: str, width: int = 4) -> BadFile:
        content = bytearray(whole)
        start = content.index(b"stsd") if box == b"avc1" else 0  # the file's type box names it too
        at = content.index(box, start) + offset
        content[at : at + width] = value.to_bytes(width, "big")
        return _write(folder, name, bytes(content), *expected)

    yield patched("declared_years.mp4", b"mvhd", 20, 0xFFFFFFF0, READ, *BROKEN)
    yield patched("declared_track_years.mp4", b"mdhd", 20, 0xFFFFFFF0, READ, *BROKEN)
    yield patched("no_duration.mp4", b"mdhd", 20, 0, READ)
    yield patched("no_time_scale.mp4", b"mdhd", 16, 0, READ, *BROKEN)
    yield patched("one_tick_a_second.mp4", b"mdhd", 16, 1, READ, *BROKEN)
    yield patched("fast_clock.mp4", b"mdhd", 16, 0xFFFFFFFF, READ, *BROKEN)
    yield patched("declared_8k.mp4", b"avc1", 28, (7680 << 16) + 4320, READ, LARGE)
    yield patched("declared_no_size.mp4", b"avc1", 28, 0, READ, *BROKEN)
    yield patched("many_samples.mp4", b"stsz", 12, 0x7FFFFFFF, READ, *BROKEN)
    yield patched("huge_samples.mp4", b"stsz", 8, 0x7FFFFFFF, *BROKEN)
    yield patched("no_samples.mp4", b"stsz", 12, 0, READ, *BROKEN)
    yield patched("chunks_elsewhere.mp4", b"stco", 12, 0x7FFFFFFF, *BROKEN)
    yield patched("many_chunks.mp4", b"stco", 8, 0x7FFFFFFF, READ, *BROKEN)
    yield patched("times_that_stand.mp4", b"stts", 16, 0, READ, *BROKEN)
    yield patched("slow_times.mp4", b"stts", 16, 0x7FFFFFFF, READ, *BROKEN)
    yield patched("many_times.mp4", b"stts", 8, 0x7FFFFFFF, READ, *BROKEN)
    yield patched("other_codec.mp4", b"avc1", 0, int.from_bytes(b"hvc1", "big"), *BROKEN)
    yield patched("unknown_codec.mp4", b"avc1", 0, int.from_bytes(b"zzzz", "big"), *BROKEN)
    yield patched("large_box.mp4", b"moov", -4, 0x7FFFFFFF, READ, *BROKEN)
    yield patched("small_box.mp4", b"trak", -4, 4, *BROKEN)
    yield patched("tilted.mp4", b"tkhd", 44, 0x0000B504, READ)
    yield patched("no_matrix.mp4", b"tkhd", 44, 0, READ, *BROKEN)


def _odd_but_whole(folder: Path) -> Iterator[BadFile]:
    """What phones, editors and other programs write and what must simply be read."""

    def whole(name: str, how: list[str], source: list[str] = PATTERN, *expected: str) -> BadFile:
        return BadFile(path=_ffmpeg(folder / name, source, how), expected=expected or (READ,))

    def pattern(size: str, rate: str = "240", seconds: float = 0.1) -> list[str]:
        return ["-f", "lavfi", "-i", f"testsrc2=size={size}:rate={rate}:duration={seconds}"]

    codecs = {"h264.mp4": H264, "hevc.mp4": HEVC, "vp9.webm": VP9, "av1.mp4": AV1}
    codecs |= {"mjpeg.mov": MJPEG, "prores.mov": PRORES}
    for name, how in codecs.items():
        yield whole(f"one_frame_{name}", [*how, "-frames:v", "1"])
        yield whole(f"two_frames_{name}", [*how, "-frames:v", "2"])
        yield whole(f"small_{name}", how, pattern("64x64"))
        yield whole(f"upright_{name}", how, pattern("180x320"))
        yield whole(f"wide_{name}", how, pattern("640x66"))
        for rate in ("30", "480", "960", "24000/1001"):
            seconds = 1.0 if rate.startswith(("30", "24")) else 0.1
            yield whole(f"rate_{rate.replace('/', '_')}_{name}", how, pattern("320x180", rate, seconds))
    for size in ("321x181", "16x16", "2x2", "2x64"):
        yield whole(f"odd_{size}.mov", ["-c:v", "libx264", "-pix_fmt", "yuv444p"], pattern(size))
    for depth in ("yuv420p10le", "yuv422p10le", "yuv444p12le"):
        yield whole(f"deep_{depth}.mp4", [*HEVC, "-pix_fmt", depth])
    hdr = ["-color_primaries", "bt2020", "-color_trc", "arib-std-b67", "-colorspace", "bt2020nc"]
    yield whole("hdr.mov", [*HEVC, "-pix_fmt", "yuv420p10le", "-tag:v", "hvc1", *hdr])
    yield whole("grey.mp4", ["-c:v", "libx264", "-pix_fmt", "gray"])
    yield whole("interlaced.mp4", [*H264, "-flags", "+ilme+ildct", "-x264opts", "tff=1"])
    yield whole("interlaced.mov", [*PRORES, "-flags", "+ilme+ildct"])
    yield whole("large_8k.mp4", H264, pattern("7680x4320", "30", 0.04), LARGE)
    yield whole(
        "with_sound.mp4", [*H264, "-c:a", "aac", "-shortest"], [*PATTERN, "-f", "lavfi", "-i", "sine"]
    )
    yield whole("open_groups.mp4", [*H264, "-x264opts", "open-gop=1:bframes=3:keyint=24"])
    yield whole("intra_refresh.mp4", [*H264, "-x264opts", "intra-refresh=1:keyint=24:bframes=0"])
    yield whole("one_key_frame.mp4", [*H264, "-x264opts", "keyint=infinite:scenecut=0"])
    yield whole("fragments.mp4", [*H264, "-movflags", "+frag_keyframe+empty_moov"])
    yield from _turned(folder, (folder / "good_h264.mp4").read_bytes())


def _turned(folder: Path, whole: bytes) -> Iterator[BadFile]:
    """With each display matrix that is a turn, and each that is one mirrored (16.16 fixed point)."""
    at = whole.index(b"tkhd") + 44
    for turn, (cosine, sine) in {"0": (1, 0), "90": (0, 1), "180": (-1, 0), "270": (0, -1)}.items():
        for name, mirror in (("turned", 1), ("mirrored", -1)):
            matrix = np.array([cosine * mirror, sine * mirror, 0, -sine, cosine, 0, 0, 0, 1 << 14]) << 16
            content = whole[:at] + matrix.astype(">i4").tobytes() + whole[at + 36 :]
            yield _write(folder, f"{name}_{turn}.mp4", content, READ)


def _odd_times(folder: Path, bases: dict[str, Path]) -> Iterator[BadFile]:
    def copied(name: str, source: list[str], how: list[str], *expected: str) -> BadFile:
        return BadFile(path=_ffmpeg(folder / name, source, how), expected=expected or (READ,))

    for kind in ("h264.mp4", "h264.mov", "hevc.mp4", "av1.mp4"):
        source = str(bases[kind])
        for start in ("0.03", "0.11", "0.19"):  # trimmed without encoding again: packets before the edit list
            yield copied(f"trimmed_{start}_{kind}", ["-ss", start, "-i", source], ["-c", "copy"])
        yield copied(f"trimmed_end_{kind}", ["-i", source], ["-c", "copy", "-t", "0.1"])
        yield copied(f"late_start_{kind}", ["-itsoffset", "1.5", "-i", source], ["-c", "copy"])
    every = "setpts=if(lt(N\\,20)\\,N/30\\,if(lt(N\\,40)\\,20/30+(N-20)/240\\,20/30+20/240+(N-40)/30))/TB"
    gap = "setpts=(N+if(gt(N\\,30)\\,500\\,0))/240/TB"
    jitter = "setpts=(N+0.4*sin(N*7))/240/TB"
    for name, filter_ in {"ramp": every, "gap": gap, "jitter": jitter}.items():
        how = ["-vf", filter_, "-fps_mode", "passthrough", *H264, "-video_track_timescale", "24000"]
        yield copied(f"{name}.mp4", PATTERN, how)
    mp4 = bases["h264.mp4"]
    negative = ["-c", "copy", "-avoid_negative_ts", "disabled", "-bsf:v", "setts=ts=TS-3000"]
    yield copied("negative_times.mp4", ["-i", str(mp4)], negative, READ, *BROKEN)
    yield copied("negative_times.mkv", ["-i", str(mp4)], negative, READ, *BROKEN)
    for name, times in {"repeated": "floor(PTS/256)*256", "all_alike": "0", "backwards": "-PTS"}.items():
        how = ["-c", "copy", "-bsf:v", f"setts=pts={times}:dts=DTS"]
        yield copied(f"{name}_times.mkv", ["-i", str(bases["mjpeg.avi"])], how, READ, *BROKEN)
        yield copied(f"{name}_times.mov", ["-i", str(bases["prores.mov"])], how, READ, *BROKEN)
    lost = ["-c", "copy", "-bsf:v", "noise=drop=not(mod(n\\,7))*gt(n\\,0)"]
    for kind in ("h264.mkv", "hevc.mp4", "vp9.webm", "mjpeg.avi"):
        source = ["-i", str(bases[kind])]
        yield copied(f"packets_lost_{kind}", source, lost, READ, *BROKEN)
    noisy = ["-c", "copy", "-bsf:v", "noise=amount=200"]
    for kind in ("h264.mkv", "h264.mp4", "hevc.mp4", "vp9.webm", "av1.mp4", "mjpeg.avi", "prores.mov"):
        yield copied(f"noisy_{kind}", ["-i", str(bases[kind])], noisy, READ, *BROKEN)


if __name__ == "__main__":
    print(len(make_corpus(Path(sys.argv[1]))), "files")
