"""What measuring costs: time, memory and how it grows with processes.

Run from a checkout: `.venv/bin/python tests/bench/measure_cost.py [--quick]`; some 20 minutes, nearly all of
them for 600 short clips, or with --quick under one. What a clip costs is processor time on one core (other
programs on the machine change it little); the ratios of several processes can only be wall time, so run those
on a machine that does nothing else: the load is printed.
"""

import argparse
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import cycle, islice
from pathlib import Path

import av

from release import coarse_look, pipeline, throw_search
from release.batch import measure_many
from release.clip.read import open_video, read_clip
from release.frames.decode import stream
from release.landmarks.infer_mediapipe import hand_landmarks, pose_landmarks
from release.landmarks.read_models import fetched_model
from release.logbook import measure_logbook
from release.record.write import session_for
from release.record.write_clips import add_clips
from release.record.write_open import new_logbook

SAMPLE = Path("sample_clips")
THROW = SAMPLE / "throw_01.mp4"
Row = tuple[str, str, str, bool | None]  # figure, goal, result, met; None: not run


@dataclass(frozen=True, slots=True)
class Took:
    """Processor and wall time, seconds."""

    cpu_s: float
    wall_s: float


def took(do: Callable[[], object]) -> Took:
    cpu_s, wall_s = time.process_time(), time.perf_counter()
    do()
    return Took(time.process_time() - cpu_s, time.perf_counter() - wall_s)


def long_clip(path: Path, before_s: float, after_s: float) -> Path:
    """1080p at 240 frames a second with a key frame each second: a still, the throw, a still, with noise."""
    still = f"tpad=start_mode=clone:start_duration={before_s}:stop_mode=clone:stop_duration={after_s}"
    filters = f"{still},scale=1920:1080,noise=alls=6:allf=t"
    encoder = ["-c:v", "libx264", "-preset", "veryfast", "-crf", "20", "-g", "240", "-pix_fmt", "yuv420p"]
    command = ["ffmpeg", "-y", "-v", "error", "-i", str(THROW), "-vf", filters, *encoder, str(path)]
    subprocess.run(command, check=True)
    return path


def bare_decode(path: Path) -> None:
    with open_video(path) as (container, track):
        for _ in container.decode(track):
            pass


def finding(path: Path) -> tuple[float, float]:
    """Processor seconds of reading the container, going through the clip and decoding, and of the whole."""
    parts: list[float] = []
    inside = False

    def timed(function: Callable[..., object]) -> Callable[..., object]:
        def run(*arguments: object, **named: object) -> object:
            nonlocal inside
            if inside:
                return function(*arguments, **named)
            answer: list[object] = []
            inside = True
            parts.append(took(lambda: answer.append(function(*arguments, **named))).cpu_s)
            inside = False
            return answer[0]

        return run

    names = (
        (pipeline, "read_clip"),
        (throw_search, "gone_through"),
        (coarse_look, "gone_through"),
        (coarse_look, "_read_coarse"),
        (throw_search, "kept_of"),
        (pipeline, "_picture"),
    )
    kept = [(module, name, getattr(module, name)) for module, name in names]
    for module, name, function in kept:
        setattr(module, name, timed(function))
    try:
        whole_s = took(lambda: pipeline.measure_clip(path)).cpu_s
    finally:
        for module, name, function in kept:
            setattr(module, name, function)
    return sum(parts), whole_s


def models_on_every_frame(path: Path, every: int) -> float:
    """Processor seconds of MediaPipe's pose and hand models on each frame, from every so many of them."""
    import numpy as np

    clip = read_clip(path)
    frames = [image for _, image in stream(clip, range(0, len(clip.presentation_s), every))]
    pose_landmarks(frames[0])  # loads the models
    crop = np.ascontiguousarray(frames[0][:224, :224])[None]
    hand_landmarks(crop)
    cost = took(lambda: [(pose_landmarks(frame), hand_landmarks(crop)) for frame in frames])
    return cost.cpu_s / len(frames) * len(clip.presentation_s)


