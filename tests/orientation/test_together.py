"""Two cameras on one simulated arm: clocks found, the arm better than by one, other throws refused."""

from dataclasses import replace

import numpy as np
import pytest

from release.orientation import chain
from release.orientation.angles import wrap_deg
from release.orientation.measure import angle_estimates
from release.orientation.place import release_place
from release.orientation.residuals import ALIKE_S, against, whitened
from release.orientation.sync import offset_of_fit
from release.orientation.together import TOO_FAR, Pair, shifted, stationed
from release.orientation.window import READ_POINTS, as_right_arm
from tests.camera.test_place import field_camera, misplaced
from tests.synthetic import Noise, mirrored, readings, some_camera, some_throw, truth_deg

OFFSET_S = 0.0437


def filmed(seed, *, other=None, second_fps=240.0):
    """A throw, its two cameras as known from marks, and windows on clocks that differ by OFFSET_S."""
    rng = np.random.default_rng(seed)
    throw, azimuth = some_throw(rng), rng.uniform(-180, 180)
    cameras = [some_camera(rng, azimuth_deg=azimuth + turn, hand_px=80) for turn in (0, 85)]
    known = [misplaced(field_camera(camera), rng) for camera in cameras]
    first = readings(throw, cameras[0], Noise(), rng, phase=0.2)
    second = readings(other or throw, cameras[1], Noise(), rng, phase=0.7, fps=second_fps)
    return throw, cameras, known, [first, shifted(second, -OFFSET_S)]


def found(windows, known):
    pair = Pair(windows, known, 0.0)
    offset = offset_of_fit(lambda s: pair.fit(s)[0].cost, OFFSET_S + 0.003, 0.006)
    return offset, pair.together(OFFSET_S if offset is None else offset.offset_s)


@pytest.fixture(scope="module")
def together():
    throw, cameras, known, windows = filmed(1)
    return throw, cameras, *found(windows, known)


def test_the_clocks_are_brought_together_within_a_quarter_frame(together):
    _, _, offset, _ = together
    assert offset.offset_s == pytest.approx(OFFSET_S, abs=0.25 / 240)
    assert abs(offset.offset_s - OFFSET_S) < 3 * offset.sd_s


def test_the_arm_by_two_cameras_is_within_its_intervals_and_they_are_narrow(together):
    throw, cameras, _, both = together
    angles = angle_estimates(both.arm, "R", release_sd_s=0, heading=both.heading, factors={})
    for name, true in truth_deg(throw, cameras[0]).items():
        figure = angles[name]
        if figure.value is not None:
            assert abs(float(wrap_deg(np.array(figure.value - true)))) < 3 * figure.sd, name
    assert angles["arm_angle"].sd < 2
    assert angles["wrist_flexion"].sd < 3.5
    x, y, z = throw.posed(np.zeros(1)).points_m[0, 7]
    place = release_place(both.arm, "R", both.cameras[0], release_sd_s=0)
    for name, true in (("extension", x), ("release_side", -y), ("release_height", z)):
        assert place[name].value == pytest.approx(true, abs=3 * place[name].sd), name
        assert place[name].sd < 0.2  # a turn of 1.5 degrees at 8 m


@pytest.mark.soak
def test_clips_of_different_throws_do_not_fit_together(together):
    *_, one_throw = together
    _, _, known, windows = filmed(1, other=some_throw(np.random.default_rng(77)))
    assert one_throw.misfit < TOO_FAR
    assert found(windows, known)[1].misfit > 5 * one_throw.misfit


def test_from_the_pairs_release_on_no_clip_tells_where_the_ball_is_in_the_hand():
    _, _, known, windows = filmed(1)
    pair = Pair(windows, known, 0.0)
    pair.let_go(-0.02, OFFSET_S)  # each by itself took it to leave at 0
    for window, later_s in zip(pair.windows, (0.0, OFFSET_S), strict=True):
        held = window.time_s + later_s <= -0.02
        assert np.array_equal(np.isfinite(window.ball_radius_px), held)
        assert np.array_equal(np.isfinite(window.points_px[:, READ_POINTS.index("ball"), 0]), held)


@pytest.mark.soak
def test_a_camera_at_half_the_frame_rate_joins_in():
    throw, cameras, known, windows = filmed(4, second_fps=120.0)
    offset, both = found(windows, known)
    assert offset.offset_s == pytest.approx(OFFSET_S, abs=0.25 / 120)
    angles = angle_estimates(both.arm, "R", release_sd_s=0, heading=both.heading, factors={})
    true = truth_deg(throw, cameras[0])["arm_angle"]
    assert angles["arm_angle"].value == pytest.approx(true, abs=3 * angles["arm_angle"].sd)


def test_left_arms_in_a_mirrored_field_give_the_same_figures():
    _, _, known, windows = filmed(2)
    flip = np.array([-1.0, 1.0, -1.0, 1.0, -1.0, 1.0, 1.0])
    in_mirror = [
        replace(
            camera,
            rotation=np.diag([-1.0, 1, 1]) @ camera.rotation @ np.diag([1.0, -1, 1]),
            position_m=camera.position_m * [1, -1, 1],
            covariance=camera.covariance * np.outer(flip, flip),
        )
        for camera in known
    ]
    figures = []
    for side, cameras, seen in (("R", known, windows), ("L", in_mirror, [mirrored(w) for w in windows])):
        both = Pair(seen, cameras, 0.0).together(OFFSET_S)
        figures.append(
            angle_estimates(both.arm, side, release_sd_s=0.001, heading=both.heading, factors={})
            | release_place(both.arm, side, both.cameras[0], release_sd_s=0.001)
        )
    right, left = figures
    for name, figure in right.items():
        assert left[name].value == pytest.approx(figure.value, abs=1e-3), name
        assert left[name].sd == pytest.approx(figure.sd, rel=1e-2), name


def test_slopes_on_a_cameras_place_are_those_of_small_steps():
    _, _, known, windows = filmed(3)
    pair = Pair(windows, known, 0.0)
    window = as_right_arm(stationed(windows[1], known[1], 1))
    pose = pair.fit(OFFSET_S)[0].pose
    rows = slice(len(window.time_s))
    pose = chain.Pose(shoulder_m=pose.shoulder_m[rows], turn=pose.turn[rows], joints=pose.joints[rows])
    body = chain.Body(steps=np.zeros(chain.SHARED + 2 * chain.STATION))
    posed = chain.place(pose, body)
    readings = whitened(window, np.ones(len(ALIKE_S)))
    before = against(readings, posed, body)
    for column in range(chain.SHARED + chain.STATION, chain.SHARED + 2 * chain.STATION):
        step = np.zeros(len(body.steps))
        step[column] = 1e-6
        seen = (against(readings, posed, body.moved(step)).residual - before.residual) / 1e-6
        for kind in range(len(before.numbers)):
            of_kind = seen[:, before.of(kind)]
            slope = before.slope[:, before.of(kind), chain.DOF + column]
            assert slope == pytest.approx(of_kind, abs=1e-3 * (1 + np.abs(of_kind).max()))
