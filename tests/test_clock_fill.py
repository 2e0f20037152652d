"""An unknown clock of a logbook's clip, filled in from its ball's speed."""

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from release.clip.result import TimeBase
from release.clip_settings import settings_for
from release.clock_fill import WHO, fill_clocks, filled_clips
from release.record import read, write
from release.record.write_clips import add_clips
from release.record.write_open import new_logbook
from tests.record.filled import measured

# Rendered at 240 frames a second, stored as 30, and nothing in the file says so.
SLOWED = Path(__file__).parents[1] / "sample_clips" / "slowed.mp4"
SEEN_M_S = 85 * 0.44704 / 8  # 85 mph as such a clip plays


@pytest.fixture
def book(tmp_path):
    logbook = new_logbook(tmp_path / "book")
    yield logbook
    logbook.engine.dispose()


def linked(book, *, speed_mph=85.0, slowdown=None, state="linked"):
    """A session of one clip, measured and linked to a ball; its id and the clip's hash."""
    session = write.session_for(book, "barn")
    (taken,) = add_clips(book, [SLOWED], session)
    base = TimeBase(slowdown=slowdown, source="unknown", why="", ball_m_s=SEEN_M_S, ball_sd_m_s=0.2)
    write.save_measurement(book, replace(measured(taken.sha256), time_base=base))
    balls = pd.DataFrame({"flight": ["F1"], "speed_mph": [speed_mph]})
    write.add_flights(book, session, balls, sha256="f", name="flight.csv")
    row = {"clip": taken.sha256, "flight": "F1", "probability": 0.99, "state": state, "why": ""}
    write.save_links(book, session, [row])
    return session, taken.sha256


def test_a_clear_answer_is_written_down_once_and_asks_for_a_new_measuring(book):
    session, clip = linked(book)
    before = settings_for(book, session, clip)
    assert fill_clocks(book, session) == [clip]
    settings, edits = settings_for(book, session, clip)
    assert settings.capture_fps == pytest.approx(240, rel=1e-3)
    assert edits != before[1]
    (fact,) = read.facts(book, clip=clip)
    assert (fact["kind"], fact["who"]) == ("time base set", WHO)
    assert filled_clips(book, session) == {clip}
    assert fill_clocks(book, session) == []


@pytest.mark.parametrize(
    "case",
    [
        pytest.param({"speed_mph": 60.0}, id="5.6 times is no one rate"),
        pytest.param({"slowdown": 1.0}, id="a known clock is contradicted, not changed"),
        pytest.param({"state": "asked"}, id="the ball may be another throw's"),
    ],
)
def test_what_is_not_clear_is_left(book, case):
    session, _ = linked(book, **case)
    assert fill_clocks(book, session) == []
    assert read.facts(book, session=session) == []


def test_a_persons_word_holds(book):
    session, clip = linked(book)
    write.add_fact(book, "time base set", who="coach", clip=clip, value={"capture_fps": 120})
    assert fill_clocks(book, session) == []
    assert settings_for(book, session, clip)[0].capture_fps == 120
    assert filled_clips(book, session) == set()


def test_once_taken_back_it_is_not_written_again(book):
    session, clip = linked(book)
    fill_clocks(book, session)
    (fact,) = read.facts(book, clip=clip)
    write.add_fact(book, "undone", who="coach", undoes=fact["fact"])
    assert fill_clocks(book, session) == []
    assert settings_for(book, session, clip)[0].capture_fps is None
