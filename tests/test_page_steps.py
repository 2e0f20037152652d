"""The page answers what `measure_clip` answers, also when only the fit is redone; how it draws the arm."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from release.apart import Apart
from release.drawn_arm import drawn_arm
from release.logbook import Entered
from release.orientation.arm_fit import fit_arm
from release.orientation.chain import CHAIN_POINTS
from release.page_steps import answered, said_of
from release.pipeline import measure_clip
from release.read_table import SetAside
from release.settings import PinnedPoint, Settings
from tests.synthetic import Noise, mirrored, readings, some_camera, some_throw

THROW = Path(__file__).parents[1] / "sample_clips" / "throw_05.mp4"


@pytest.fixture(scope="module")
def fitted():
    rng = np.random.default_rng(3)
    window = readings(some_throw(rng), some_camera(rng), Noise(), rng)
    return fit_arm(window, 0.0), window


@pytest.mark.system
@pytest.mark.timeout(600)
def test_the_page_measures_as_the_command_does_and_a_pin_from_memory_as_one_from_the_file():
    settings = Settings(pins=(PinnedPoint(frame_index=96, point="wrist", x_px=640.0, y_px=200.0),))
    steps: list[str] = []
    with Apart() as apart:
        plain = apart.ask(answered, THROW, Settings(), None, about=THROW, told=steps.append)
        again = apart.ask(answered, THROW, settings, plain.readings, about=THROW, told=steps.append)
    assert steps == ["reading", "finding release", "measuring", "reading", "measuring"]
    assert plain.measured.orientation == measure_clip(THROW).orientation
    assert again.refitted
    assert plain.measured.picture is not None
    assert again.measured.picture is None, "no frame is decoded for a picture that is kept already"
    assert again.measured.orientation == measure_clip(THROW, settings).orientation
    assert again.measured.orientation != plain.measured.orientation


def test_the_drawn_arm_has_every_point_in_every_frame_and_meets_the_fit_at_release(fitted):
    arm, window = fitted
    drawn = drawn_arm(arm, window, np.arange(len(window.time_s)) + 40)
    assert list(drawn["frames"]) == [40 + i for i in range(len(window.time_s))]
    at = 40 + int(np.argmin(np.abs(window.time_s - arm.release_s)))
    points = drawn["frames"][at]["points"]
    assert list(points) == list(CHAIN_POINTS)
    assert np.array(list(points.values())) == pytest.approx(arm.posed_px, abs=25)  # up to half a frame away
    flexion = np.degrees(arm.pose.joints[0, 3])
    assert drawn["frames"][at]["angles"]["wrist_flexion"] == pytest.approx(flexion, abs=8)


def test_a_left_arm_is_drawn_where_it_is_seen_with_the_same_angles(fitted):
    arm, window = fitted
    frames = np.arange(len(window.time_s))
    right = drawn_arm(arm, window, frames)["frames"][5]
    seen = mirrored(window)
    left = drawn_arm(fit_arm(seen, 0.0), seen, frames)["frames"][5]
    x, y = right["points"]["wrist"]
    assert left["points"]["wrist"] == pytest.approx([2 * window.centre_px[0] - x, y], abs=0.3)
    assert left["angles"] == pytest.approx(right["angles"], abs=0.3)


def test_less_certain_arms_are_drawn_with_a_wider_spread(fitted):
    arm, window = fitted
    frames = np.arange(len(window.time_s))

    def width(one):
        ends = np.array(drawn_arm(one, window, frames)["spread"]["palm"])[:, 1]
        return float(ends.std(axis=0).max())

    assert width(replace(arm, covariance=9 * arm.covariance)) > 2 * width(arm)


def test_the_spread_hangs_on_the_wrist_of_the_frame_that_it_is_drawn_in(fitted):
    arm, window = fitted
    drawn = drawn_arm(arm, window, np.arange(len(window.time_s)) + 40)
    frame = drawn["spread"]["frame"]
    assert abs(window.time_s[frame - 40] - arm.release_s) <= np.diff(window.time_s).max() / 2
    wrists = np.array(drawn["spread"]["forearm"])[:, 1]
    assert wrists == pytest.approx(
        np.tile(drawn["frames"][frame]["points"]["wrist"], (len(wrists), 1)), abs=0.2
    )


def test_rows_that_were_set_aside_are_named_with_their_reason():
    aside = tuple(SetAside(row=i, key=f"{i}", why="no number") for i in range(7))
    said = said_of(Entered(new=3, changed=1, set_aside=aside, notes=("in UTC",)))
    assert said.startswith("3 rows taken in, 1 changed, set aside: row 0 (0): no number")
    assert said.endswith("and 2 more, in UTC")
