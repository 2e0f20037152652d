"""The draw of a live session is kept by the logbook; the other study commands read a logbook too."""

import re

import pandas as pd
import pytest
from typer.testing import CliRunner

from release.cli import app
from release.live_draw import kept_draw, live_in_logbook
from release.record import read, write
from release.record.write_open import new_logbook
from release.stats.compare import compare
from release.stats.live import drawn_cues
from release.stats.live_table import NotLive, live_session
from release.stats.read_throws import throw_table
from release.stats.sentences import live_lines
from tests.record.filled import fill

CUES = ("usual", "thumb under")
FIGURE = "wrist_flexion_deg"


@pytest.fixture
def book(tmp_path):
    logbook = new_logbook(tmp_path / "book")
    write.set_athlete(logbook, "A1")
    yield logbook
    logbook.engine.dispose()


def live(book, session="one", **more):
    return live_in_logbook(book, session, "A1", "slider", CUES, FIGURE, **more)


def test_each_session_has_a_draw_of_its_own_and_every_look_keeps_to_it(book):
    seeds = [live(book, f"session {k}").seed for k in range(4)]
    assert len(set(seeds)) == 4
    assert [live(book, f"session {k}").seed for k in range(4)] == seeds


def test_the_cues_named_in_the_other_order_keep_to_the_same_draw(book):
    first = live(book)
    again = live_in_logbook(book, "one", "A1", "slider", CUES[::-1], FIGURE)
    assert (again.seed, again.cues) == (first.seed, CUES)


def test_a_told_seed_draws_the_same_again_and_a_second_one_is_refused(book):
    seed = live(book).seed
    assert live(book, "again", seed=seed).next_cue == live(book).next_cue == drawn_cues(CUES, 1, seed)[0]
    with pytest.raises(NotLive, match=f"was begun with seed {seed}"):
        live(book, seed=seed + 1)


def test_throws_as_drawn_count_others_are_left_out_and_uncued_ones_are_passed_over(book):
    seed = live(book).seed
    cues = drawn_cues(CUES, 4, seed)
    thrown = ["", *cues[:2], *cues[3:1:-1]]  # a warm-up throw; a pair as drawn; a pair the wrong way round
    sheet = pd.DataFrame({"throw": range(1, 6), "athlete": "A1", "pitch": "slider", "cue": thrown})
    write.add_sheet(book, read.session_id(book, "one"), sheet, sha256="s", name="sheet.csv")
    found = live(book)
    assert (found.thrown, found.not_drawn) == (4, 1)


def test_a_session_cannot_be_drawn_after_its_throws(book, tmp_path):
    fill(book, tmp_path, athletes=("A1", "B2", "C3"))
    with pytest.raises(NotLive, match="3 throws with these cues were thrown before any was drawn"):
        live_in_logbook(book, "barn", "A1", "slider", ("long arm", "short arm"), FIGURE)


def test_throws_that_were_not_drawn_are_described_and_never_called_changed():
    drawn = drawn_cues(CUES, 12, 7)
    cues = drawn[:2] + [CUES[1 - CUES.index(cue)] for cue in drawn[2:]]  # but one the other way round
    rows = pd.DataFrame({"athlete": "A1", "pitch": "slider", "cue": cues})
    rows["x_deg"] = [(90.0 if i < 2 else 30.0) * CUES.index(cue) for i, cue in enumerate(cues)]
    found = live_session(throw_table(rows), CUES, "x_deg", 7)
    assert [step.answer for step in found.steps] == ["cannot tell yet"]
    assert (found.not_drawn, found.described) == (5, 30.0)
    assert any("never called changed: thumb under less usual +30.0" in line for line in live_lines(found))


def test_forgetting_the_athlete_forgets_the_draw(book):
    from release.record.write_forget import forget

    live(book)
    session = read.session_id(book, "one")
    assert kept_draw(book, session, "A1", "slider", CUES)
    forget(book, "A1")
    assert kept_draw(book, session, "A1", "slider", CUES) is None


def run(*words):
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.output


def test_a_table_needs_the_seed_that_the_first_call_told(tmp_path):
    asked = ["live", "--cue", "a", "--cue", "b", "--figure", "palm_turn_deg"]
    said = [run(*asked) for _ in range(2)]
    seeds = [re.findall(r"seed (\d+)", one)[0] for one in said]
    assert seeds[0] != seeds[1]
    assert run(*asked, "--seed", seeds[0]) == said[0]
    table = tmp_path / "t.csv"
    table.write_text("athlete,pitch,cue,palm_turn_deg\nA-01,slider,a,1\n", encoding="utf-8")
    refused = CliRunner().invoke(app, [*asked, "--table", str(table)])
    assert isinstance(refused.exception, NotLive)


def test_the_study_commands_read_a_logbooks_sessions(tmp_path, book):
    fill(book, tmp_path, athletes=("A1", "B2", "C3"), n=8)
    place = tmp_path / "book"
    said = run("relate", place, "--hand", FIGURE, "--ball", "speed_mph")
    assert said.startswith(f"slider, speed_mph against {FIGURE}, 24 throws of 3 athletes")
    pooled = run(
        "pool", place, "--figure", "speed_mph", "--pitch", "slider", "--cue", "long arm", "--cue", "short arm"
    )
    assert "A1: own" in pooled
    unspun = CliRunner().invoke(app, ["spin-check", str(place)]).exception
    assert "the table has no spin_tilt_deg, spin_efficiency" in str(unspun)
    asked = ("--cue", "long arm", "--cue", "short arm", "--figure", "speed_mph")
    drawn = run("live", place, "--session", "next", "--athlete", "A1", "--pitch", "slider", *asked)
    assert re.match(r"speed_mph, short arm against long arm, drawn with seed \d+\n", drawn)
    both = CliRunner().invoke(app, ["relate", str(place), "--table", "t.csv", "--hand", "a", "--ball", "b"])
    assert both.exit_code == 2
    write.session_for(book, "nothing yet")
    empty = CliRunner().invoke(app, ["compare", str(place), "--session", "nothing yet"])
    assert "this session has no throws yet" in str(empty.exception)


def test_breaks_over_two_windows_are_not_pooled(tmp_path):
    table = tmp_path / "t.csv"
    rows = [f"A-01,slider,a,{k},{k},{'full flight' if k < 3 else 'last 40 ft'}" for k in range(6)]
    table.write_text(
        "\n".join(["athlete,pitch,cue,x_deg,horizontal_break_in,break_window", *rows]), encoding="utf-8"
    )
    asked = ["relate", "--table", str(table), "--hand", "x_deg", "--ball", "horizontal_break_in"]
    assert "full flight; last 40 ft" in str(CliRunner().invoke(app, asked).exception)
    thrown = throw_table(pd.read_csv(table).assign(cue=["a", "b"] * 3)).rows
    why = {one.figure: one.why for one in compare(thrown, ["x_deg", "horizontal_break_in"])}
    assert "measured in 2 ways" in why["horizontal_break_in"]
    assert "measured" not in why["x_deg"]
