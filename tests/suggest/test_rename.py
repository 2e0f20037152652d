"""A rename changes how the record is read and never the record; two names given one become one."""

import pandas as pd
import pytest
from typer.testing import CliRunner

from release.cli import app
from release.errors import SettingUnknown
from release.suggest.cue import current_words
from release.suggest.read_words import WordsFileWrong, read_words
from release.suggest.rename import Rename, in_use, wordings
from release.suggest.write_words import write_rename

SAID = pd.DataFrame(
    {
        "cue": ["chop it", "karate-chop it", "", "turn the doorknob"],
        "grip_seams": ["two seams", "narrow seams", None, "two seams"],
    }
)


def read_in(words):
    return in_use(SAID, words.renames, current_words(words.cues))


def test_merging_two_cues_by_the_command_reads_both_as_one_and_touches_nothing_else(tmp_path):
    file = tmp_path / "words.toml"
    for old, new, of in (
        ("chop it", "karate-chop it", "cue"),
        ("karate-chop it", "side of the hand", "cue"),
        ("two seams", "narrow seams", "grip_seams"),
    ):
        said = CliRunner().invoke(app, ["rename", str(file), old, new, "--of", of])
        assert said.exit_code == 0, said.output
    words = read_words(file)
    assert list(read_in(words)["cue"]) == ["side of the hand", "side of the hand", "", "turn the doorknob"]
    seams = read_in(words)["grip_seams"]
    assert list(seams.dropna()) == ["narrow seams"] * 3
    assert [cue.meant for cue in words.cues if cue.words == "side of the hand"] == ["more beside it"]
    assert len(words.shapes) == len(read_words().shapes)


def test_the_facilitys_own_lines_and_comments_stay(tmp_path):
    file = tmp_path / "words.toml"
    file.write_text(
        '# ours\n[[cues]]\nwords = "late thumb"  # K.\nmeant = "more in front"\n', encoding="utf-8"
    )
    before = file.read_text(encoding="utf-8")
    write_rename(file, of="cue", old="late thumb", new='thumb "late"')
    assert file.read_text(encoding="utf-8").startswith(before)
    assert [cue.words for cue in read_words(file).cues] == ['thumb "late"']


def test_a_later_rename_goes_over_an_earlier():
    there, back = Rename(of="cue", old="a", new="b"), Rename(of="cue", old="b", new="a")
    assert wordings([there, back], "cue", {}) == {"a": "a", "b": "a"}
    assert wordings([there, back], "grip_seams", {}) == {}


def test_a_rename_that_says_nothing_and_a_file_that_is_wrong_are_refused(tmp_path):
    for wrong in ({"of": "pitch", "old": "a", "new": "b"}, {"of": "cue", "old": "a", "new": "a"}):
        with pytest.raises(ValueError, match="a rename needs"):
            Rename(**wrong)
    file = tmp_path / "words.toml"
    with pytest.raises(SettingUnknown, match="two different wordings"):
        write_rename(tmp_path / "none.toml", of="cue", old="a", new="a")
    file.write_text("nonsense")
    with pytest.raises(WordsFileWrong, match="cannot read the words"):
        write_rename(file, of="cue", old="a", new="b")
    assert file.read_text() == "nonsense"
