"""Two drawn clips of one throw, with simulated networks: the whole way from files to figures."""

from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from release.camera.field import places_m
from release.cli import app
from release.clip.read import read_clip
from release.clip.read_sound import read_sound
from release.instant.parting import FINGERS, ROLLED_M, ROLLING_M_S, SeenFlight
from release.pipeline import finished, measure_clip
from release.settings import Partner, Settings
from release.two_phones import PairMeasurement, in_first, measure_pair, measuring_together
from tests.camera.cameras import STICK
from tests.camera.test_place import field_camera
from tests.drawn_clips import RELEASE_S, draw_clip
from tests.simulated_networks import TruthReader
from tests.synthetic import some_camera, some_throw

RNG = np.random.default_rng(3)
THROW = some_throw(RNG)
CAMERAS = [some_camera(RNG, azimuth_deg=a, hand_px=70) for a in (60, 180)]
OTHER = some_throw(np.random.default_rng(12))


def marks_toml(path: Path, camera) -> Path:
    seen = field_camera(camera)
    px = {n: seen.pixel(p) for n, p in places_m(STICK).items()}
    rows = [
        f'[[marks]]\nname = "{n}"\nx_px = {x}\ny_px = {y}\n' for n, (x, y) in px.items() if np.isfinite(x)
    ]
    path.write_text("stick_m = 1.5\n" + "".join(rows), encoding="utf-8")
    return path


@pytest.fixture
def filmed(tmp_path, monkeypatch):
    """Clips and camera files of one throw by two phones, or of two throws."""

    def film(second=THROW, second_fps=240, first_stored_fps=None, hidden=None, sides=(1.0, 1.0), seed=0):
        clips = (
            draw_clip(tmp_path, THROW, CAMERAS[0], name="a", stored_fps=first_stored_fps),
            draw_clip(
                tmp_path, second, CAMERAS[1], name="b", fps=second_fps, n_frames=72 * second_fps // 240
            ),
        )
        unseen = None if hidden is None else clips[hidden]
        now = []

        def reader(clip):  # the same clip read again is read the same
            side = sides[clips.index(clip)]
            return TruthReader(
                clip.with_suffix(".truth.json"), degrees=2.0, points=0.03, side=side, seed=seed
            )

        def read_hand(*given, **options):
            seen = now[0].read_hand(*given, **options)
            if now[1] == unseen:
                return replace(seen, held_probability=np.full(len(seen.held_probability), 0.5))
            return seen

        def opened(path, **options):
            now[:] = [reader(path), path]
            return read_clip(path, **options)

        monkeypatch.setattr("release.two_phones.read_clip", opened)
        monkeypatch.setattr("release.pipeline.read_clip", opened)
        monkeypatch.setattr("release.landmarks.infer_arm.read_arm", lambda *a, **k: now[0].read_arm(*a, **k))
        monkeypatch.setattr("release.landmarks.infer_arm.follow_arm", lambda *a: now[0].follow_arm(*a))
        monkeypatch.setattr("release.landmarks.infer_hand.read_hand", read_hand)
        files = (marks_toml(tmp_path / "a.toml", CAMERAS[0]), marks_toml(tmp_path / "b.toml", CAMERAS[1]))
        return clips, files, reader(clips[0]).truth

    return film


def test_one_throw_by_two_phones_is_measured_within_its_intervals(filmed):
    clips, files, truth = filmed()
    measured = measure_pair(clips, files)
    assert measured.refused is None
    assert measured.offset.offset_s == pytest.approx(0.0, abs=0.25 / 240)  # both clips begin together
    for name, figure in measured.orientation.figures.items():
        if name in truth.angles_deg and figure.value is not None:
            assert figure.value == pytest.approx(truth.angles_deg[name], abs=3.5 * figure.sd), name
    ball = THROW.posed(np.zeros(1)).points_m[0, 7]
    assert measured.orientation.figures["release_height"].value == pytest.approx(ball[2], abs=0.1)


@pytest.mark.parametrize(("sides", "doubtful"), [((0.6, 0.6), True), ((0.6, 1.0), False)])
def test_a_pair_says_that_the_arm_is_not_plain_only_where_neither_clip_shows_it(filmed, sides, doubtful):
    clips, cameras, _ = filmed(sides=sides)
    said = measure_pair(clips, cameras).orientation.flagged
    assert ("it is not plain which arm throws" in said) == doubtful


