"""What was said is kept with the athlete and shown when the athlete is next opened."""

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from release.advise_source import read_source
from release.cli import app
from release.errors import NoSuchAthlete, NoSuchSession, SettingUnknown
from release.record import read, write
from release.record.write_open import new_logbook
from release.suggest.result import Target
from release.talk import keep_note, keep_target, notes_of, wanted_balls


@pytest.fixture
def book(tmp_path):
    book = new_logbook(tmp_path / "book")
    session = write.session_for(book, "monday")
    sheet = pd.DataFrame({"throw": [1.0, 2.0], "athlete": "A-01", "pitch": "slider", "cue": ["", "chop it"]})
    write.add_sheet(book, session, sheet, sha256="f", name="sheet.csv")
    yield book
    book.engine.dispose()


def test_notes_come_back_newest_first_with_whose_they_are(book):
    keep_note(book, "A-01", "felt it in the fingers", kind="words", who="coach")
    keep_note(book, "A-01", "stay with the chop", kind="decision", who="K.", session="monday", throw=2)
    notes = notes_of(book, "A-01")
    assert [(kind, text) for _, kind, text in notes] == [
        ("decision (K.)", "stay with the chop"),
        ("athlete's words (coach)", "felt it in the fingers"),
    ]


def test_a_code_or_a_session_that_is_not_there_is_named(book):
    with pytest.raises(NoSuchAthlete, match="Z-9"):
        keep_note(book, "Z-9", "hello", kind="next", who="coach")
    with pytest.raises(NoSuchSession):
        keep_note(book, "A-01", "hello", kind="next", who="coach", session="sunday")


def test_of_several_targets_the_last_in_force_holds(book):
    for wish in (5.0, 9.0):
        value = {"pitch": "slider", "horizontal_break_in": [wish, 2.0]}
        write.add_fact(book, "target set", who="coach", athlete="A-01", value=value)
    assert wanted_balls(book, "A-01")["slider"].centre[2] == 9.0


def test_a_wanted_ball_is_kept_once_and_a_new_one_takes_its_place(book):
    for across in (5.0, 5.0, 9.0):
        target = Target(centre=np.array([np.nan, 2.0, across]), tolerance=np.array([1.0, 1.5, 2.0]))
        keep_target(book, "A-01", "slider", target, who="coach")
    kept = wanted_balls(book, "A-01")["slider"]
    assert kept.centre.tolist() == pytest.approx([np.nan, 2, 9], nan_ok=True)
    assert kept.tolerance.tolist() == [1, 1.5, 2]
    assert len(read.facts(book, athlete="A-01")) == 2


def test_the_commands_keep_a_note_and_advice_reads_it(book, tmp_path):
    said = CliRunner().invoke(app, ["note", str(book.folder), "A-01", "thumb under next", "--kind", "next"])
    assert said.exit_code == 0, said.output
    source = read_source(None, book.folder, "A-01")
    assert source.notes[0][1:] == ("next time (coach)", "thumb under next")
    assert list(source.throws.rows["cue"]) == ["", "chop it"]


def test_advice_wants_a_table_or_a_logbook_and_not_both(tmp_path):
    for table, logbook in ((None, None), (tmp_path, tmp_path)):
        with pytest.raises(SettingUnknown, match="one of the two"):
            read_source(table, logbook, "A-01")
