"""A person's word on a link from the command line, on an invented session of six throws."""

import pytest
from typer.testing import CliRunner

from release.cli import app
from release.errors import WordUnclear
from release.logbook import link_logbook
from release.record import read
from release.record.write_open import new_logbook
from release.settle import settle
from tests.record.filled import fill


@pytest.fixture
def filled(tmp_path):
    book = new_logbook(tmp_path / "book")
    session, _ = fill(book, tmp_path)
    link_logbook(book, session)
    yield book, session
    book.engine.dispose()


def linked(book, session, column="flight"):
    """Throw to what it is linked with."""
    links = read.links(book, session)
    links = links[(links["state"] == "linked") & links[column].notna()]
    named = {clip["sha256"]: clip["name"] for clip in read.clips(book, session).to_dict("records")}
    return {int(t): named.get(v, v) for t, v in zip(links["throw"], links[column], strict=True) if t == t}


def test_a_word_is_kept_with_who_and_when_and_linked_round(filled):
    book, session = filled
    settle(book, session, "together", who="Ann", throws=[2], flights=["5"])
    fact = read.facts(book, session=session)[-1]
    assert [fact[k] for k in ("kind", "who", "throw", "flight")] == ["link confirmed", "Ann", 2, "5"]
    assert fact["at"]
    assert linked(book, session)[2] == "5"


def test_a_later_word_pins_it_elsewhere_and_another_takes_it_apart(filled):
    book, session = filled
    settle(book, session, "together", who="Ann", throws=[2], flights=["5"])
    settle(book, session, "together", who="Ann", throws=[2], flights=["3"])
    assert linked(book, session)[2] == "3"
    settle(book, session, "apart", who="Ann", throws=[2], flights=["3"])
    assert linked(book, session).get(2) != "3"


def test_two_balls_change_places(filled):
    book, session = filled
    for throw, flight in ((2, "2"), (5, "5")):
        settle(book, session, "together", who="Ann", throws=[throw], flights=[flight])
    settle(book, session, "swap", who="Ann", flights=["2", "5"])
    after = linked(book, session)
    assert (after[2], after[5]) == ("5", "2")


def test_a_swapped_clip_takes_the_throw_and_the_ball(filled):
    book, session = filled
    for i in (2, 5):
        settle(book, session, "together", who="Ann", clips=[f"barn_{i}.mp4"], throws=[i], flights=[str(i)])
    settle(book, session, "swap", who="Ann", clips=["barn_2.mp4", "barn_5.mp4"])
    clips, balls = linked(book, session, "clip"), linked(book, session)
    assert (clips[2], clips[5], balls[2], balls[5]) == ("barn_5.mp4", "barn_2.mp4", "2", "5")


def test_a_ball_marked_as_extra_belongs_to_no_throw_and_the_command_says_so(filled):
    book, _ = filled
    result = CliRunner().invoke(app, ["settle", str(book.folder), "extra", "--flight", "4", "--who", "Ann"])
    assert result.output == "flight 4: alone, probability 1.0000: marked as extra\n"


@pytest.mark.parametrize(
    ("said", "named", "why"),
    [
        ("together", {"throws": [1], "flights": ["99"]}, "no flight '99'"),
        ("together", {"throws": [1, 2]}, "one each of two or three"),
        ("apart", {"clips": ["barn_1.mp4"]}, "one each of two of"),
        ("extra", {"throws": [1], "flights": ["1"]}, "one clip, throw or flight"),
        ("swap", {"flights": ["1", "1"]}, "two clips, two throws"),
    ],
)
def test_an_unclear_word_writes_nothing(filled, said, named, why):
    book, session = filled
    before = read.facts(book, session=session)
    with pytest.raises(WordUnclear, match=why):
        settle(book, session, said, who="Ann", **named)
    assert read.facts(book, session=session) == before
