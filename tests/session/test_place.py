"""Where a session was thrown and with what ball, said by a command, changes how a flight file is read."""

import pytest
from typer.testing import CliRunner

from release.cli import app
from release.errors import SettingUnknown
from release.record import read
from release.record.write_open import new_logbook

NINE = ("x0_ft", "y0_ft", "z0_ft", "vx0_ft_s", "vy0_ft_s", "vz0_ft_s", "ax_ft_s2", "ay_ft_s2", "az_ft_s2")
# Case A of tests/flight/test_trajectory.py, counted from the plate's back point as the source has it.
FLIGHT = "flight,time,spin,{}\n1,2026-05-02T14:00:00Z,2000,{}\n".format(
    ",".join(NINE), "1.958,50,6.041,-0.469,-115.739,-0.622,-10.947,23.455,-32.665"
)
MAPPING = (
    'trajectory_frame = "plate"\nheight_zero = "plate level"\n[columns.time]\nname = "time"\n'
    + "".join(
        f'[columns.{name}]\nname = "{heading}"\n'
        for name, heading in [("spin_rpm", "spin"), *((name, name) for name in NINE)]
    )
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "flight.csv").write_text(FLIGHT, encoding="utf-8")
    (tmp_path / "unit.toml").write_text(MAPPING, encoding="utf-8")
    new_logbook(tmp_path / "book").engine.dispose()
    return tmp_path


def run(*arguments):
    answer = CliRunner().invoke(app, [str(argument) for argument in arguments])
    if answer.exception and not isinstance(answer.exception, SystemExit):
        raise answer.exception
    assert answer.exit_code == 0, answer.output
    return answer.output


def flight(folder):
    book = new_logbook(folder / "book")
    run(
        "flight", folder / "book", folder / "flight.csv", "--session=one", f"--mapping={folder / 'unit.toml'}"
    )
    row = read.flights(book, read.session_id(book, "one")).iloc[0]
    book.engine.dispose()
    return row


def test_distance_and_mound_move_the_trajectory_into_the_field(folder):
    before = flight(folder)
    assert before[["x0_ft", "z0_ft"]].to_list() == pytest.approx([60.5 - 50, 6.041 - 10 / 12])
    said = run("place", folder / "book", "--session=one", "--distance-ft=54", "--mound-in=0")
    assert said == "54 ft, flat ground, baseball of 5.125 oz\n"
    after = flight(folder)
    assert after[["x0_ft", "z0_ft"]].to_list() == pytest.approx([54 - 50, 6.041])
    # Six feet in front of the rubber is nearer the plate now, and the ball slower there.
    assert after["speed_mph"] == pytest.approx(before["speed_mph"] - 0.8, abs=0.2)


def test_a_heavier_ball_needs_more_spin_for_the_same_movement(folder):
    light = flight(folder)["spin_efficiency"]
    run("place", folder / "book", "--session=one", "--ball=training ball", "--ball-weight-oz=5.5")
    assert flight(folder)["spin_efficiency"] > 1.05 * light


def test_what_is_not_said_again_stays(folder):
    run("place", folder / "book", "--session=one", "--distance-ft=46")
    said = run("place", folder / "book", "--session=one", "--ball=softer ball")
    assert said == "46 ft, mound of 10 in, softer ball of 5.125 oz\n"


@pytest.mark.parametrize(
    ("option", "message"),
    [
        ("--distance-ft=45", "60.5"),
        ("--mound-in=30", "0 to 15 in"),
        ("--ball-weight-oz=0", "more than nothing"),
    ],
)
def test_what_no_session_can_have_is_refused(folder, option, message):
    with pytest.raises(SettingUnknown, match=message):
        run("place", folder / "book", option)