def test_clips_at_stated_rates_come_onto_one_clock_though_one_plays_slowed(filmed, tmp_path):
    clips, files, truth = filmed(second_fps=120, first_stored_fps=30, seed=3)
    out = tmp_path / "pair.csv"
    given = ["--camera-first", str(files[0]), "--camera-second", str(files[1]), "--csv", str(out)]
    rates = ["--capture-fps", "240", "--capture-fps", "120"]
    told = CliRunner().invoke(app, ["pair", *map(str, clips), *given, *rates])
    assert told.exit_code == 0, told.output
    row = pd.read_csv(out).iloc[0]
    assert row["release_time_s"] == pytest.approx(truth.frame_time_s[0] + RELEASE_S, abs=0.25 / 240)
    assert "clock runs +0." in told.output or "clock runs -0." in told.output


def test_a_clip_with_a_partner_takes_the_figures_of_both_and_keeps_its_own_picture(filmed):
    clips, files, _ = filmed()
    partner = Partner(path=clips[1], settings=Settings(camera=files[1]))
    settings = Settings(camera=files[0], partner=partner)
    alone = measure_clip(clips[0], replace(settings, partner=None))
    both = finished(measuring_together(clips[0], settings)).measured
    pair = measure_pair(clips, files)
    assert (both.orientation, both.release, both.partner) == (pair.orientation, pair.release, "b.mp4")
    assert both.apart is None
    assert both.orientation.figures["wrist_flexion"].sd < alone.orientation.figures["wrist_flexion"].sd
    assert np.array_equal(both.picture, alone.picture)
    assert both.points_px == alone.points_px


def test_a_release_chosen_by_hand_in_the_second_clip_is_the_pairs(filmed):
    clips, files, truth = filmed()
    chosen = truth.release_frame + 0.6
    release = measure_pair(clips, files, (Settings(), Settings(release_frame=chosen))).release
    assert release.source == "chosen by hand"
    assert release.frame_index == pytest.approx(chosen, abs=0.1)  # the clips begin together


@pytest.mark.parametrize("side", ["R", "L"])
def test_what_the_second_phone_sees_lies_in_the_first_ones_axes_where_the_arm_does(side):
    first, second = (field_camera(camera) for camera in CAMERAS)
    points_m = THROW.posed(np.linspace(-0.02, 0.0, 5)).points_m[:, 7] * (
        [1, 1, 1] if side == "R" else [1, -1, 1]
    )
    mirror = np.array([1.0, 1.0, 1.0]) if side == "R" else np.array([-1.0, 1.0, 1.0])
    px = np.array([second.pixel(point) for point in points_m]) - second.centre_px
    seen = SeenFlight(time_s=np.zeros(5), px=px * mirror[:2], focal_px=1.0, centre_px=(0.0, 0.0))
    moved = in_first(seen, side, (first, second), 1)
    held_m = (points_m - first.position_m) @ first.rotation.T * mirror
    there = (held_m - moved.place_m) @ moved.rotation.T
    assert there[:, :2] / there[:, 2:] * moved.focal_px == pytest.approx(moved.px, abs=1e-6)


def test_the_balls_flight_in_both_clips_moves_the_release_that_the_hands_tell(filmed, monkeypatch):
    late_s = 0.004
    (place, later), palm = (
        THROW.posed(np.array([late_s, late_s + 1e-4])).points_m[:, 7],
        THROW.posed(np.array([late_s])).palm[0],
    )
    along = palm @ FINGERS / np.linalg.norm(FINGERS)
    since_s = np.arange(0.003, 0.03, 1 / 240)
    flown_m = place + along * ROLLED_M + since_s[:, None] * ((later - place) / 1e-4 + along * ROLLING_M_S)

    def seen_flight(clip, *_):
        camera = field_camera(CAMERAS["ab".index(clip.path.stem)])
        px = np.array([camera.pixel(point) for point in flown_m])
        return SeenFlight(
            time_s=RELEASE_S + late_s + since_s, px=px, focal_px=camera.focal_px, centre_px=camera.centre_px
        )

    beyond_s = []
    for seed in range(2):
        clips, files, _ = filmed(seed=seed)
        alone = measure_pair(clips, files).release
        with monkeypatch.context() as seen:
            seen.setattr("release.two_phones.seen_flight", seen_flight)
            moved = measure_pair(clips, files).release
        assert alone.time_s == pytest.approx(RELEASE_S, abs=0.001)
        assert moved.sd_frames < alone.sd_frames
        assert 0.001 < moved.time_s - alone.time_s < late_s + 0.0015
        # Hands and flights tell two times, each counted by its certainty: so much of the way as is gained.
        gained = 1 - (moved.sd_frames / alone.sd_frames) ** 2
        beyond_s.append(moved.time_s - alone.time_s - gained * late_s)
    assert np.mean(beyond_s) == pytest.approx(0, abs=0.0003)


