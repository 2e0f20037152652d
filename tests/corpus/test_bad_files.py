"""Whatever file is handed in is measured or set aside with the right reason; nothing crashes or hangs."""

import subprocess
import sys
from pathlib import Path

import pytest

from release.apart import Limits
from release.batch import MeasuredFile, measure_many
from tests.corpus.make import READ, BadFile, make_corpus


@pytest.fixture(scope="module")
def corpus(tmp_path_factory):
    return make_corpus(tmp_path_factory.mktemp("corpus"))


def wrong(files: list[BadFile]) -> list[str]:
    """What did not become what it should; 60 s and 1.5 GB are the most that a file may take."""
    expected = {file.path: file.expected for file in files}
    limits = Limits(time_s=60, memory_bytes=1_500_000_000)
    found = list(measure_many(list(expected), workers=2, limits=limits))
    assert len(found) == len(files)
    return [f"{one.name}: {one.why}" for one in found if not as_expected(one, expected[Path(one.path)])]


def as_expected(one: MeasuredFile, expected: tuple[str, ...]) -> bool:
    if one.measured is not None:
        return READ in expected
    return one.why is not None and any(words in one.why for words in expected if words != READ)


@pytest.mark.system
def test_every_ninth_bad_file_is_read_or_set_aside_with_its_reason(corpus):
    assert not wrong(corpus[::9])


@pytest.mark.soak
def test_every_bad_file_is_read_or_set_aside_with_its_reason(corpus):
    assert len(corpus) >= 300
    assert not wrong(corpus)


@pytest.mark.system
def test_the_maker_runs_from_the_command_line(tmp_path):
    made = subprocess.run([sys.executable, "tests/corpus/make.py", tmp_path], capture_output=True, check=True)
    assert made.stdout.endswith(b"files\n")
