"""Plans, live sessions, three answers, whole tables, and the export."""

import hashlib
import json
import re
from dataclasses import fields
from itertools import product

import numpy as np
import pandas as pd
import pytest
import xarray
from typer.testing import CliRunner

from release.cli import app
from release.session.read_plan import read_plan
from release.stats.compare import Settings, compare
from release.stats.earlier import noise_of
from release.stats.equivalence import detectable_change, false_discoveries, judge, smallest_worth
from release.stats.live import _bets, _log_capital, _log_two_sided, drawn_cues, pair_differences, so_far
from release.stats.live_table import live_session
from release.stats.plan import CannotPlan, plan_session, power, simulated_scatter
from release.stats.read_throws import throw_table
from release.stats.result import Comparison, Noise
from release.stats.sentences import live_lines
from release.stats.spin_check import doubtful, off_palm_plane_deg, palm_direction
from release.stats.write_export import write_export
from release.stats.write_over_time import write_over_time
from release.stats.write_plan import PlanExists, plan_toml, write_plan


def session(effect=20.0, blocks="01101001", seed=4, sd=4.0):
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(2 * len(blocks)):
        second = blocks[i // 2] == "1"
        turn = -30 + effect * second + rng.normal(0, sd)
        rows.append(
            {
                "athlete": "A-01",
                "pitch": "slider",
                "throw": i + 1,
                "cue": "thumb under" if second else "usual",
            }
            | {
                "block": i // 2 + 1,
                "palm_turn_deg": turn,
                "palm_turn_deg_sd": 3.0,
                "speed_mph": 82 + rng.normal(0, 0.4),
            }
            | {"note": "as told"}
        )
    return pd.DataFrame(rows)


def compared(rows, **settings):
    table = throw_table(rows)
    return {one.figure: one for one in compare(table.rows, table.figures, Settings(**settings))}


class TestCompare:
    def test_a_real_turn_is_found_and_an_equal_speed_is_called_so(self):
        found = compared(session())
        turn, speed = found["palm_turn_deg"], found["speed_mph"]
        assert (turn.answer, turn.cue_a, turn.cue_b) == ("changed", "usual", "thumb under")
        assert turn.low < 20 < turn.high
        assert turn.p == pytest.approx(2 / 70)
        assert speed.answer == "no meaningful change"
        assert set(found) == {"palm_turn_deg", "speed_mph"}  # text and *_sd are no figures

    def test_six_blocks_are_too_small_however_large_the_difference(self):
        turn = compared(session(effect=60, blocks="011010"))["palm_turn_deg"]
        assert (turn.answer, turn.p) == ("design too small", None)
        assert turn.more_throws >= 4

    def test_missing_values_one_cue_and_a_constant_figure_keep_their_rows(self):
        rows = session()
        rows["palm_turn_deg"] = rows["palm_turn_deg"].astype(object)
        rows.loc[[2, 7], "palm_turn_deg"] = ["oops", ""]
        rows["same"] = 3.0
        rows = pd.concat([rows, rows[:2].assign(pitch="cutter")], ignore_index=True)
        table = throw_table(rows)
        found = {(one.pitch, one.figure): one for one in compare(table.rows, table.figures)}
        assert table.notes["palm_turn_deg"] == "1 cells are not numbers"
        assert found["slider", "palm_turn_deg"].n_a + found["slider", "palm_turn_deg"].n_b == 14
        assert found["slider", "same"].why == "every throw has the same value"
        assert found["cutter", "palm_turn_deg"].why == "only one cue"

    def test_the_main_outcome_is_tested_alone_and_the_rest_together(self):
        rows = session()
        for k in range(3):
            rows[f"figure_{k}"] = np.random.default_rng(k).normal(0, 1, 16)
        found = compared(rows, main="palm_turn_deg")
        assert found["palm_turn_deg"].q == found["palm_turn_deg"].p
        rest = [one for name, one in found.items() if name != "palm_turn_deg"]
        assert [one.q for one in rest] == pytest.approx(false_discoveries([one.p for one in rest]))

    def test_every_pair_of_three_cues_is_compared(self):
        rows = session(blocks="0110100101100101")
        rows.loc[rows["block"] > 8, "cue"] = rows["cue"].replace({"usual": "spiked"})
        assert {(one.cue_a, one.cue_b) for one in compare(throw_table(rows).rows, ["speed_mph"])} == {
            ("usual", "thumb under"),
            ("usual", "spiked"),
            ("thumb under", "spiked"),
        }

    def test_long_runs_without_a_plan_are_taken_as_blocks(self):
        rows = session(blocks="00001111").assign(block="")
        found = compared(rows)["palm_turn_deg"]
        assert (found.unit, found.answer) == ("block", "design too small")

    def test_the_smallest_change_worth_having_is_the_plans_unless_stated_again(self):
        drawn = plan_session(["usual", "thumb under"], 16, unit="throw", seed=5, worth={"x_deg": 9.0})
        rows = pd.DataFrame({"athlete": "A-01", "pitch": "slider", "cue": drawn.plan.order})
        rows = rows.assign(x_deg=np.arange(16.0), y_deg=np.arange(16.0))
        found = compared(rows, plan=drawn.plan)
        assert (found["x_deg"].worth, found["y_deg"].worth) == (9, 5)
        assert compared(rows, plan=drawn.plan, worth={"x_deg": 2.0})["x_deg"].worth == 2

    def test_a_plan_of_throws_is_redrawn_under_its_run_rule(self, tmp_path):
        drawn = plan_session(["usual", "thumb under"], 16, unit="throw", longest_run=2, seed=5)
        write_plan(drawn, tmp_path, athletes=["A-01"], pitches=["slider"])
        plan = read_plan(tmp_path / "plan.toml")
        rows = pd.read_csv(tmp_path / "sheet.csv", keep_default_na=False)
        rows["x_deg"] = [20.0 * (c != "usual") for c in rows["cue"]] + np.random.default_rng(1).normal(
            0, 3, 16
        )
        found = compared(rows, plan=plan)["x_deg"]
        assert (found.unit, found.answer, found.why) == ("throw", "changed", "")
        assert found.best_p == pytest.approx(2 / drawn.possible, rel=1e-6)

    @pytest.mark.parametrize("unit", ["block", "throw"])
    @pytest.mark.parametrize("longest_run", [None, 2])
    def test_each_athlete_and_pitch_has_a_draw_of_its_own(self, tmp_path, unit, longest_run):
        drawn = plan_session(["usual", "under"], 24, unit=unit, groups=4, longest_run=longest_run, seed=3)
        athletes, pitches = ["A-01", "B-02"], ["slider", "cutter"]
        write_plan(drawn, tmp_path, athletes=athletes, pitches=pitches)
        rows = pd.read_csv(tmp_path / "sheet.csv", keep_default_na=False)
        orders = {tuple(part["cue"]) for _, part in rows.groupby(["athlete", "pitch"])}
        assert len(orders) == 4
        assert (rows.groupby(["athlete", "pitch", "cue"]).size() == 12).all()
        rows["x_deg"] = 25.0 * (rows["cue"] == "under") + np.random.default_rng(1).normal(0, 2, 96)
        table = throw_table(rows)
        plan = read_plan(tmp_path / "plan.toml")
        found = compare(table.rows, table.figures, Settings(plan=plan))
        assert [(one.athlete, one.pitch) for one in found] == list(product(athletes, pitches))
        assert {(one.answer, one.why) for one in found} == {("changed", "")}
        if (unit, longest_run) == ("block", None):
            assert [one.best_p for one in found] == pytest.approx([2 / 924] * 4)

    def test_a_grip_planned_over_sessions_is_compared_over_sessions(self, tmp_path):
        drawn = plan_session(["side", "under"], 32, block_throws=4, seed=2)
        write_plan(drawn, tmp_path, athletes=["A-01"], pitches=["slider"], sessions=True)
        rows = pd.read_csv(tmp_path / "sheet.csv")
        rows["x_deg"] = [25.0 * (c == "under") for c in rows["cue"]] + np.random.default_rng(3).normal(
            0, 3, 32
        )
        found = compared(rows, plan=read_plan(tmp_path / "plan.toml"))["x_deg"]
        assert found.answer == "changed"
        assert found.difference == pytest.approx(25, abs=5)

    def test_angles_on_both_sides_of_the_half_turn_are_compared_on_one(self):
        rows = session(effect=10).assign(spin_tilt_deg=lambda r: (r["palm_turn_deg"] + 30 + 355) % 360)
        assert compared(rows)["spin_tilt_deg"].difference == pytest.approx(10, abs=5)

    def test_command_writes_the_columns_of_the_format(self, tmp_path):
        session().to_csv(tmp_path / "t.csv", index=False)
        out = tmp_path / "o.csv"
        result = CliRunner().invoke(app, ["compare", "--table", str(tmp_path / "t.csv"), "--csv", str(out)])
        assert result.exit_code == 0, result.output
        columns = [field.name for field in fields(Comparison)]
        assert columns[:8] == ["athlete", "pitch", "figure", "cue_a", "cue_b", "n_a", "n_b", "difference"]
        assert columns[8:13] == ["low", "high", "p", "answer", "more_throws"]
        assert list(pd.read_csv(out).columns) == columns
        assert "changed" in result.output


class TestAnswers:
    def test_worth_comes_from_the_unit_or_from_staff(self):
        assert [smallest_worth(f, {}) for f in ("palm_turn", "x_deg", "speed_mph", "x_in", "spin_rpm")] == [
            5,
            5,
            1,
            1.5,
            None,
        ]
        assert smallest_worth("x_deg", {"x_deg": 3.0}) == 3

    def test_an_interval_inside_the_worth_means_no_meaningful_change_even_if_not_zero(self):
        # Schuirmann (1987): two one-sided tests at 0.05 are a 90 % interval inside the limits.
        assert judge(0.5, 4.0, 0.01, 5.0) == "no meaningful change"
        assert judge(0.5, 6.0, 0.01, 5.0) == "changed"
        assert judge(-6.0, 4.0, 0.2, 5.0) == "cannot tell yet"
        assert judge(-1.0, 1.0, 0.9, None) == "cannot tell yet"

    def test_detectable_change_matches_weir(self):
        assert detectable_change(5) == pytest.approx(13.859293, abs=1e-5)  # Weir (2005)

    def test_false_discoveries_match_benjamini_and_hochberg(self):
        # Benjamini and Hochberg (1995), J R Stat Soc B 57:289-300: four discoveries at 0.05.
        p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
        p += [0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]
        q = false_discoveries(p)
        assert sum(v <= 0.05 for v in q) == 4
        assert q[:5] == pytest.approx([0.0015, 0.003, 0.0095, 0.035625, 0.0603])


class TestLive:
    def test_capital_is_fair_over_all_coins(self):
        # The mean capital over every pattern of signs is 1: what makes it an e-value (Ville 1939).
        size = np.array([3.0, 1.0, 8.0, 0.5, 30.0])
        patterns = [size * signs for signs in product([-1, 1], repeat=5)]
        for capital in (_log_capital, lambda d, bet: _log_two_sided(d, bet, 0.0)):
            each = [np.exp(capital(d, _bets(d, 5.0, None))) for d in patterns]
            assert np.mean(each) == pytest.approx(1, abs=1e-12)

    def test_each_way_is_ruled_out_at_one_in_twenty(self):
        # Far inside the worth a pair all but doubles both capitals: 2^5 > 20 settles it in five pairs.
        assert [s.answer for s in so_far(np.zeros(5), 1000.0)][3:] == [
            "cannot tell yet",
            "no meaningful change",
        ]

    def test_a_clear_change_is_settled_in_six_pairs_and_stays_settled(self):
        d = np.array([14.0, 9, 15, 11, 13, 12, 10, -1, 12])
        steps = so_far(d, 5.0)
        assert [s.answer for s in steps[:5]] == ["cannot tell yet"] * 5
        assert {s.answer for s in steps[5:]} == {"changed"}
        assert steps[-1].low > 0

    def test_many_equal_pairs_end_in_no_meaningful_change(self):
        steps = so_far(np.random.default_rng(1).normal(0, 2.0, 20), 5.0)
        assert steps[-1].answer == "no meaningful change"
        assert -5 < steps[-1].low < steps[-1].high < 5

    def test_each_pair_has_both_cues_and_drawing_more_changes_none_before(self):
        few, many = drawn_cues(("a", "b"), 9, 7), drawn_cues(("a", "b"), 40, 7)
        assert many[:9] == few
        assert all(set(many[i : i + 2]) == {"a", "b"} for i in range(0, 40, 2))

    def test_a_pair_thrown_otherwise_is_left_out(self):
        found = pair_differences([1, 5, 2, 9, 4], ["a", "b", "a", "a", "b"], ("a", "b"))
        assert np.array_equal(found, [4, np.nan], equal_nan=True)

    @pytest.mark.parametrize("thrown", [1, 5])
    def test_half_a_pair_tells_what_stands_and_the_cue_that_completes_it(self, thrown):
        cues = drawn_cues(("a", "b"), 6, 3)
        rows = pd.DataFrame({"athlete": "A-01", "pitch": "slider", "cue": cues[:thrown]})
        rows["x_deg"] = [12.0 * (c == "b") for c in rows["cue"]]
        lines = live_lines(live_session(throw_table(rows), ["a", "b"], "x_deg", 3, worth=5.0))
        so_far = "nothing" if thrown == 1 else lines[2].removeprefix("  4 throws: ")
        assert lines[-2].startswith(f"throw {thrown} is half a pair; known so far: {so_far}")
        assert lines[-1] == f"next, throw {thrown + 1}: {cues[thrown]}"

    def test_half_a_pair_not_thrown_as_drawn_is_said_at_once(self):
        other = {"a": "b", "b": "a"}[drawn_cues(("a", "b"), 1, 3)[0]]
        rows = pd.DataFrame({"athlete": ["A-01"], "pitch": "slider", "cue": other, "x_deg": 1.0})
        assert live_session(throw_table(rows), ["a", "b"], "x_deg", 3, worth=5.0).not_drawn == 1

    def test_command_names_the_next_cue(self):
        result = CliRunner().invoke(app, ["live", "--cue", "a", "--cue", "b", "--figure", "palm_turn_deg"])
        assert result.exit_code == 0
        assert result.output.splitlines()[-1].startswith("next, throw 1: ")


class TestPlan:
    def test_eight_free_blocks_can_reach_two_in_seventy(self):
        drawn = plan_session(["a", "b"], 16)
        assert (drawn.possible, drawn.best_p) == (70, pytest.approx(2 / 70))
        assert sorted(drawn.plan.order) == ["a"] * 4 + ["b"] * 4

    def test_six_blocks_are_said_to_be_too_small_before_they_are_thrown(self):
        drawn = plan_session(["a", "b"], 12)
        assert drawn.best_p == 1
        assert [p.found for p in power(drawn, [12], 5.0)] == [0]

    def test_a_written_plan_reads_back_as_drawn(self, tmp_path):
        drawn = plan_session(
            ["usual", 'say "thumb" under'],
            24,
            seed=9,
            longest_run=2,
            main_outcome="palm_turn_deg",
            worth={"palm_turn_deg": 4.0, "speed_mph": 0.5},
        )
        (tmp_path / "plan.toml").write_text(plan_toml(drawn), encoding="utf-8")
        assert read_plan(tmp_path / "plan.toml") == drawn.plan

    def test_two_plans_without_a_seed_are_two_draws_and_each_keeps_its_own(self, tmp_path):
        for name in ("one", "two"):
            asked = ["plan", str(tmp_path / name), "--cue", "a", "--cue", "b", "--throws", "80"]
            result = CliRunner().invoke(app, asked)
            assert result.exit_code == 0, result.output
        one, two = (read_plan(tmp_path / name / "plan.toml") for name in ("one", "two"))
        assert one.order != two.order
        assert plan_session(["a", "b"], 80, seed=one.seed).plan == one

    def test_a_plan_is_never_drawn_twice(self, tmp_path):
        write_plan(plan_session(["a", "b"], 16), tmp_path, athletes=["A-01"], pitches=["slider"])
        with pytest.raises(PlanExists, match="never drawn twice"):
            write_plan(plan_session(["a", "b"], 16), tmp_path, athletes=["A-01"], pitches=["slider"])

    def test_a_budget_too_small_for_a_block_each_is_refused(self):
        with pytest.raises(CannotPlan, match="3 throws give no block of 2"):
            plan_session(["a", "b"], 3)

    def test_earlier_sessions_tell_the_scatter(self):
        rng, noise = (
            np.random.default_rng(8),
            Noise(throw_sd=None, lag_correlation=0.4, drift_sd=1.0, sessions=0),
        )
        sessions = [
            pd.DataFrame({"throw": np.arange(1, 17), "x": 5 * simulated_scatter(rng, 16, noise)})
            for _ in range(40)
        ]
        rows = (
            pd.concat(sessions, keys=range(40), names=["session"]).reset_index("session").assign(cue="usual")
        )
        found = noise_of(rows, "x")
        assert found.throw_sd == pytest.approx(5, rel=0.15)
        assert found.lag_correlation == pytest.approx(0.4, abs=0.11)
        assert found.drift == pytest.approx(1, abs=0.4)


class TestSpinAxis:
    def test_backspin_lies_in_the_plane_of_a_palm_that_faces_the_target(self):
        palm = palm_direction(np.array([0.0]), np.array([0.0]), "R")
        assert off_palm_plane_deg(palm, np.array([0.0]), np.array([1.0])) == pytest.approx(0, abs=1e-9)

    def test_backspin_stands_across_a_palm_that_faces_first_base(self):
        for side, azimuth in (
            ("R", -90.0),
            ("L", 90.0),
        ):  # glove side of one, arm side of the other
            palm = palm_direction(np.array([azimuth]), np.array([0.0]), side)
            assert palm[0] == pytest.approx([0, 1, 0], abs=1e-12)
            assert off_palm_plane_deg(palm, np.array([0.0]), np.array([1.0])) == pytest.approx(90)

    def test_one_throw_apart_from_the_rest_is_doubtful(self):
        apart, far = doubtful(np.array([5.0, 7, 6, 5, 60, np.nan]))
        assert list(apart) == [False] * 4 + [True, False]
        assert not far


class TestExport:
    def test_is_described_frozen_and_the_same_twice(self, tmp_path):
        table = throw_table(session())
        found = compare(table.rows, table.figures)
        hashes = [write_export(tmp_path / d, table.rows, found, {"version": "0"}) for d in ("one", "two")]
        assert hashes[0] == hashes[1]
        package = json.loads((tmp_path / "one/datapackage.json").read_text())
        for resource in package["resources"]:
            path = tmp_path / "one" / resource["path"]
            assert resource["hash"] == "sha256:" + hashlib.sha256(path.read_bytes()).hexdigest()
            assert [f["name"] for f in resource["schema"]["fields"]] == list(pd.read_csv(path).columns)
            assert all(f["description"] for f in resource["schema"]["fields"])
        parquet = pd.read_parquet(tmp_path / "one/throws.parquet")
        assert parquet["palm_turn_deg"].to_numpy() == pytest.approx(table.rows["palm_turn_deg"].to_numpy())
        assert "re-randomising" in (tmp_path / "one/methods.md").read_text()

    def test_files_over_time_are_listed_with_their_hash(self, tmp_path):
        (tmp_path / "over_time").mkdir()
        (tmp_path / "over_time/0a1b.nc").write_bytes(b"CDF")
        write_export(tmp_path, throw_table(session()).rows, [], {})
        package = json.loads((tmp_path / "datapackage.json").read_text())
        assert [one["path"] for one in package["resources"][2:]] == ["over_time/0a1b.nc"]
        assert package["resources"][2]["hash"] == "sha256:" + hashlib.sha256(b"CDF").hexdigest()
        assert package["profile"] == "data-package"  # with a file that is no table it is not tabular

    def test_landmarks_over_time_come_back_as_written(self, tmp_path):
        points, said = np.arange(12.0).reshape(3, 2, 2), {"athlete": "A-01", "fps": 240.0}
        angles = {"wrist_flexion": np.arange(3.0)}
        for name in ("one.nc", "two.nc"):
            write_over_time(tmp_path / name, np.arange(3) / 240, points, ["wrist", "ball"], angles, said)
        assert (tmp_path / "one.nc").read_bytes() == (tmp_path / "two.nc").read_bytes()
        with xarray.open_dataset(tmp_path / "one.nc") as read:
            ball = read["position"].sel(keypoints="ball", individuals="A-01")
            assert ball.sel(space="y").to_numpy().tolist() == points[:, 1, 1].tolist()
            assert (read["position"].units, read["time"].units) == ("pixel", "s")
            assert read["wrist_flexion_deg"].to_numpy().tolist() == [0, 1, 2]


class TestCommands:
    def run(self, *words):
        result = CliRunner().invoke(app, [str(w) for w in words])
        assert result.exit_code == 0, result.output
        return result.output

    def test_plan_says_what_the_session_can_show(self, tmp_path):
        said = self.run("plan", tmp_path / "p", "--cue", "usual", "--cue", "thumb under", "--athlete", "A-01")
        assert "70 orders could have been drawn; the best p is 0.029" in said
        assert len(pd.read_csv(tmp_path / "p/sheet.csv")) == 16

    def test_plan_tells_each_athletes_power_from_their_own_earlier_throws(self, tmp_path):
        steady, wild = session(effect=0, sd=2.0), session(effect=0, sd=20.0).assign(athlete="B-02")
        sessions = [rows.assign(session=k) for rows in (steady, wild) for k in range(3)]
        pd.concat(sessions).to_csv(tmp_path / "earlier.csv", index=False)
        said = self.run(
            *("plan", tmp_path / "p", "--cue", "usual", "--cue", "thumb under", "--main", "palm_turn_deg"),
            *("--athlete", "A-01", "--athlete", "B-02", "--earlier", tmp_path / "earlier.csv"),
            *("--longest-run", 4),
        )
        found = dict(re.findall(r"(\S+): a change of 8 is found in (\d+)%", said))
        assert int(found["A-01"]) > 90 > 40 > int(found["B-02"])

    def test_compare_tells_the_main_outcome_first_and_a_pitch_without_cues_once(self, tmp_path):
        rows = session().assign(spin_efficiency=np.random.default_rng(1).normal(0.9, 0.001, 16))
        pd.concat([rows[:2].assign(pitch="cutter", cue=""), rows]).to_csv(tmp_path / "t.csv", index=False)
        said = self.run("compare", "--table", tmp_path / "t.csv", "--main", "speed_mph").splitlines()
        assert said[0].startswith("A-01 slider, speed_mph")
        assert [line for line in said if "cutter" in line] == ["A-01 cutter: design too small (no cue)"]
        share = next(line for line in said if "spin_efficiency" in line)
        assert re.search(r"tell yet.*?\. [+-]0\.0\d \[[+-]0\.0\d to [+-]0\.0\d\]", share)

    def test_relate_and_agreement_write_their_tables(self, tmp_path):
        rows = session().assign(horizontal_break_in=lambda r: 0.3 * r["palm_turn_deg"] + 12)
        rows.to_csv(tmp_path / "t.csv", index=False)
        said = self.run(
            *("relate", "--table", tmp_path / "t.csv", "--hand", "palm_turn_deg"),
            *("--ball", "horizontal_break_in", "--csv", tmp_path / "r.csv"),
        )
        assert "within athletes r +1.00" in said
        readings = rows[["throw", "palm_turn_deg"]].rename(columns={"throw": "clip"})
        for name, shift in (("a.csv", 0), ("b.csv", 1)):
            shifted = readings.assign(palm_turn_deg=readings["palm_turn_deg"] + shift)
            shifted.to_csv(tmp_path / name, index=False)
        said = self.run(
            *("agreement", "--first", tmp_path / "a.csv", "--second", tmp_path / "b.csv"),
            *("--csv", tmp_path / "g.csv"),
        )
        assert "bias -1.00" in said

    def test_a_figure_that_is_not_there_is_named(self, tmp_path):
        session().to_csv(tmp_path / "t.csv", index=False)
        words = [
            "relate",
            "--table",
            tmp_path / "t.csv",
            "--hand",
            "x",
            "--ball",
            "speed_mph",
            "--csv",
            "o.csv",
        ]
        result = CliRunner().invoke(app, [str(w) for w in words])
        assert "the table has no x; it has" in str(result.exception)
