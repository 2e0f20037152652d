"""A logbook of 1,000,000 generated throws: how long a session takes to read, and how large a throw is.

Run with `.venv/bin/python tests/bench/logbook_growth.py [--quick]`. Prints a table of figure, goal and
result, ends with how many goals are met, and exits 1 where one is missed. The rows are made up, but as long
as real ones: a measured clip, a linked ball and a sheet row a throw, a decision on one throw in ten, 100
throws a session, 50 athletes. Keys are random, as hashes are. Clips and frames are not counted.
"""

import argparse
import hashlib
import json
import random
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from release.orientation.result import ANGLES, FIELD_LENGTHS
from release.record import read
from release.record import schema as t
from release.record.read_session import session_table
from release.record.write_open import Logbook, new_logbook
from release.views.web.read_session import read_session, read_sessions

PER_SESSION = 100
ATHLETES = 50
SOME = 50_000  # throws; their rows are written as they come, for the size, and all there are with --quick
FIGURES = (*ANGLES, *FIELD_LENGTHS)
LIMITS = ["one camera: the palm faces it within 25 degrees, so rotation is known to 12 degrees at best"]
MODELS = {f"model {i}": hashlib.sha256(bytes([i])).hexdigest() for i in range(6)}
SETTINGS = {"release_frame": None, "capture_fps": None, "throws": None, "view": None, "distance_ft": 60.5}
POINTS = {name: [512.123456789, 333.987654321] for name in ("S", "E", "W", "M2", "M3", "M5", "B")}
TIME_BASE = {"slowdown": 8.0, "source": "stated", "why": "240 frames a second by the phone's own note"}
GOAL_S, GOAL_KB = 0.5, 20.0


def key(kind: str, i: int) -> str:
    return hashlib.sha256(f"{kind} {i}".encode()).hexdigest()


