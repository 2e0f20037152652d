"""Watches a folder and takes in what is copied there, each file once it has been still for a while.

By looking every second rather than by notices of the system: those do not come from network folders.
"""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from release.errors import ReleaseError
from release.logbook import enter_flights, enter_sheet, link_logbook
from release.page_steps import Working, said_of, to_measure_again
from release.record.read import clips as clips_of
from release.record.write import session_for
from release.record.write_clips import SUFFIXES, add_clips
from release.record.write_open import Logbook

STILL_S = 3.0  # a file whose size has been the same for so long is taken to be whole
LOOK_S = 1.0

Stamp = tuple[int, int]  # size in bytes, time of the last change in ns


@dataclass(kw_only=True)
class Stillness:
    """Which files have stopped changing; each is told once, and again after it has changed."""

    still_s: float = STILL_S
    _since: dict[Path, tuple[Stamp, float]] = field(default_factory=dict)
    _told: dict[Path, Stamp] = field(default_factory=dict)

    def still(self, files: Mapping[Path, Stamp], now_s: float) -> list[Path]:
        """Files that are still now and were not told yet.

        Args:
            files: What lies in the folder.
            now_s: On any clock that only goes forward.
        """
        found = []
        for path, stamp in files.items():
            before, since = self._since.get(path, (None, now_s))
            since = since if stamp == before else now_s
            self._since[path] = (stamp, since)
            if now_s - since >= self.still_s and self._told.get(path) != stamp and stamp[0] > 0:
                self._told[path] = stamp
                found.append(path)
        for gone in self._since.keys() - files.keys():
            del self._since[gone]
        return found


def files_in(folder: Path) -> dict[Path, Stamp]:
    """Clips and tables in a folder and below; links and hidden files are left alone.

    Raises:
        WatchedFolderGone: The folder is not there, or not any more.
    """
    found: dict[Path, Stamp] = {}
    if not folder.is_dir():
        raise WatchedFolderGone(folder)
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() not in SUFFIXES | {".csv"} or path.name[0] in "._~":
            continue
        try:
            if path.is_file() and not path.is_symlink():
                state = path.stat()
                found[path] = (state.st_size, state.st_mtime_ns)
        except OSError:  # gone again
            continue
    return found


class WatchedFolderGone(ReleaseError):
    def __init__(self, folder: Path) -> None:
        super().__init__(f"there is no folder to watch: {folder}. Check the path, or plug in its disk")


def watch(
    logbook: Logbook,
    folder: Path,
    *,
    session: str | None = None,
    camera: str = "",
    say: Callable[[str], None],
    looks: int | None = None,
) -> None:
    """Take in what comes, measure it and link the session, until interrupted.

    Args:
        logbook: Where to.
        folder: Clips go in as clips; a CSV with "sheet" in its name as throw sheet, any other as flight file.
        session: Its name; None for today's.
        camera: Which phone, where there are several.
        say: Told of every file, in a line.
        looks: Stop after so many looks; None for never.

    Raises:
        WatchedFolderGone: The folder is not there.
    """
    into, working, stillness = session_for(logbook, session), Working(), Stillness()
    try:
        while looks is None or looks > 0:
            ready = stillness.still(files_in(folder), time.monotonic())
            for path in ready:
                say(f"{path.name}: {_taken(logbook, path, into, camera, working)}")
            if ready:
                link_logbook(logbook, into)
                for sha256 in to_measure_again(logbook, into):
                    working.measure(logbook, sha256)
            looks = None if looks is None else looks - 1
            time.sleep(LOOK_S)
    finally:
        working.close()


def _taken(logbook: Logbook, path: Path, session: str, camera: str, working: Working) -> str:
    """Take one file in, and say what became of it."""
    if path.suffix.lower() == ".csv":
        enter = enter_sheet if "sheet" in path.name.lower() else enter_flights
        try:
            return said_of(enter(logbook, path, session))
        except ReleaseError as error:
            return f"set aside: {error}"
    taken = next(iter(add_clips(logbook, [path], session, camera=camera)))
    if taken.sha256 is None:
        return f"set aside: {taken.why_not}"
    clips = clips_of(logbook).set_index("sha256")
    if clips.loc[taken.sha256, "state"] == "waiting":
        working.measure(logbook, taken.sha256)
        clips = clips_of(logbook).set_index("sha256")
    state, why = clips.loc[taken.sha256, ["state", "why"]]
    return f"{state}: {why}" if isinstance(why, str) and why else str(state)
