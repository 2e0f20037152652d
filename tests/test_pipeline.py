"""One clip in, one measurement out: with simulated networks on drawn clips, so the answer is known."""

import csv
import math
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner

from release import throw_search
from release.accuracy import measured_folder, scored, view_bound_deg
from release.cli import app
from release.clip.read import read_clip
from release.errors import SettingUnknown, TruthUnreadable
from release.film_check import film_check
from release.instant.arm import Burst
from release.instant.ball import NEAR_S, Change
from release.instant.detect import ENDS_BEFORE, NO_THROW, STILL_HELD
from release.instant.parting import FINGERS, ROLLED_M, ROLLING_M_S, ROLLING_S
from release.instant.result import ReleaseInstant
from release.landmarks import infer_hand
from release.look import looked_at
from release.orientation.read_calibration import read_own_fractions
from release.orientation.read_truth import read_truth
from release.orientation.residuals import project
from release.orientation.result import JOINT_ANGLES
from release.orientation.write_look import COLUMNS, write_look_csv
from release.pipeline import BALL, NOT_HELD, find_release, fit_throw, measure_clip, seen_flight
from release.settings import Settings, settings_of
from release.throw_search import Close
from tests.drawn_clips import RELEASE_S, draw_clip
from tests.simulated_networks import TruthReader
from tests.synthetic import some_camera, some_throw

RNG = np.random.default_rng(3)
THROW = some_throw(RNG)
CAMERA = some_camera(RNG, azimuth_deg=60, hand_px=70)
OTHER_SIDE = some_camera(RNG, azimuth_deg=-60, hand_px=70)


@pytest.fixture
def networks(monkeypatch):
    """Let the pipeline read the truth beside whatever clip it is given, with errors of some degrees."""

    def use(path, **errors):
        reader = TruthReader(path.with_suffix(".truth.json"), **errors)
        monkeypatch.setattr("release.landmarks.infer_arm.read_arm", reader.read_arm)
        monkeypatch.setattr("release.landmarks.infer_arm.follow_arm", reader.follow_arm)
        monkeypatch.setattr("release.landmarks.infer_hand.read_hand", reader.read_hand)
        return reader.truth

    return use


def errors_deg(measured, truth):
    figures = measured.orientation.figures
    return {n: figures[n].value - truth.angles_deg[n] for n in JOINT_ANGLES if figures[n].value is not None}


