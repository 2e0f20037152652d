"""A rename changes how the record is read and never the record; two names given one become one."""

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from release.cli import app
from release.errors import SettingUnknown
from release.session.result import Plan
from release.suggest.read_words import WordsFileWrong, read_words
from release.suggest.rename import PlannedCuesMerged, Rename, in_use, plan_in_use, wordings
from release.suggest.write_words import write_rename

SAID = pd.DataFrame(
    {
        "cue": ["chop it", "karate-chop it", "", "turn the doorknob"],
        "grip_seams": ["two seams", "narrow seams", None, "two seams"],
    }
)


def read_in(words):
    return in_use(SAID, words.renames, words.cues)


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


PLAN = Plan(
    unit="throw",
    cues=("usual", "chop it"),
    order=("chop it", "usual", "usual", "chop it"),
    stratum=(0, 0, 1, 1),
    within=(),
    longest_run=None,
    seed=1,
    main_outcome=None,
)


def test_a_plan_is_read_in_the_words_now_in_use_and_a_merge_of_its_own_cues_is_refused():
    now = plan_in_use(PLAN, [Rename(of="cue", old="chop it", new="karate-chop it")], ())
    assert (now.cues, now.order) == (
        ("usual", "karate-chop it"),
        ("karate-chop it", "usual", "usual", "karate-chop it"),
    )
    with pytest.raises(PlannedCuesMerged, match="“usual”, “chop it”"):
        plan_in_use(PLAN, [Rename(of="cue", old="chop it", new="usual")], ())


def test_compare_reads_two_wordings_as_one_cue_where_the_facilitys_words_are_given(tmp_path):
    write_rename(tmp_path / "words.toml", of="cue", old="chop it", new="karate-chop it")
    hand = np.random.default_rng(5).normal(-40, 4, 24)
    table = pd.DataFrame({"athlete": "A-01", "pitch": "slider", "throw": range(1, 25), "palm_turn_deg": hand})
    table.assign(cue=["usual", "chop it", "usual", "karate-chop it"] * 6).to_csv(
        tmp_path / "throws.csv", index=False
    )
    asked = ["compare", "--table", str(tmp_path / "throws.csv"), "--csv", str(tmp_path / "out.csv")]
    pairs = {}
    for name, words in (("as said", []), ("in use", ["--cues", str(tmp_path / "words.toml")])):
        said = CliRunner().invoke(app, [*asked, *words])
        assert said.exit_code == 0, said.output
        out = pd.read_csv(tmp_path / "out.csv")
        pairs[name] = list(zip(out["cue_a"], out["n_a"], out["cue_b"], out["n_b"], strict=True))
    assert len(pairs["as said"]) == 3
    assert pairs["in use"] == [("usual", 12, "karate-chop it", 12)]
