"""Several processes with several threads each write to one SQLite logbook: nothing is lost."""

import os
from concurrent.futures import ThreadPoolExecutor

import pytest

from release.record import read, write
from release.record.read_verify import faults
from release.record.write_open import new_logbook, open_logbook


def decide(book, who, n):
    for i in range(n):
        write.add_fact(book, "target set", who=who, fact=f"{who} {i}", athlete="A1", value={"n": i})


def write_at_once(folder, processes, threads, n):
    book = new_logbook(folder)
    write.set_athlete(book, "A1")
    book.engine.dispose()
    children = []
    for p in range(processes):
        child = os.fork()
        if child == 0:
            try:
                own = open_logbook(folder)
                with ThreadPoolExecutor(threads) as pool:
                    list(pool.map(lambda i, p=p: decide(own, f"{p} {i}", n), range(threads)))  # noqa: B023
                os._exit(0)
            except BaseException as error:
                print(error)
                os._exit(1)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0] * processes
    book = open_logbook(folder)
    found = read.facts(book)
    assert len({fact["fact"] for fact in found}) == len(found) == processes * threads * n
    assert len({fact["at"] for fact in found}) == len(found)  # each knows which came before it
    assert faults(book) == []
    book.engine.dispose()


def test_a_hundred_decisions_at_once_are_all_kept_in_order(tmp_path):
    write_at_once(tmp_path / "book", processes=2, threads=5, n=10)


@pytest.mark.soak
def test_ten_thousand_decisions_of_fifty_threads_are_all_kept_in_order(tmp_path):
    write_at_once(tmp_path / "book", processes=2, threads=25, n=200)