def test_a_throw_is_found_and_measured_within_its_intervals(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    truth = networks(clip)
    measured = measure_clip(clip)
    assert measured.refused is None
    assert measured.release.frame_index == pytest.approx(truth.release_frame, abs=0.5)
    assert measured.release.time_s == pytest.approx(RELEASE_S, abs=0.002)
    for name in JOINT_ANGLES:
        figure = measured.orientation.figures[name]
        assert figure.value is not None, (name, figure.refused)
        assert figure.value == pytest.approx(truth.angles_deg[name], abs=3 * figure.sd)
    assert measured.picture.shape == (720, 1280, 3)
    assert set(measured.points_px) >= {"shoulder", "elbow", "wrist", "middle_mcp"}


def test_where_it_is_not_plain_which_arm_throws_that_is_said_until_a_person_tells(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    side = networks(clip, side=0.6).side
    doubt = "it is not plain which arm throws"
    assert doubt in measure_clip(clip).orientation.flagged
    assert doubt not in measure_clip(clip, settings_of(throws=side)).orientation.flagged


def test_how_an_arm_looks_once_it_has_swung_across_casts_no_doubt_on_which_one_throws(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    across = round(networks(clip).release_frame + 2 * 240 * NEAR_S)
    networks(clip, side=0.7, crossed=range(across, across + 100))
    assert "it is not plain which arm throws" not in measure_clip(clip).orientation.flagged


def test_where_the_other_arm_seemed_to_throw_at_the_fastest_moment_the_release_puts_that_right(
    tmp_path, networks, monkeypatch
):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    truth = networks(clip)
    other, read_close = "L" if truth.side == "R" else "R", throw_search._read_close

    def misled(clip, time_s, frame, coarse, settings):
        return read_close(clip, time_s, frame, coarse, replace(settings, throws=settings.throws or other))

    monkeypatch.setattr(throw_search, "_read_close", misled)
    measured = measure_clip(clip)
    assert measured.throws == truth.side
    for name, error_deg in errors_deg(measured, truth).items():
        assert abs(error_deg) < 3 * measured.orientation.figures[name].sd, name
    networks(clip, side=0.6)  # in doubt it stays, and that is said
    measured = measure_clip(clip)
    assert measured.throws == other
    assert "it is not plain which arm throws" in measured.orientation.flagged


def test_a_hand_that_is_never_plainly_seen_with_the_ball_is_refused_unless_a_person_tells(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    frame = networks(clip, degrees=14.0).release_frame
    assert measure_clip(clip).refused == NOT_HELD
    assert measure_clip(clip, settings_of(release_frame=frame)).refused is None


def test_where_the_other_arm_is_read_the_throwing_one_is_bridged_and_that_is_said(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    frame = round(read_truth(clip.with_suffix(".truth.json")).release_frame)
    truth = networks(clip, astray=range(frame - 7, frame + 50))
    measured = measure_clip(clip)
    for name, error_deg in errors_deg(measured, truth).items():
        assert abs(error_deg) < 3 * measured.orientation.figures[name].sd, name
    assert any("the upper arm is not seen round release" in said for said in measured.orientation.limits)
    networks(clip)
    assert not any("upper arm" in said for said in measure_clip(clip).orientation.limits)


def test_a_release_in_frames_in_which_the_other_hand_was_read_lies_anywhere_between_the_others(
    tmp_path, networks
):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    frame = round(networks(clip).release_frame)
    alone = find_release(read_clip(clip), Settings())[1]
    truth = networks(clip, hand_astray=range(frame - 4, frame + 3))
    release = find_release(read_clip(clip), Settings())[1]
    assert abs(release.frame_index - truth.release_frame) < 2 * release.sd_frames
    assert release.sd_frames > 2 * alone.sd_frames


def test_a_release_told_by_frames_that_the_fit_leaves_out_lies_anywhere_between_the_others(
    tmp_path, networks, monkeypatch
):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    networks(clip)
    close, told = throw_search.find_throw(read_clip(clip), Settings())
    other = np.abs(close.frame_index - round(told.frame_index)) <= 3
    radius_px = np.nanmedian(close.hand.ball_radius_px)
    points_px = close.hand.points_px + 14 * radius_px * other[:, None, None]  # half a metre away
    ball = replace(close.ball, flown=close.ball.flown[:0])
    read = replace(close, hand=replace(close.hand, points_px=points_px), ball=ball)
    monkeypatch.setattr("release.pipeline.find_throw", lambda *_: (read, told))
    release = find_release(read_clip(clip), Settings())[1]
    assert release.frame_index == round(told.frame_index)
    assert release.sd_frames == pytest.approx(np.hypot(told.sd_frames, 8 / np.sqrt(12)))


def test_the_ball_is_measured_by_its_own_radius_where_another_hand_was_read_nearer_the_camera(
    tmp_path, networks, monkeypatch
):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    frame = round(networks(clip).release_frame)
    networks(clip, hand_astray=range(frame - 12))
    read_hand = infer_hand.read_hand

    def nearer(images, frame_index, arm, side):
        hand = read_hand(images, frame_index, arm, side)
        radius_px = np.where(frame_index < frame - 12, 2.0, 1.0) * hand.ball_radius_px
        return replace(hand, ball_radius_px=radius_px)

    monkeypatch.setattr(infer_hand, "read_hand", nearer)
    found = close, _ = throw_search.find_throw(read_clip(clip), Settings())
    held_px = close.ball.held * close.ball.radius_px
    seen = np.isfinite(held_px[:, 0])
    assert seen.sum() > 5
    np.testing.assert_allclose(held_px[seen], close.hand.points_px[seen, -1])
    ball = replace(close.ball, flown=close.frame_index[seen], flight=close.ball.held[seen])
    flight = seen_flight(read_clip(clip), replace(close, ball=ball), fit_throw(read_clip(clip), *found))
    np.testing.assert_allclose(flight.px, close.hand.points_px[seen, -1])


def test_a_throw_whose_ball_is_back_in_the_hand_is_none(tmp_path, networks, monkeypatch):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    asked = []

    def back(time_s, held, after_s):
        asked.append((len(time_s) - len(held), *after_s))
        return [True]

    networks(clip)
    monkeypatch.setattr(throw_search, "held_again", back)
    assert measure_clip(clip).refused == STILL_HELD
    assert asked[0] == (0, pytest.approx(RELEASE_S + NEAR_S, abs=0.003))


def seen(close, burst, evidence):
    change = Change(
        frame_index=burst.frame_index,
        sd_frames=1.0,
        evidence=evidence,
        flight=0.0,
        ends_before=0.0,
        starts_after=0.0,
        gap=0,
    )
    return throw_search._Seen(close=close, change=change, burst=burst)


def found_among(monkeypatch, tmp_path, evidence, again, sides=("R", "R", "R"), doubtful=False):
    """Which of some fast moments, at frames 10, 20 and so on, is taken for the throw.

    With the ball back in the hand, as read near the last moment, after the releases of `again`.
    """
    looked = [Burst(frame_index=10.0 * (k + 1), speed_m_s=25.0 - k) for k in range(len(evidence))]

    def release(clip, time_s, close, burst):
        frame = burst.frame_index
        told = evidence[int(frame / 10) - 1]
        instant = ReleaseInstant(frame_index=frame, time_s=None, sd_frames=1.0, source="ball")
        return seen(close, burst, told), instant

    monkeypatch.setattr(throw_search, "coarse_looks", lambda clip, time_s: iter([SimpleNamespace(arm=None)]))
    monkeypatch.setattr(throw_search, "_wrist_bursts", lambda coarse, time_s: looked)
    clip = read_clip(draw_clip(tmp_path, THROW, CAMERA))

    def read(clip, time_s, centre_frame, *more):
        at = int(centre_frame / 10) - 1
        last = at == len(evidence) - 1
        return Close(
            frame_index=np.arange(3),
            arm=None,
            hand=SimpleNamespace(
                frame_index=np.arange(3), side=sides[at], held_probability=np.full(3, float(last))
            ),
            side_doubtful=doubtful and last,
            ball=None,
            full={},
        )

    monkeypatch.setattr(throw_search, "_read_close", read)
    monkeypatch.setattr(throw_search, "_release", release)
    frames = [frame for frame, back in zip((10.0, 20.0, 30.0), again, strict=False) if back]
    held = [throw_search.time_at(frame, clip.frame_time_s) for frame in frames]
    monkeypatch.setattr(
        throw_search, "held_again", lambda t, h, after_s: h[:1] * np.isclose(after_s - NEAR_S, held).any()
    )
    found = throw_search._looked_for(clip, Settings())
    return found if isinstance(found, str) else found[1].frame_index


def test_the_likeliest_release_is_taken_after_which_the_ball_is_not_in_the_hand(monkeypatch, tmp_path):
    assert found_among(monkeypatch, tmp_path, (8.0, 15.0), (False, False)) == 20.0
    assert found_among(monkeypatch, tmp_path, (15.0, 8.0), (False, False)) == 10.0
    assert found_among(monkeypatch, tmp_path, (15.0, 8.0), (True, False)) == 20.0
    assert found_among(monkeypatch, tmp_path, (15.0, 8.0), (True, True)) == STILL_HELD


def test_a_ball_in_the_other_hand_or_in_one_that_may_be_it_does_not_undo_a_release(monkeypatch, tmp_path):
    both = (15.0, 8.0), (True, True)
    assert found_among(monkeypatch, tmp_path, *both, sides=("R", "L")) == 10.0
    assert found_among(monkeypatch, tmp_path, *both, doubtful=True) == 10.0
    assert found_among(monkeypatch, tmp_path, (8.0, 15.0), (True, True), doubtful=True) == 10.0


def test_where_the_whole_picture_shows_no_throw_it_is_looked_for_in_what_moves(
    tmp_path, networks, monkeypatch
):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    truth = networks(clip)
    monkeypatch.setattr(throw_search, "coarse_looks", lambda *_: iter([]))
    _, release = throw_search.find_throw(read_clip(clip), Settings())
    assert release.frame_index == pytest.approx(truth.release_frame, abs=0.5)
    monkeypatch.setattr(throw_search, "held_again", lambda *_: [True])
    assert throw_search.find_throw(read_clip(clip), Settings()) == NO_THROW


def test_the_film_check_tells_what_one_throw_adds_beside_others(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    networks(clip)
    figure = measure_clip(clip).orientation.figures["forearm_rotation"]
    networks(clip)
    own = read_own_fractions()["forearm_rotation"]
    (line,) = [line for line in film_check(clip) if "forearm_rotation" in line]
    whole, beside = (float(half) for half in re.findall(r"\+-([\d.]+)", line))
    assert whole == pytest.approx(1.96 * figure.sd, abs=0.06)
    assert beside == pytest.approx(own * whole, abs=0.1)
    assert own < 1


def test_the_arm_is_drawn_as_it_is_in_the_picture_not_between_two_pictures(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    frame = round(networks(clip, degrees=0.2, points=0.002).release_frame)
    drawn = []
    for chosen in (frame - 0.4, frame + 0.4):
        measured = measure_clip(clip, Settings(release_frame=chosen))
        assert measured.picture_frame_index == frame
        drawn.append(measured.points_px["wrist"])
        assert ("ball" in measured.points_px) == (chosen > frame), "drawn in the hand while it is held"
    assert drawn[0] == pytest.approx(drawn[1], abs=3)  # the wrist goes some 30 px a frame


@pytest.mark.parametrize("clear", [True, False])
def test_whole_frames_are_let_go_before_more_of_a_clip_is_looked_at(tmp_path, networks, monkeypatch, clear):
    path = draw_clip(tmp_path, THROW, CAMERA)
    networks(path)
    read_close, whole = throw_search._read_close, {0: "a frame of some megabytes"}
    monkeypatch.setattr(throw_search, "_read_close", lambda *a: replace(read_close(*a), full=dict(whole)))
    monkeypatch.setattr(throw_search, "_clear", lambda *_: clear)
    close, _ = throw_search.find_throw(read_clip(path), Settings())
    assert close.full == (whole if clear else {})


def test_the_same_clip_gives_the_same_answer(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    networks(clip, seed=5)
    first = measure_clip(clip)
    networks(clip, seed=5)
    assert measure_clip(clip).orientation == first.orientation


def test_a_left_arm_in_a_mirrored_clip_has_the_same_angles(tmp_path, networks):
    right = draw_clip(tmp_path, THROW, CAMERA, name="right")
    flip_x, flip_y = np.diag([-1.0, 1.0, 1.0]), np.diag([1.0, -1.0, 1.0])
    in_mirror = replace(CAMERA, rotation=flip_x @ CAMERA.rotation @ flip_y, offset_m=flip_x @ CAMERA.offset_m)
    left = draw_clip(tmp_path, THROW, in_mirror, name="left", side="L")
    off = {"R": [], "L": []}
    for seed in range(3):  # by its own noise alone rotation differs by 0.9 degrees (SD) from clip to clip
        one = networks(right, degrees=0.2, points=0.002, seed=seed)
        off["R"].append(list(errors_deg(measure_clip(right), one).values()))
        two = networks(left, degrees=0.2, points=0.002, seed=seed)
        measured = measure_clip(left)
        assert measured.throws == "L"
        off["L"].append(list(errors_deg(measured, two).values()))
    assert one.angles_deg == pytest.approx(two.angles_deg)
    assert np.mean(off["L"], axis=0) == pytest.approx(np.mean(off["R"], axis=0), abs=0.9)


def test_of_several_fast_moments_without_a_release_the_fastest_tells_why(tmp_path, networks, monkeypatch):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    networks(clip)
    fast = [Burst(frame_index=38.0, speed_m_s=30.0), Burst(frame_index=20.0, speed_m_s=20.0)]
    said = iter([NO_THROW, STILL_HELD, ENDS_BEFORE] * 2)
    monkeypatch.setattr(throw_search, "_wrist_bursts", lambda *_: [replace(fast[0], frame_index=45.0), *fast])
    monkeypatch.setattr(
        throw_search, "_release", lambda clip, time_s, close, burst: (seen(close, burst, 0.0), next(said))
    )
    assert measure_clip(clip).refused == STILL_HELD


@pytest.mark.parametrize(("frame", "speed_m_s"), [(2.0, 25.0), (2.0, 3.5)])
def test_a_ball_that_is_held_to_the_last_frame_read_is_looked_for_beyond(
    tmp_path, networks, monkeypatch, frame, speed_m_s
):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    truth = networks(clip)
    early = Burst(frame_index=frame, speed_m_s=speed_m_s)  # nor need it be as fast as most throws look
    monkeypatch.setattr(throw_search, "_wrist_bursts", lambda *_: [early])
    _, release = throw_search.find_throw(read_clip(clip), Settings())
    assert release.frame_index == pytest.approx(truth.release_frame, abs=0.7)


def ball_px(frames, side, camera):
    """Where the ball is in some frames: it rolls along the fingers and from RELEASE_S on flies straight."""
    since_s = frames / 240 - RELEASE_S
    (start, later), palm = (getattr(THROW.posed(np.array([0.0, 1e-5])), n) for n in ("points_m", "palm"))
    along = palm[0] @ FINGERS / np.linalg.norm(FINGERS)
    velocity = (later - start)[BALL] / 1e-5 + ROLLING_M_S * along
    place_m = THROW.posed(np.minimum(since_s, 0)).points_m[:, BALL]
    place_m += ROLLED_M * np.clip(1 + since_s / ROLLING_S, 0, 1)[:, None] ** 2 * along
    place_m += np.maximum(since_s, 0)[:, None] * velocity
    place_m *= [1.0, 1.0 if side == "R" else -1.0, 1.0]
    return project(place_m @ camera.rotation.T + camera.offset_m, camera.focal_px, camera.centre_px)


@pytest.mark.parametrize("side", ["R", "L"])
@pytest.mark.parametrize(("read", "flown"), [(0, 8), (3, 0)], ids=["spots", "as the hand is read"])
def test_a_release_told_late_is_mended_by_where_the_ball_flies(
    tmp_path, networks, monkeypatch, side, read, flown
):
    camera = CAMERA if side == "R" else OTHER_SIDE
    path = draw_clip(tmp_path, THROW, camera, side=side)
    truth = networks(path, degrees=0.2, points=0.002)
    clip = read_clip(path)
    close, told = throw_search.find_throw(clip, Settings())
    index, gone = close.frame_index, math.ceil(truth.release_frame)
    ball, points_px = ball_px(index, side, camera), close.hand.points_px.copy()
    points_px[:, -1] = np.where((index < gone + read)[:, None], ball, np.nan)
    flying = (index > gone) & (index < gone + flown)
    seen = replace(close.ball, flown=index[flying], flight=ball[flying] / close.ball.radius_px)
    close = replace(close, hand=replace(close.hand, points_px=points_px), ball=seen)
    late = replace(told, frame_index=truth.release_frame + 1.2, sd_frames=1.2)
    monkeypatch.setattr("release.pipeline.find_throw", lambda clip, settings: (close, late))
    _, mended = find_release(clip, Settings())
    assert mended.frame_index == pytest.approx(truth.release_frame, abs=0.5)
    assert mended.time_s == pytest.approx(mended.frame_index / 240)
    assert mended.sd_frames < late.sd_frames


def test_a_slowed_copy_agrees_and_has_no_time(tmp_path, networks):
    slowed = draw_clip(tmp_path, THROW, CAMERA, stored_fps=30)
    truth = networks(slowed)
    measured = measure_clip(slowed)
    assert measured.release.time_s is None
    for name in JOINT_ANGLES:
        figure = measured.orientation.figures[name]
        assert figure.value is not None, (name, figure.refused)
        assert figure.value == pytest.approx(truth.angles_deg[name], abs=3 * figure.sd)


def test_a_clip_without_a_throw_is_refused(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA, throws=False)
    networks(clip)
    measured = measure_clip(clip)
    assert (measured.refused, measured.orientation) == (NO_THROW, None)


def test_a_clip_that_ends_before_release_is_refused(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA, n_frames=72)
    truth = networks(clip)
    cut = draw_clip(tmp_path, THROW, CAMERA, name="cut", n_frames=int(truth.release_frame) - 2)
    networks(clip)  # the readings of the whole throw, in a file that ends early
    assert measure_clip(cut).refused == ENDS_BEFORE


def test_a_release_chosen_by_hand_is_kept(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    networks(clip)
    release = measure_clip(clip, Settings(release_frame=40.0)).release
    assert (release.frame_index, release.source) == (40.0, "chosen by hand")


def test_look_writes_the_columns_of_the_readme(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    networks(clip)
    (tmp_path / "not.mp4").write_bytes(b"no video")
    seen = list(looked_at([clip, tmp_path / "not.mp4"], Settings()))
    assert [one.read for one in seen] == [True, False]
    write_look_csv(tmp_path / "out.csv", [one.row for one in seen])
    with (tmp_path / "out.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == COLUMNS
    assert float(rows[0]["wrist_flexion_deg_low"]) < float(rows[0]["wrist_flexion_deg"])
    assert rows[0]["palm_azimuth_refused"].startswith("camera unknown")
    assert rows[1]["refused"]


def test_a_folder_is_looked_at_clip_by_clip(tmp_path):
    empty, folder = tmp_path / "empty", tmp_path / "evening" / "mound"
    empty.mkdir()
    folder.mkdir(parents=True)
    for name in ("one.mp4", "two.mov"):
        (folder / name).write_bytes(b"no video")
    said = CliRunner().invoke(app, ["look", str(tmp_path / "evening")])
    assert [line.count("one.mp4") + line.count("two.mov") for line in said.output.splitlines()] == [1, 1]
    said = CliRunner().invoke(app, ["look", str(empty)])
    assert str(said.exception) == f"no video in {empty}"


def test_an_arm_that_is_neither_is_told_before_any_clip_is_looked_at(tmp_path):
    (tmp_path / "one.mp4").write_bytes(b"no video")
    said = CliRunner().invoke(app, ["look", str(tmp_path), "--throws", "left"])
    assert str(said.exception) == "the throwing arm is R or L, not 'left'"


def test_accuracy_scores_what_was_measured(tmp_path, networks):
    clip = draw_clip(tmp_path, THROW, CAMERA)
    networks(clip)
    truths, measured = measured_folder(tmp_path)
    scores = scored(list(measured))
    assert len(truths) == 1
    assert scores.release.within(1) == 1
    assert {a.name for a in scores.angles} >= set(JOINT_ANGLES)
    assert scores.angles[0].median < 10


def test_the_bound_from_truth_grows_with_the_error_and_is_finite(tmp_path):
    truth = read_truth(draw_clip(tmp_path, THROW, CAMERA).with_suffix(".truth.json"))
    fine, coarse = (view_bound_deg(truth, sd_px=sd) for sd in (1.0, 4.0))
    for name in JOINT_ANGLES:
        assert 0 < fine[name] < coarse[name] < math.inf


def test_a_folder_without_truth_is_told(tmp_path):
    with pytest.raises(TruthUnreadable, match=r"no NAME\.truth\.json"):
        measured_folder(tmp_path)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"view": "above"}, "no such view"),
        ({"slowdown": 8.0, "capture_fps": 240.0}, "not both"),
        ({"slowdown": -1.0}, "positive number"),
        ({"release_frame": -3.0}, "counts from 0"),
        ({"throws": "left"}, "R or L"),
    ],
)
def test_settings_that_mean_nothing_are_told(typed, told):
    with pytest.raises(SettingUnknown, match=told):
        settings_of(**typed)
