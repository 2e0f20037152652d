"""The study's charts from the command line."""

import pandas as pd
from typer.testing import CliRunner

from release.cli import app
from release.stats.live import drawn_cues
from tests.stats.test_study import session


def test_compare_draws_the_main_figure_with_its_verdict(tmp_path):
    session().to_csv(tmp_path / "t.csv", index=False)
    asked = ["--table", str(tmp_path / "t.csv"), "--csv", str(tmp_path / "out.csv")]
    said = CliRunner().invoke(app, ["compare", *asked, "--chart", str(tmp_path / "c.svg")])
    assert said.exit_code == 0, said.output
    assert ">changed: +" in (tmp_path / "c.svg").read_text()


def test_live_draws_the_sequence(tmp_path):
    cues = drawn_cues(("usual", "chop"), 12, 0)
    rows = pd.DataFrame({"athlete": "A-01", "pitch": "slider", "throw": range(1, 13), "cue": cues})
    rows["palm_turn_deg"] = [30.0 * (c == "chop") + i for i, c in enumerate(cues)]
    rows.to_csv(tmp_path / "t.csv", index=False)
    asked = ["--cue", "usual", "--cue", "chop", "--figure", "palm_turn_deg", "--seed", "0"]
    asked += ["--table", str(tmp_path / "t.csv")]
    said = CliRunner().invoke(app, ["live", *asked, "--chart", str(tmp_path / "c.svg")])
    assert said.exit_code == 0, said.output
    assert "Throws so far" in (tmp_path / "c.svg").read_text()
