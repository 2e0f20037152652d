"""What a machine needs for the tool to work, what it lacks, and how to mend that."""

import importlib
import importlib.metadata
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import av
from av.codec.codec import UnknownCodecError

from release.apart import Apart
from release.errors import ReleaseError
from release.landmarks.read_models import models_folder, readiness

CODECS = ("h264", "hevc", "vp9", "av1", "mjpeg", "prores")  # what phones and editors write
WORKER_BYTES = 2_000_000_000
FREE_BYTES = 2_000_000_000
OPTIONAL = {
    "distributed": ("measuring on several machines", "install release[cluster]"),
    "psycopg": ("a logbook on a database server", "install release[postgres]"),
    "weasyprint": ("reports and forms as PDF", "install release[pdf], and on Linux the system's Pango"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing that was looked at."""

    what: str
    ready: bool
    remedy: str  # empty when ready
    needed: bool = True  # the main job does without it otherwise


def machine_checks(workers: int = 2) -> list[Check]:
    """Everything that was looked at, what is needed first.

    Args:
        workers: Clips that are to be measured at once.
    """
    found = [*_python(), *_codecs(), *_room(workers), _processes(), *_models(), *_optional()]
    return sorted(found, key=lambda check: not check.needed)


def check_lines(checks: list[Check]) -> list[str]:
    """For people: one line each, what is wrong with its remedy."""

    def word(check: Check) -> str:
        return "ok" if check.ready else "wrong" if check.needed else "without"

    return [f"{word(c):8} {c.what}{f': {c.remedy}' if c.remedy else ''}" for c in checks]


def _check(what: str, ready: bool, remedy: str, *, needed: bool = True) -> Check:
    return Check(what=what, ready=ready, remedy="" if ready else remedy, needed=needed)


def _python() -> Iterator[Check]:
    version = sys.version_info
    yield _check(
        f"Python {version.major}.{version.minor}",
        version[:2] == (3, 11),
        "install Python 3.11, then the tool again",
    )
    installed = {name for name in ("opencv-python", "opencv-contrib-python") if _version(name)}
    yield _check(
        "one OpenCV",
        not installed,
        f"{', '.join(sorted(installed))} writes over the headless one: uninstall both, then install "
        "opencv-python-headless again",
    )


def _version(name: str) -> str | None:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return None


def _codecs() -> Iterator[Check]:
    for name in CODECS:
        yield _check(
            f"decoder for {name}", _decodes(name), "install the tool's own PyAV again: pip install av"
        )


def _decodes(name: str) -> bool:
    try:
        av.Codec(name, "r")
    except UnknownCodecError:
        return False
    return True


def _room(workers: int) -> Iterator[Check]:
    memory = _memory_bytes()
    if memory is not None:
        yield _check(
            f"{memory / 1e9:.1f} GB of memory for {workers} clips at once",
            memory > workers * WORKER_BYTES,
            f"measure with --workers {max(int(memory // WORKER_BYTES), 1)}",
        )
    folders = {"temporary folder": Path(tempfile.gettempdir()), "this folder": Path.cwd()}
    for what, folder in (folders | {"models' folder": models_folder()}).items():
        there = next(p for p in (folder, *folder.parents) if p.exists())
        yield _check(
            f"{what} can be written", os.access(there, os.W_OK), f"change the permissions of {there}"
        )
        free = shutil.disk_usage(there).free
        yield _check(
            f"{what} has {free / 1e9:.0f} GB free", free > FREE_BYTES, f"make room on the disk of {there}"
        )


def _memory_bytes() -> int | None:
    """None where the system does not say (Windows)."""
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, ValueError, OSError):
        return None


def _processes() -> Check:
    """Clips are measured in processes of their own."""
    try:
        with Apart() as apart:
            apart.ask(os.getpid, about=Path())
    except (ReleaseError, OSError) as error:
        return _check("processes of its own", False, f"a process could not be started: {error}")
    return _check("processes of its own", True, "")


def _models() -> Iterator[Check]:
    for what, ready, remedy in readiness():
        yield _check(what, ready, remedy)


def _optional() -> Iterator[Check]:
    for name, (purpose, remedy) in OPTIONAL.items():
        try:
            importlib.import_module(name)
            ready = True
        except (ImportError, OSError):  # WeasyPrint raises OSError where Pango is missing
            ready = False
        yield _check(purpose, ready, remedy, needed=False)