def one_clip(folder: Path, quick: bool) -> Iterator[Row]:
    """On one core, as MediaPipe's models run: busy threads slow each other, and processor time counts that.

    Thrice in turn (once if quick), and the median of each, since a host that others share changes its pace.
    """
    clip = long_clip(folder / "throw_3_s.mp4", 0.4, 1.95)
    models = fetched_model("hand_landmark_full.tflite") is not None
    with on_cores(1):
        pipeline.measure_clip(THROW)  # loads the models
        rounds = [one_round(clip, 90 if quick else 36, models) for _ in range(1 if quick else 3)]
    bare_s, found_s, whole_s, every_s = (statistics.median(times) for times in zip(*rounds, strict=True))
    yield f"bare decode of {len(read_clip(clip).presentation_s)} frames", "", f"{bare_s:.2f} s", True
    for what, goal, cost_s in (
        ("finding and decoding, bare decodes", 1.0, found_s),
        ("the whole measurement, bare decodes", 2.0, whole_s),
    ):
        ratio = cost_s / bare_s
        yield what, f"<= {goal}", f"{ratio:.2f}: {cost_s:.2f} s", ratio <= goal
    if not models:
        yield "faster than models on every frame", ">= 15", "not run: `release models fetch` first", None
    else:
        every_s += bare_s
        ratio = every_s / whole_s
        yield "faster than models on every frame", ">= 15", f"{ratio:.1f} ({every_s:.1f} s)", ratio >= 15


def one_round(clip: Path, every: int, models: bool) -> tuple[float, float, float, float]:
    """Processor seconds of a bare decode, of finding and decoding, of the whole, of models on every frame."""
    bare_s = took(lambda: bare_decode(clip)).cpu_s
    return bare_s, *finding(clip), models_on_every_frame(clip, every) if models else 0.0


PEAK = """
import sys
from pathlib import Path
from release.pipeline import measure_clip
measure_clip(Path(sys.argv[1]))
print(*[line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")])
"""


def memory(folder: Path, quick: bool) -> Iterator[Row]:
    clips = {"a 3 s clip": folder / "throw_3_s.mp4"}
    if not quick:
        clips["a 12 s clip"] = long_clip(folder / "throw_12_s.mp4", 5.0, 6.35)
    for what, clip in clips.items():
        run = subprocess.run([sys.executable, "-c", PEAK, clip], capture_output=True, text=True, check=True)
        peak_mb = int(run.stdout.split()[-1]) / 1000
        yield f"peak memory of a worker, {what}", "<= 400 MB", f"{peak_mb:.0f} MB", peak_mb <= 400


def unchanged(folder: Path) -> Iterator[Row]:
    book = new_logbook(folder / "book")
    list(add_clips(book, [SAMPLE / "throw_02.mp4"], session_for(book, None)))
    measure_logbook(book, workers=1)
    again = took(lambda: measure_logbook(book, workers=1))
    yield "the same clip again, unchanged", "<= 0.2 s", f"{again.wall_s:.3f} s", again.wall_s <= 0.2
    book.engine.dispose()


def sample(n: int) -> list[Path]:
    """So many clips: the sample session's throws, over and over where there are fewer."""
    throws = sorted(SAMPLE.glob("throw_*.mp4"))
    return [path.absolute() for path in islice(cycle(throws), n)]


@contextmanager
def on_cores(n: int) -> Iterator[None]:
    """This process, and what it starts, on so many cores."""
    every = os.sched_getaffinity(0)
    os.sched_setaffinity(0, sorted(every)[:n])
    try:
        yield
    finally:
        os.sched_setaffinity(0, every)


