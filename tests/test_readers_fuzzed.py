"""Whatever bytes a table, a mapping or a plan holds, the reader answers or says in words what is wrong."""

import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from release.camera.read_camera import read_camera
from release.errors import ReleaseError
from release.flight.columns import COLUMNS
from release.flight.read import read_flights
from release.flight.read_mapping import read_mapping
from release.session.read import CLIPS, DECISIONS, SHEET, read_clips, read_decisions, read_sheet
from release.session.read_plan import read_plan
from release.stats.read_readings import read_readings
from release.stats.read_throws import read_throws

ZONE = ZoneInfo("America/Chicago")
WHOLE = """
break_window = "full flight"
time_zone = "Etc/GMT+5"
[columns.flight]
name = "No"
[columns.speed_mph]
name = "Speed"
unit = "km/h"
[columns.horizontal_break_in]
name = "Side"
unit = "cm"
positive = "toward first base"
[columns.time]
name = ["Date", "Clock"]
format = "%d.%m.%Y %H:%M:%S"
"""
PLAN = 'unit = "block"\ncues = ["usual", "long arm"]\nblocks = 8\nlongest_run = 2\nseed = 1\norder = [0, 1]\n'
CAMERA = 'view = "behind"\nheight_m = 1.5\n[[marks]]\nname = "rubber front left"\nx_px = 3.0\ny_px = 4.0\n'

cells = st.one_of(
    st.sampled_from(
        ["", "1", "R", "L", "slider", "four-seam", "91,2", "1.234,5", "1e400", "-0", "nan", "inf"]
    ),
    st.sampled_from(
        ["2026-03-01T10:00:00-05:00", "2026-11-01 01:30", "24:00", "10:61", "0001-01-01", "9999-12-31"]
    ),
    st.sampled_from(
        ['"', '""', "'", "=1+1", "\t", ";", ",", "\r", "\x00", "ß", "\u202e", "１２", "９９", "1_0", "²"]
    ),
    st.text(max_size=12),
    st.integers().map(str),
    st.floats().map(str),
)
numbers = st.one_of(st.integers(-9, 9), st.integers(), st.floats(), st.booleans(), st.text(max_size=5))
words = st.sampled_from(
    ["Speed", "Side", "km/h", "cm", "mph", "furlong", "toward first base", "%Q", "%", "", "UTC"]
)
values = st.recursive(
    st.one_of(numbers, words),
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(words, inside, max_size=2),
)


def tables(headings: tuple[str, ...]) -> st.SearchStrategy[bytes]:
    """Tables with our headings or others, in several encodings, rows of any length."""
    heading = st.lists(st.one_of(st.sampled_from(headings), cells), min_size=1, max_size=7)
    rows = st.lists(st.lists(cells, max_size=8), max_size=6)
    lines = st.tuples(heading, rows, st.sampled_from(",;\t"), st.sampled_from(["\n", "\r\n", "\r"]))
    text = lines.map(lambda t: t[3].join(t[2].join(row) for row in [t[0], *t[1]]))
    encoding = st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
    return st.tuples(text, encoding).map(lambda t: t[0].encode(t[1], "replace"))


def toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(c if c.isalnum() or c in " %/+-" else f"\\U{ord(c):08x}" for c in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(str(k))} = {toml(v)}" for k, v in value.items()) + "}"
    return str(value)


def settings_files(whole: str) -> st.SearchStrategy[bytes]:
    """A right file with some values exchanged, lines lost or repeated, or bytes changed."""
    lines = whole.strip().splitlines()

    @st.composite
    def made(draw: st.DrawFn) -> bytes:
        found = list(lines)
        for _ in range(draw(st.integers(1, 3))):
            at = draw(st.integers(0, len(found) - 1))
            key = found[at].split(" = ")[0]
            change = draw(st.sampled_from(["value", "lose", "repeat", "text"]))
            if change == "value" and not key.startswith("["):
                found[at] = f"{key} = {toml(draw(values))}"
            elif change == "lose" and len(found) > 1:
                del found[at]
            elif change == "repeat":
                found.insert(at, found[at])
            else:
                found[at] = draw(st.text(max_size=20))
        return "\n".join(found).encode("utf-8", "replace")

    return made()


READERS: dict[str, tuple[Callable[[Path], object], st.SearchStrategy[bytes]]] = {
    "sheet": (lambda p: read_sheet(p, ZONE), tables(SHEET)),
    "clips": (lambda p: read_clips(p, None), tables(CLIPS)),
    "decisions": (read_decisions, tables(DECISIONS)),
    "flight": (lambda p: read_flights([p], None), tables(tuple(COLUMNS))),
    "throws": (read_throws, tables(("athlete", "pitch", "throw", "cue", "block", "x_deg", "x_deg_sd"))),
    "readings": (read_readings, tables(("clip", "wrist_flexion_deg"))),
    "mapping": (read_mapping, settings_files(WHOLE)),
    "plan": (read_plan, settings_files(PLAN)),
    "camera": (read_camera, settings_files(CAMERA)),
}


def mapped_flights(content: bytes, table: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        mapping, file = Path(folder) / "m.toml", Path(folder) / "f.csv"
        mapping.write_bytes(content)
        file.write_bytes(table)
        with suppress(ReleaseError):
            read_flights([file], read_mapping(mapping))


def answers_or_says(name: str, content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "given.csv"
        file.write_bytes(content)
        with suppress(ReleaseError):
            READERS[name][0](file)


def fuzz(name: str, examples: int) -> None:
    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(content=st.one_of(READERS[name][1], READERS[name][1], st.binary(max_size=200)))
    def run(content: bytes) -> None:
        answers_or_says(name, content)

    run()


def fuzz_mapped(examples: int) -> None:
    headings = ("No", "Speed", "Side", "Date", "Clock")

    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(content=st.one_of(st.just(WHOLE.encode()), settings_files(WHOLE)), table=tables(headings))
    def run(content: bytes, table: bytes) -> None:
        mapped_flights(content, table)

    run()


@pytest.mark.parametrize("name", READERS)
def test_a_reader_answers_or_says_what_is_wrong(name):
    fuzz(name, 60)


def test_a_flight_file_with_its_mapping_answers_or_says_what_is_wrong():
    fuzz_mapped(60)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        pytest.param("flight", b"time,speed_mph", id="a heading without rows"),
        pytest.param("decisions", b"kind,clip,throw\n,a,1", id="a decision of no kind"),
        pytest.param("mapping", b'[columns.horizontal_break_in]\nname = "S"\npositive = []', id="no sign"),
        pytest.param("mapping", b'[columns.time]\nname = "T"\nformat = 3', id="no form of a time"),
    ],
)
def test_what_fuzzing_found_once(name, content):
    answers_or_says(name, content)


def test_a_mapped_flight_file_may_hold_no_flight_yet():
    mapped_flights(WHOLE.encode(), b"No,Speed,Side,Date,Clock\n")


@pytest.mark.soak
@pytest.mark.parametrize("name", READERS)
def test_a_reader_answers_or_says_what_is_wrong_for_long(name):
    fuzz(name, 20_000)


@pytest.mark.soak
def test_a_flight_file_with_its_mapping_answers_for_long():
    fuzz_mapped(20_000)
