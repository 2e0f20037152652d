"""The spin check on a table: a bad link stands out, a left-hander's mirror is judged alike."""

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from release.cli import app
from release.stats.read_throws import throw_table
from release.stats.spin_table import spin_lines, spin_note, spin_table


def throws(n: int = 8) -> pd.DataFrame:
    """Backspin off a palm that faces the target."""
    rng = np.random.default_rng(2)
    return pd.DataFrame(
        {
            "athlete": "A-01",
            "pitch": "four-seam",
            "throw": np.arange(1.0, n + 1),
            "throws": "R",
            "palm_azimuth_deg": rng.normal(0, 2, n),
            "palm_elevation_deg": 0.0,
            "spin_tilt_deg": rng.normal(0, 2, n) % 360,
            "spin_efficiency": 1.0,
        }
    )


def test_a_palm_that_faces_the_target_holds_the_axis_of_backspin():
    found = spin_table(throws())
    assert found["off_deg"].max() < 8
    assert not found[["doubtful", "far"]].to_numpy().any()


def test_a_throw_with_anothers_palm_stands_out():
    rows = throws()
    rows.loc[3, "palm_azimuth_deg"] = -70.0
    assert list(spin_table(rows)["doubtful"]) == [i == 3 for i in range(8)]
    (line,) = spin_lines(spin_table(rows))
    assert "8 throws; look at throw 4 (" in line


def test_a_left_handers_mirror_is_judged_alike():
    rows = throws().assign(palm_azimuth_deg=-25.0)
    mirror = rows.assign(throws="L", spin_tilt_deg=(360 - rows["spin_tilt_deg"]) % 360)
    assert spin_table(rows)["off_deg"].to_list() == pytest.approx(spin_table(mirror)["off_deg"].to_list())


def test_throws_without_palm_or_spin_are_left_out():
    rows = throws()
    rows.loc[:6, "spin_tilt_deg"] = np.nan
    assert "4 are needed" in spin_lines(spin_table(rows))[0]
    assert spin_lines(spin_table(rows.assign(spin_tilt_deg=np.nan)))[0].startswith("No throw has")


def test_a_report_warns_says_that_it_cannot_or_is_silent_where_no_spin_was_measured():
    rows = throws().assign(cue="")
    rows.loc[3, "palm_azimuth_deg"] = -70.0
    (warned,) = spin_note(throw_table(rows))
    assert "look at throw 4 (" in warned
    (unseen,) = spin_note(throw_table(rows.assign(palm_azimuth_deg=np.nan)))
    assert "Not checked here" in unseen
    assert spin_note(throw_table(rows.drop(columns="spin_tilt_deg"))) == []


def test_the_commands_check_and_export_a_table(tmp_path):
    table = tmp_path / "throws.csv"
    throws().assign(cue=["a", "b"] * 4).to_csv(table, index=False)
    checked = CliRunner().invoke(app, ["spin-check", "--table", str(table), "--csv", str(tmp_path / "c.csv")])
    assert checked.exit_code == 0, checked.output
    assert "off the palm's plane, 8 throws" in checked.output
    out = CliRunner().invoke(app, ["export", str(table), str(tmp_path / "out")])
    assert out.exit_code == 0, out.output
    last = (tmp_path / "out" / "frozen.txt").read_text().split()
    assert last[-5] in out.output