def rows(n: int, as_they_come: bool = False) -> Iterator[tuple[str, Iterable[tuple[object, ...]]]]:
    """Table to its rows, in the order of their random keys, the quickest to write, or as they come."""
    chance = random.Random(1)
    session = [f"{i:032x}" for i in range(-(-n // PER_SESSION))]
    day = [f"20{10 + i // 336:02d}-{1 + i // 28 % 12:02d}-{1 + i % 28:02d}" for i in range(len(session))]
    at = "2026-05-01T10:00:00.000000+00:00"
    cues, pitches = ("long arm", "stay behind it", "short arm", None), ("slider", "sweeper", "four-seam")
    throws = [(session[i // PER_SESSION], 1 + i % PER_SESSION) for i in range(n)]
    athlete = [f"P{i // PER_SESSION % ATHLETES:02d}" for i in range(n)]
    by_clip, by_measurement = ([(key(kind, i), i) for i in range(n)] for kind in ("clip", "measurement"))
    if not as_they_come:
        by_clip, by_measurement = sorted(by_clip), sorted(by_measurement)
    dumped = [json.dumps(value) for value in (TIME_BASE, LIMITS, [], SETTINGS, MODELS, POINTS)]
    clip = (".mov", 9_000_000, "A", None, at, at, "measured", None)
    alone = (None, None)  # no other phone was to be fitted with it
    decided = (None, None, None, '{"frame_index": 121.0}', None)
    yield "athletes", ((f"P{i:02d}", "R", "18 or over", "own", "2026-01-01", None) for i in range(ATHLETES))
    yield "sessions", ((s, f"session {i}", day[i], "{}", None) for i, s in enumerate(session))
    yield (
        "clips",
        ((k, throws[i][0], f"IMG_{i:07d}.MOV", *clip, key("measurement", i)) for k, i in by_clip),
    )
    told = ("two-seam, index on the seam", "none", "flat", "under", "deep", "firm", 85.0, "low away")
    told = (*told, "low", "game ball", "felt late, asked to repeat", None)
    yield (
        "throws",
        (
            (*throws[i], at, athlete[i], "R", pitches[i % 3], cues[i % 4], i % PER_SESSION // 10, *told)
            for i in range(n)
        ),
    )
    flight = [chance.gauss(0, 10) for _ in t.FLIGHT_FIGURES]
    yield (
        "flights",
        (
            (throws[i][0], f"{i:08d}", at, athlete[i], pitches[i % 3], *flight, "full flight", None, None)
            for i in range(n)
        ),
    )
    yield (
        "measurements",
        (
            (k, key("clip", i), key("models", 0), key("settings", 0), "", at, "R", None, *dumped, 120, *alone)
            for k, i in by_measurement
        ),
    )
    yield "releases", ((k, 120.4, 0.5017, 0.21, "ball") for k, _ in by_measurement)
    yield (
        "orientations",
        (
            (k, name, 12.345678901234, 4.56789012345, 3.1, 21.7, None)
            for k, _ in by_measurement
            for name in sorted(FIGURES)
        ),
    )
    why = "time and order; the runner-up is 8.1 s away"
    yield (
        "links",
        (
            (throws[i][0], i % PER_SESSION, key("clip", i), throws[i][1], f"{i:08d}", 0.9991, "linked", why)
            for i in range(n)
        ),
    )
    yield (
        "facts",
        (
            (f"{i:032x}", at, "coach", "release set", throws[i][0], key("clip", i), *decided)
            for i in range(0, n, 10)
        ),
    )


def generate(book: Logbook, n: int, as_they_come: bool = False) -> float:
    """Fill a logbook; returns the size of its database in bytes."""
    book.engine.dispose()
    connection = sqlite3.connect(str(book.database_file), isolation_level=None)
    for pragma in ("synchronous = OFF", "foreign_keys = OFF", "cache_size = -2000000"):
        connection.execute(f"PRAGMA {pragma}")
    for name, values in rows(n, as_they_come):
        connection.execute("BEGIN")
        marks = ", ".join("?" * len(t.metadata.tables[name].columns))
        connection.executemany(f"INSERT INTO {name} VALUES ({marks})", values)
        connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return book.database_file.stat().st_size if book.database_file else 0


def report_read(book: Logbook, session: str) -> None:
    """What `release report` reads of a session before it draws."""
    session_table(book, session)
    read.flights(book, session)
    read.links(book, session)
    read.facts(book, session=session)
    read.clips(book, session)
    read.measurements(book, session)


def readings(session: str, name: str) -> dict[str, Callable[[Logbook], object]]:
    filters = {"athlete": "P07", "pitch": "slider", "cue": "long arm"}
    return {
        "list all sessions with their counts": lambda book: read.session_counts(book),
        "list all sessions (page)": lambda book: read_sessions(book),
        "find a session by name": lambda book: read.session_id(book, name),
        "list one session's clips": lambda book: read.clips(book, session),
        "filter one session's throws": lambda book: read.throws(book, session=session, cue="long arm"),
        "filter all throws by athlete, pitch, cue": lambda book: read.throws(book, **filters),
        "filter all throws by athlete": lambda book: read.throws(book, athlete="P07"),
        "read one session to compare": lambda book: session_table(book, session),
        "read one session to report": lambda book: report_read(book, session),
        "read one session for the page": lambda book: read_session(book, session),
        "list the roster with counts": lambda book: read.roster(book),
    }


def measured(folder: Path, n: int) -> Iterator[tuple[str, str, str, bool]]:
    apart = new_logbook(Path(tempfile.mkdtemp(dir=folder)) / "apart")
    kilobytes = generate(apart, SOME, as_they_come=True) / SOME / 1e3
    apart.engine.dispose()
    yield "database, a throw", f"< {GOAL_KB:.0f} kB", f"{kilobytes:.2f} kB", kilobytes < GOAL_KB
    made = (folder / "book").exists()
    book, start = new_logbook(folder / "book"), time.perf_counter()
    if not made:
        size = generate(book, n)
        took_s = time.perf_counter() - start
        print(f"{n:,} throws generated in {took_s:.0f} s, {size / 1e9:.2f} GB", flush=True)
    number = n // PER_SESSION * 2 // 3
    for what, do in readings(f"{number:032x}", f"session {number}").items():
        took = []
        for _ in range(5):
            begin = time.perf_counter()
            do(book)
            took.append(time.perf_counter() - begin)
        text = f"{sorted(took)[2]:.3f} s, at worst {max(took):.3f} s"
        yield what, f"< {GOAL_S} s", text, max(took) < GOAL_S
    book.engine.dispose()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help=f"{SOME:,} throws, under a minute")
    parser.add_argument(
        "--keep", type=Path, help="make the logbook here and leave it, or read the one made before"
    )
    given = parser.parse_args()
    met = total = 0
    with tempfile.TemporaryDirectory() as scratch:
        print(f"{'figure':44} {'goal':10} result")
        for figure, goal, result, reached in measured(
            given.keep or Path(scratch), 50_000 if given.quick else 1_000_000
        ):
            met, total = met + reached, total + 1
            print(f"{figure:44} {goal:10} {result}{'' if reached else '   MISSED'}", flush=True)
    print(f"{met} of {total} goals met")
    return 0 if met == total else 1


if __name__ == "__main__":
    sys.exit(main())
