"""Measure many clips at once, each apart from the others.

In:   paths of clips (or object-store addresses), settings, how many workers or which Dask scheduler.
Out:  one outcome for each clip, as it comes: measured, or set aside with the reason.
Why:  a codec that crashes, hangs or asks for all memory takes down its own process only; the results are
      those of `measure_clip` to the last digit, since that is what each worker runs.
"""

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from contextlib import ExitStack
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from queue import SimpleQueue

from release.apart import Apart, Limits
from release.cores import cores
from release.errors import ClusterUnreachable, ReleaseError
from release.pipeline import ThrowMeasurement, finished
from release.settings import Settings
from release.store import at_hand, name_of
from release.two_phones import asked_together, kept_apart, measuring_together


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredFile:
    """One clip's outcome: a measurement, or why there is none (both where the throw was refused)."""

    path: Path | str  # as given; a string is an address such as s3://barn/clip.mov
    measured: ThrowMeasurement | None
    why: str | None

    @property
    def name(self) -> str:
        return name_of(self.path)


def measure_many(
    paths: Sequence[Path | str],
    settings: Settings | Mapping[Path | str, Settings] = Settings(),
    *,
    workers: int = 2,
    scheduler: str | None = None,
    limits: Limits = Limits(),
) -> Iterator[MeasuredFile]:
    """Measure each clip, several at once; yield the outcomes in the order in which they are done.

    Args:
        paths: Local files, or addresses that fsspec opens (`s3://...`, with the package for that store).
        settings: The same for every clip, or those of the clips about which anything is said.
        workers: Processes on this machine; each loads the models once.
        scheduler: A Dask scheduler (`tcp://host:port`) whose workers do it instead; they see the same
            paths. A clip whose worker is lost is measured again by another.
        limits: What one clip may take.

    Raises:
        ClusterUnreachable: No scheduler answers there, or it has no workers.
    """
    of_clip = settings if isinstance(settings, Mapping) else dict.fromkeys(paths, settings)
    if scheduler is not None:
        yield from _on_cluster(paths, of_clip, scheduler, limits)
        return
    with ExitStack() as stack:
        free: SimpleQueue[Apart] = SimpleQueue()
        at_once = min(workers, len(paths))
        for _ in range(at_once):  # each on its share of the cores, or their threads stand in each other's way
            free.put(stack.enter_context(Apart(limits, n_cores=max(cores() // at_once, 1))))

        def one(path: Path | str) -> MeasuredFile:
            apart = free.get()
            try:
                return _outcome(apart, path, of_clip.get(path, Settings()))
            finally:
                free.put(apart)

        with ThreadPoolExecutor(workers) as pool:
            yield from _as_they_come(pool, one, paths, workers)


def _as_they_come(
    pool: Executor, one: Callable[[Path | str], MeasuredFile], paths: Sequence[Path | str], at_once: int
) -> Iterator[MeasuredFile]:
    """Outcomes hold pictures, so no more clips are handed out than are taken back."""
    left = iter(paths)
    waiting: dict[Future[MeasuredFile], Path | str] = {}
    while True:
        waiting |= {pool.submit(one, path): path for path in islice(left, at_once - len(waiting))}
        if not waiting:
            return
        for done in wait(waiting, return_when=FIRST_COMPLETED).done:
            path = waiting.pop(done)
            error = done.exception()
            if error is None:
                yield done.result()
            else:  # on a cluster only: its scheduler gave the clip up
                yield MeasuredFile(path=path, measured=None, why=f"its workers were lost: {error}")


def _outcome(apart: Apart, path: Path | str, settings: Settings) -> MeasuredFile:
    try:
        measured, alone = asked_together(lambda s: apart.ask(_measured, path, s, about=path), settings)
    except ReleaseError as error:
        return MeasuredFile(path=path, measured=None, why=str(error))
    if settings.partner is not None and alone is not None:
        measured = kept_apart(measured, settings.partner, alone)
    return MeasuredFile(path=path, measured=measured, why=measured.refused)


def _measured(path: Path | str, settings: Settings) -> ThrowMeasurement:
    """Run by the worker: the clip itself, or a copy of it that is deleted afterwards."""
    with at_hand(path) as file:
        measured = finished(measuring_together(file, settings)).measured
    if isinstance(path, Path):
        return measured
    return replace(measured, clip=replace(measured.clip, path=Path(file.name)))


def _on_cluster(
    paths: Sequence[Path | str], settings: Mapping[Path | str, Settings], scheduler: str, limits: Limits
) -> Iterator[MeasuredFile]:
    try:
        from distributed import Client
    except ImportError as error:
        raise ClusterUnreachable(scheduler, "install release[cluster] on every machine") from error
    try:
        client = Client(scheduler, timeout=10, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ClusterUnreachable(scheduler, str(error)) from error
    with client:
        threads: dict[str, int] = client.nthreads()  # pyright: ignore[reportAssignmentType]
        at_once = sum(threads.values())
        if not at_once:
            raise ClusterUnreachable(scheduler, "it has no workers")
        # The workers run in other folders than this process.
        given = {path.absolute() if isinstance(path, Path) else path: path for path in paths}
        task = _Task(
            settings={sent: settings.get(path, Settings()) for sent, path in given.items()}, limits=limits
        )
        # Twice as many as can run, so that no worker waits for the next clip to arrive.
        for one in _as_they_come(client.get_executor(pure=False), task, list(given), 2 * at_once):
            yield replace(one, path=given[one.path])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """What goes to a cluster's worker, whose threads keep a process each: its models stay loaded."""

    settings: Mapping[Path | str, Settings]
    limits: Limits

    def __call__(self, path: Path | str) -> MeasuredFile:
        apart = getattr(_of_thread, "apart", None)
        if apart is None or apart.limits != self.limits:
            apart = _of_thread.apart = Apart(self.limits, n_cores=1)
        return _outcome(apart, path, self.settings[path])


_of_thread = threading.local()
