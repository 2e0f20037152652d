"""The page answers what `measure_clip` answers, also when only the fit is redone; how it draws the arm."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from release import page_steps
from release.apart import Apart
from release.clip.read import read_clip
from release.clip_settings import key_of
from release.drawn_arm import drawn_arm
from release.errors import ClipTakesTooLong
from release.logbook import Entered
from release.orientation.arm_fit import fit_arm
from release.orientation.chain import CHAIN_POINTS
from release.page_steps import Answer, Working, answered, said_of
from release.pipeline import measure_clip, refused_clip
from release.read_table import SetAside
from release.record import read, write
from release.record.write_clips import add_clips
from release.record.write_open import new_logbook
from release.settings import Partner, PinnedPoint, Settings
from tests.synthetic import Noise, mirrored, readings, some_camera, some_throw

THROW = Path(__file__).parents[1] / "sample_clips" / "throw_05.mp4"
SEEN = refused_clip(read_clip(THROW), "no throw is seen")


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


@pytest.fixture
def pair(tmp_path, monkeypatch):
    """A page's work on a logbook of two clips, one measured with the other; and what is asked of it."""
    book = new_logbook(tmp_path / "book")
    session = write.session_for(book, "barn")
    clips = []
    for number in range(2):
        path = tmp_path / f"{number}.mp4"
        path.write_bytes(bytes([number]) * 50)
        clips.append(next(iter(add_clips(book, [path], session))).sha256)
    partner = Partner(path=book.clips / f"{clips[1]}.mp4", settings=Settings())
    monkeypatch.setattr(page_steps, "settings_for", lambda *_: (Settings(partner=partner), ""))
    working, asked = Working(), []

    def ask(_step, _path, settings, *_, about, told):
        asked.append(settings.partner)
        if len(asked) == 1 and settings.partner is not None:
            raise ClipTakesTooLong(about, 180.0)
        alone = replace(SEEN, clip=replace(SEEN.clip, path=about))
        return Answer(measured=alone, readings=None, drawing={}, refitted=False)

    for process in (working._clips, working._corrections):
        monkeypatch.setattr(process, "ask", ask)
    yield book, working, clips[0], partner, asked
    book.engine.dispose()


def test_a_correction_does_not_wait_for_the_other_phones_clip(pair):
    book, working, clip, _, asked = pair
    working.correct(book, clip)
    assert asked == [None]
    assert read.measurement(book, clip)["measurement"] == key_of(clip, Settings(), "").text


def test_a_pair_that_takes_too_long_leaves_the_clip_its_own_answer_and_is_not_tried_again(pair):
    book, working, clip, partner, asked = pair
    working.measure(book, clip)
    working.measure(book, clip)
    assert asked == [partner, None]
    kept = read.measurement(book, clip)
    assert kept["partner"] == partner.path.stem
    assert "took too long" in kept["apart"]


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