def side_by_side(on_two: int, on_one: int) -> Iterator[Row]:
    """Two processes on two cores, between two halves of one clip at a time on one core.

    So a machine that steadily grows slower or faster does not change the ratio.
    """
    halves = sample(on_one)[: on_one // 2], sample(on_one)[on_one // 2 :]
    before = measured_by(halves[0], 1)
    two_s, two_cpu_s = measured_by(sample(on_two), 2)
    after = measured_by(halves[1], 1)
    one_s, one_cpu_s = (sum(both) / 2 for both in zip(before, after, strict=True))
    ratio = one_s / two_s
    what = f"{ratio:.2f}; {one_cpu_s:.1f} s of one core a clip, {two_cpu_s:.1f} s on two"
    yield f"{on_two} clips on 2 cores against {on_one} on 1", ">= 1.8", what, ratio >= 1.8
    hourly = f"{3600 / one_cpu_s:.0f} by processor time, {3600 / one_s:.0f} by the clock"
    yield "throws an hour and core", "", hourly, True


def measured_by(clips: list[Path], workers: int) -> tuple[float, float]:
    """Seconds a clip by the clock, from each worker's first clip on, and of processor time, of all clips.

    Starting and loading the models counts in the processor time alone.
    """
    before, ends_s = resource.getrusage(resource.RUSAGE_CHILDREN), []
    with on_cores(workers):
        for _ in measure_many(clips, workers=workers):
            ends_s.append(time.perf_counter())
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    return (ends_s[-1] - ends_s[workers - 1]) / (len(clips) - workers), cpu_s / len(clips)


def on_cluster(n: int) -> Iterator[Row]:
    """One Dask worker on one core, then two on two."""
    from distributed import LocalCluster

    took_s = []
    for workers in (1, 2):
        with (
            on_cores(workers),
            LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                host="127.0.0.1",
                dashboard_address=None,
                processes=True,
            ) as cluster,
        ):
            address = cluster.scheduler_address
            list(measure_many(sample(workers), scheduler=address))  # loads the models
            took_s.append(took(lambda a=address: list(measure_many(sample(n), scheduler=a))).wall_s)
    ratio = took_s[0] / took_s[1]
    yield f"{n} clips on 2 Dask workers against 1", ">= 1.6", f"{ratio:.2f}", ratio >= 1.6


def starting() -> Iterator[Row]:
    release = Path(sys.executable).parent / "release"
    for what, command, goal_s in (
        ("import release", [sys.executable, "-c", "import release"], 0.25),
        ("release --help", [str(release), "--help"], 0.5),
    ):
        runs = [took(lambda c=command: subprocess.run(c, capture_output=True, check=True)) for _ in range(5)]
        best_s = min(run.wall_s for run in runs)
        yield what, f"< {goal_s} s", f"{best_s:.2f} s, the best of 5", best_s < goal_s


def rows(folder: Path, quick: bool) -> Iterator[Row]:
    yield from starting()
    yield from one_clip(folder, quick)
    yield from memory(folder, quick)
    yield from unchanged(folder)
    if quick:
        yield "500 clips on 2 cores against 100 on 1", ">= 1.8", "not run with --quick", None
        yield "12 clips on 2 Dask workers against 1", ">= 1.6", "not run with --quick", None
    else:
        yield from side_by_side(500, 100)
        yield from on_cluster(12)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="one clip only: about a minute instead of 20")
    quick = parser.parse_args().quick
    print(
        f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, "
        f"PyAV {av.__version__}"
    )
    print(f"load before the run: {os.getloadavg()[0]:.1f}; other programs lengthen what goes by the clock")
    met = missed = 0
    print(f"{'figure':44} {'goal':10} result")
    with tempfile.TemporaryDirectory() as scratch:
        for figure, goal, result, reached in rows(Path(scratch), quick):
            print(f"{figure:44} {goal:10} {result}{'   MISSED' if reached is False else ''}", flush=True)
            if goal and reached is not None:
                met, missed = met + reached, missed + (not reached)
    print(f"{met} of {met + missed} goals met")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
