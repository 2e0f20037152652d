import os
import time
from pathlib import Path

import cv2
import numpy as np
import pytest

from release.apart import Apart, Limits
from release.clip.read import read_clip
from release.cores import cores
from release.errors import ClipCrashes, ClipEmpty, ClipFails, ClipTakesTooLong, ClipTakesTooMuch

CLIP = Path("throw.mov")


def test_the_answer_comes_from_another_process_that_stays():
    with Apart() as apart:
        first, second = apart.ask(os.getpid, about=CLIP), apart.ask(os.getpid, about=CLIP)
    assert first == second != os.getpid()


@pytest.mark.parametrize(
    ("function", "arguments", "error", "said"),
    [
        pytest.param(os.abort, (), ClipCrashes, "SIGABRT", id="a crash in native code"),
        pytest.param(os._exit, (3,), ClipCrashes, "status 3", id="a process that ends"),
        pytest.param(time.sleep, (60,), ClipTakesTooLong, "more than 2 s", id="a hang"),
        pytest.param(bytearray, (2_000_000_000,), ClipTakesTooMuch, "more than 1 GB", id="memory"),
        pytest.param(int, ("twelve",), ClipFails, "ValueError", id="an error nobody foresaw"),
    ],
)
def test_what_befalls_one_is_said_and_the_next_is_answered(function, arguments, error, said):
    with Apart(Limits(time_s=2, memory_bytes=1_000_000_000)) as apart:
        with pytest.raises(error, match=said) as raised:
            apart.ask(function, *arguments, about=CLIP)
        assert raised.value.clip == CLIP
        assert apart.ask(len, "next", about=CLIP) == 4


def test_a_process_keeps_to_its_share_of_the_cores():
    with Apart(n_cores=1) as apart:
        assert apart.ask(cores, about=CLIP) == 1
        assert apart.ask(cv2.getNumThreads, about=CLIP) == 1
        apart.ask(np.linalg.inv, np.eye(2), about=CLIP)  # loads the linear algebra with threads of its own
        assert apart.ask(threads, about=CLIP) == 1
    with Apart() as apart:
        assert apart.ask(cores, about=CLIP) == cores()


def threads():
    """Those too that libraries began on their own."""
    return len(os.listdir("/proc/self/task"))


def test_the_tools_own_errors_come_through_as_they_are(tmp_path):
    path = tmp_path / "empty.mp4"
    path.touch()
    with pytest.raises(ClipEmpty) as here:
        read_clip(path)
    with Apart() as apart, pytest.raises(ClipEmpty) as there:
        apart.ask(read_clip, path, about=path)
    assert str(there.value) == str(here.value)
    assert there.value.clip == path


def test_what_a_library_prints_does_not_break_into_the_answers(capfd):
    with Apart() as apart:
        apart.ask(os.write, 1, b"printed", about=CLIP)
        assert apart.ask(len, "next", about=CLIP) == 4
    assert "printed" in capfd.readouterr().err


def count_down(start):
    for i in range(start, 0, -1):
        yield str(i)
    return "go"


def test_what_a_generator_yields_is_told_on_the_way_and_what_it_returns_is_the_answer():
    told: list[str] = []
    with Apart() as apart:
        assert apart.ask(count_down, 2, about=CLIP, told=told.append) == "go"
        assert apart.ask(count_down, 2, about=CLIP) == "go"  # nobody need listen
    assert told == ["2", "1"]


def test_the_process_ends_with_the_one_that_asks():
    apart = Apart()
    process = apart.ask(os.getpid, about=CLIP)
    apart.stop()
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)
