import pytest

from release.errors import PlanUnreadable
from release.session.read_plan import read_plan

PLAN = {
    "unit": '"block"',
    "cues": '["as usual", "thumb under"]',
    "blocks": "4",
    "longest_run": "2",
    "seed": "7",
    "order": '["as usual", "thumb under", "thumb under", "as usual"]',
    "main_outcome": '"forearm_rotation"',
}


def write(folder, **changed):
    path = folder / "plan.toml"
    path.write_text(
        "\n".join(f"{key} = {value}" for key, value in {**PLAN, **changed}.items() if value), "utf-8"
    )
    return path


def test_a_plan_drawn_freely_is_one_stratum(tmp_path):
    plan = read_plan(write(tmp_path))
    assert (plan.unit, plan.stratum, plan.longest_run, plan.seed) == ("block", (0, 0, 0, 0), 2, 7)
    assert plan.order == ("as usual", "thumb under", "thumb under", "as usual")
    assert plan.main_outcome == "forearm_rotation"


@pytest.mark.parametrize(
    ("strata", "stratum"),
    [
        pytest.param("[2, 2]", (0, 0, 1, 1), id="sizes"),
        pytest.param('["a", "b", "a", "b"]', (0, 1, 0, 1), id="labels"),
        pytest.param("2", (0, 0, 1, 1), id="number of equal strata"),
        pytest.param("[]", (0, 0, 0, 0), id="none"),
        pytest.param('["athlete"]', (0, 0, 0, 0), id="columns"),
    ],
)
def test_strata_in_any_of_their_forms(tmp_path, strata, stratum):
    assert read_plan(write(tmp_path, strata=strata)).stratum == stratum


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"unit": '"inning"'}, 'must be "throw" or "block"'),
        ({"cues": '["one"]'}, "two or more different cues"),
        ({"order": '["as usual", "elbow up", "as usual", "as usual"]'}, "elbow up.*cues does not name"),
        ({"blocks": "8"}, "lists 4 blocks, but blocks is 8"),
        ({"longest_run": "1"}, "2 times in a row, but longest_run is 1"),
        ({"strata": "3"}, "do not share out 4 units"),
        ({"seed": '"x"'}, "seed must be a whole number"),
        ({"order": "5"}, "order must be a list"),
        ({"worth": "4"}, "must be a table"),
        ({"worth": "{speed_mph = 0}"}, "worth of speed_mph must be a number above 0"),
        ({"order": "[unclosed"}, "cannot be used"),
    ],
)
def test_a_plan_that_contradicts_itself_says_where(tmp_path, changed, message):
    with pytest.raises(PlanUnreadable, match=message):
        read_plan(write(tmp_path, **changed))


def test_a_missing_plan_is_named(tmp_path):
    with pytest.raises(PlanUnreadable, match=r"plan\.toml.*no such file"):
        read_plan(tmp_path / "plan.toml")
