"""The commands that keep a logbook, as a user meets them."""

import pytest
from typer.testing import CliRunner

from release.cli import app
from release.errors import SettingUnknown
from release.record import read, write
from release.record.write_open import new_logbook, open_logbook
from tests.record.filled import fill


@pytest.fixture
def folder(tmp_path):
    book = new_logbook(tmp_path / "book")
    fill(book, tmp_path)
    book.engine.dispose()
    return tmp_path


def run(*arguments, code=0, says=""):
    answer = CliRunner().invoke(app, [str(argument) for argument in arguments], input=says)
    assert answer.exit_code == code, answer.output
    return answer.output


def test_a_logbook_is_copied_brought_back_and_checked(folder):
    assert "6 clips" in run("backup", folder / "book", folder / "copy.zip")
    assert "everything is there and whole" in run("restore", folder / "copy.zip", folder / "again")
    next((folder / "again" / "clips").iterdir()).unlink()
    output = run("verify", folder / "again", code=1)
    assert "To mend: add the clip again" in output
    assert "1 wrong" in output


def test_a_roster_is_entered_and_listed_with_names_only_when_asked_for(folder):
    (folder / "roster.csv").write_text("athlete,consent,keep_until,name\nA1,own,2020-01-01,Ada\nC3,,,\n")
    output = run("roster", folder / "book", folder / "roster.csv")
    assert "2 athletes entered" in output
    assert "Ada" not in output
    assert "C3: age not given, NO CONSENT YET" in output
    assert "A1 (Ada)" in run("roster", folder / "book", "--names")
    assert "3 clips are due (of A1)" in run("due", folder / "book")


def test_forgetting_asks_first(folder):
    output = run("forget", folder / "book", "A1", code=1, says="n\n")
    assert "A1: 3 throws, 3 clips" in output
    assert "A1 is forgotten: 3 clips" in run("forget", folder / "book", "A1", says="y\n")
    assert "A1" not in run("roster", folder / "book")


def test_conflicts_of_a_merge_are_shown_until_they_are_settled(folder):
    run("backup", folder / "book", folder / "copy.zip")
    run("restore", folder / "copy.zip", folder / "other")
    for name, frame in (("book", 3.0), ("other", 5.0)):
        book = open_logbook(folder / name)
        clip = read.clips(book)["sha256"][1]
        write.add_fact(book, "release set", who=name, clip=clip, value={"frame_index": frame})
        book.engine.dispose()
    output = run("merge", folder / "book", folder / "other", "--who", "Ann")
    assert "CONFLICT, both kept: release set" in output
    assert "frame_index 3.0 (book" in output
    assert "new here: 1 decisions" in output
    shown = run("conflicts", folder / "book")
    assert "open conflicts: 1" in shown
    assert "open conflicts: 0" in run("conflicts", folder / "book", "--settled", shown.split(":")[0])
    assert "new here: nothing" in run("merge", folder / "book", folder / "other")
    assert "open conflicts: 0" in run("conflicts", folder / "book")
    with pytest.raises(SettingUnknown, match="no open conflict"):
        CliRunner().invoke(app, ["conflicts", str(folder / "book"), "--settled", "x"], catch_exceptions=False)


def test_logbooks_that_lack_whole_tables_are_merged(tmp_path):
    for name in ("here", "there"):
        new_logbook(tmp_path / name).engine.dispose()
    assert "new here: nothing" in run("merge", tmp_path / "here", tmp_path / "there")


def test_a_conflict_names_the_session_as_people_do(folder):
    run("backup", folder / "book", folder / "copy.zip")
    run("restore", folder / "copy.zip", folder / "other")
    for name, pitch in (("book", "sinker"), ("other", "cutter")):
        book = open_logbook(folder / name)
        session = read.sessions(book).iloc[0]
        write.add_fact(
            book, "throw tagged", who=name, session=session["session"], throw=1, value={"pitch": pitch}
        )
        book.engine.dispose()
    output = run("merge", folder / "book", folder / "other")
    assert f"throw tagged {session['name']} 1 pitch: here throw tagged pitch sinker" in output
    assert session["session"] not in output
    assert f"throw tagged {session['name']} 1 pitch" in run("conflicts", folder / "book")