def test_the_side_that_a_clip_was_linked_by_stays_its_own(filmed, monkeypatch):
    clips, files, _ = filmed()
    alone = measure_clip(clips[0], Settings(camera=files[0]))
    pair = PairMeasurement(
        clips=("a.mp4", "b.mp4"),
        throws="L",
        release=alone.release,
        offset=None,
        misfit=None,
        orientation=alone.orientation,
        refused=None,
    )
    monkeypatch.setattr("release.two_phones._of_both", lambda *_: pair)
    partner = Partner(path=clips[1], settings=Settings(camera=files[1]))
    steps = measuring_together(clips[0], Settings(camera=files[0], partner=partner))
    assert finished(steps).measured.throws == alone.throws == "R"


def test_a_clip_that_does_not_fit_its_partner_keeps_its_own_figures_and_says_why(filmed, tmp_path):
    clips, files, _ = filmed()
    (tmp_path / "b.toml").write_text('view = "behind"', encoding="utf-8")
    partner = Partner(path=clips[1], settings=Settings(camera=files[1]))
    alone = measure_clip(clips[0], Settings(camera=files[0]))
    kept = finished(measuring_together(clips[0], Settings(camera=files[0], partner=partner))).measured
    assert kept.orientation.figures == alone.orientation.figures
    assert kept.apart.startswith("the other: a declared view tells no place")
    assert kept.partner == "b.mp4"
    assert kept.orientation.flagged[-1] == f"not fitted together with the other phone's clip: {kept.apart}"


@pytest.mark.soak
def test_a_phone_that_does_not_see_the_ball_leave_is_told_by_the_other(filmed):
    clips, files, truth = filmed(hidden=1)
    measured = measure_pair(clips, files)
    assert measured.refused is None
    assert measured.release.time_s == pytest.approx(RELEASE_S, abs=0.5 / 240)
    assert measured.offset.offset_s == pytest.approx(0.0, abs=0.25 / 240)
    flexion = measured.orientation.figures["wrist_flexion"]
    assert flexion.value == pytest.approx(truth.angles_deg["wrist_flexion"], abs=3 * flexion.sd)


def test_a_third_capture_rate_is_refused(filmed):
    clips, files, _ = filmed()
    cameras = ["--camera-first", str(files[0]), "--camera-second", str(files[1])]
    told = CliRunner().invoke(app, ["pair", *map(str, clips), *cameras, *["--capture-fps", "240"] * 3])
    assert told.exit_code == 2
    assert "two phones have two capture rates" in told.output


@pytest.mark.soak
def test_the_command_refuses_clips_of_different_throws(filmed):
    clips, files, _ = filmed(second=OTHER)
    told = CliRunner().invoke(
        app, ["pair", *map(str, clips), "--camera-first", str(files[0]), "--camera-second", str(files[1])]
    )
    assert told.exit_code == 0, told.output
    assert "refused" in told.output
    assert "different throws" in told.output or "not show one throw" in told.output


def test_a_pair_without_a_camera_says_which_clip_lacks_it(filmed, tmp_path):
    clips, files, _ = filmed()
    (tmp_path / "b.toml").write_text('view = "behind"', encoding="utf-8")
    measured = measure_pair(clips, files)
    assert measured.refused.startswith("b.mp4: a declared view tells no place")


def test_sound_is_read_as_one_track_at_the_rate_asked_for(tmp_path):
    path, rate = tmp_path / "bang.mp4", 48_000
    sound = np.zeros((1, rate), np.float32)
    sound[0, 24_000:24_480] = 0.8 * np.sin(np.arange(480) / 3)
    with av.open(str(path), "w") as container:
        track = container.add_stream("aac", rate=rate, layout="mono")
        frame = av.AudioFrame.from_ndarray(sound, format="fltp", layout="mono")
        frame.sample_rate = rate
        container.mux(track.encode(frame))
        container.mux(track.encode(None))
    heard = read_sound(path, 16_000)
    assert len(heard) == pytest.approx(16_000, rel=0.1)
    assert np.argmax(np.abs(heard)) / 16_000 == pytest.approx(0.505, abs=0.03)


def test_a_clip_without_sound_gives_none(filmed):
    clips, _, _ = filmed()
    assert len(read_sound(clips[0], 16_000)) == 0
