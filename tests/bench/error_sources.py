"""Where the error of an angle comes from: fitted again with the truth in place of one input at a time.

Of one clip, or of two phones' clips of one throw.
"""

from dataclasses import replace
from unittest.mock import patch

import numpy as np
from true_camera import true_camera

from release.field_camera import Stand
from release.frames.window import time_at
from release.landmarks.view import view_rotation
from release.orientation import kinematics
from release.orientation.angles import palm_frame, unit, wrap_deg
from release.orientation.arm_fit import fit_arm
from release.orientation.measure import angle_estimates
from release.orientation.read_truth import POINTS
from release.orientation.residuals import project
from release.orientation.result import JOINT_ANGLES
from release.orientation.together import Pair
from release.orientation.window import SHOWN
from release.pipeline import fit_throw

INPUTS = ("points", "directions", "release time", "proportions", "lens")
PAIR_INPUTS = ("points", "directions", "release time", "proportions", "cameras", "clocks")
TRIALS = {"nothing": (), **{name: (name,) for name in INPUTS}, "all of these": INPUTS}
PAIR_TRIALS = {"nothing": (), **{name: (name,) for name in PAIR_INPUTS}, "all of these": PAIR_INPUTS}
KNOWN = 1e-3  # standard uncertainty of a given length, in metres or of its logarithm


def errors_with_truth(truth, clip, close, release):
    """Absolute errors, degrees: {trial: {angle: error}}; an angle refused is left out."""
    return {trial: _errors(truth, clip, close, release, given) for trial, given in TRIALS.items()}


def _errors(truth, clip, close, release, given):
    if "release time" in given:
        release = replace(release, frame_index=truth.release_frame)
    stand = Stand(camera=true_camera(truth, (clip.width_px, clip.height_px))) if "lens" in given else Stand()
    window, seen_m, release_s = _window(truth, clip, close, release, stand, given)
    with patch.dict(vars(kinematics), _body(seen_m, truth.side) if "proportions" in given else {}):
        arm = fit_arm(window, release_s)
    return _off_deg(arm, truth)


def pair_errors_with_truth(truths, looks, cameras, offset_s, release_frame):
    """The same of two clips of one throw, fitted together.

    Args:
        looks: Of each clip: the clip, what was read closely, its release.
        cameras: Of each clip, as found.
        offset_s: What was found to be added to the second clock.
        release_frame: As found by both, on the first clip's frames.
    """
    found = offset_s, release_frame
    return {t: _pair_errors(truths, looks, cameras, found, given) for t, given in PAIR_TRIALS.items()}


def print_sources(with_truth):
    """Median errors for each trial, of what the functions above tell of some throws."""
    print(f"\nWith the truth for one input, {len(with_truth)}: median absolute error in degrees")
    print(f"{'':20s}" + "".join(f"{name:>24s}" for name in JOINT_ANGLES))
    for trial in with_truth[0] if with_truth else ():
        cells = [
            np.median([e[trial][name] for e in with_truth if name in e[trial]] or [np.nan])
            for name in JOINT_ANGLES
        ]
        print(f"{trial:20s}" + "".join(f"{c:>24.1f}" for c in cells))


def _pair_errors(truths, looks, cameras, found, given):
    offset_s, release_frame = found
    if "release time" in given:
        release_frame = truths[0].release_frame
    if "clocks" in given:
        times_s = [np.interp(t.release_frame, np.arange(len(t.frame_time_s)), t.frame_time_s) for t in truths]
        offset_s = times_s[0] - times_s[1]
    if "cameras" in given:
        cameras = [true_camera(t, c.size_px) for t, c in zip(truths, cameras, strict=True)]
    rows = [
        _window(t, *look, Stand(camera=camera), given)
        for t, look, camera in zip(truths, looks, cameras, strict=True)
    ]
    clip, seen_m = looks[0][0], rows[0][1]
    release_s = time_at(release_frame, clip.presentation_s / clip.time_base.slowdown)
    with patch.dict(vars(kinematics), _body(seen_m, truths[0].side) if "proportions" in given else {}):
        pair = Pair([window for window, *_ in rows], cameras, release_s)
        pair.let_go(release_s, offset_s)
        arm = pair.together(offset_s).arm
    return _off_deg(arm, truths[0])


def _window(truth, clip, close, release, stand, given):
    """What is fitted, with the truth in place of what is given; the true points in it; the release."""
    fitted = fit_throw(clip, close, release, stand=stand)
    seen_m = _seen_m(truth, close.frame_index[fitted.rows])
    window = fitted.window
    if "points" in given:
        window = _with_points(window, truth, seen_m)
    if "directions" in given:
        window = _with_directions(window, truth, seen_m)
    return window, seen_m, fitted.arm.release_s


def _off_deg(arm, truth):
    found = angle_estimates(arm, truth.side, release_sd_s=0.0, heading=None, factors={})
    return {
        name: abs(float(wrap_deg(np.array(found[name].value - truth.angles_deg[name]))))
        for name in JOINT_ANGLES
        if found[name].value is not None
    }


def _seen_m(truth, frame_index):
    """The true points in camera axes in these frames, shape (k, 8, 3); NaN where the truth has none."""
    frames = truth.frames
    world = np.stack([frames.points_m[name] for name in POINTS], axis=1)
    camera = np.einsum("kij,kpj->kpi", frames.rotation, world) + frames.offset_m[:, None]
    known = np.isin(frame_index, frames.frame_index)
    seen = np.full((len(frame_index), *camera.shape[1:]), np.nan)
    seen[known] = camera[np.searchsorted(frames.frame_index, frame_index[known])]
    return seen


def _px(truth, seen_m):
    return project(seen_m, truth.camera_matrix[0, 0], truth.camera_matrix[:2, 2])


def _with_points(window, truth, seen_m):
    """True where something was read: the ball only while it is held."""
    read = np.isfinite(window.points_px)
    radius = truth.camera_matrix[0, 0] * kinematics.BALL_RADIUS_M / seen_m[:, 7, 2]
    return replace(
        window,
        points_px=np.where(read, _px(truth, seen_m)[:, SHOWN], np.nan),
        ball_radius_px=np.where(np.isfinite(window.ball_radius_px), radius, np.nan),
    )


def _with_directions(window, truth, seen_m):
    """Read without error in the frame of the view, and taken from there with the assumed focal length."""
    shoulder, elbow, wrist, index, middle, _, little, _ = np.moveaxis(seen_m, 1, 0)
    at_elbow, at_wrist = (_to_assumed(window, truth, _px(truth, p)) for p in (elbow, wrist))
    upper_arm = np.einsum("kij,kj->ki", at_elbow, unit(elbow - shoulder))
    return replace(
        window,
        upper_arm=np.where(np.isfinite(window.upper_arm), upper_arm, np.nan),
        forearm=np.einsum("kij,kj->ki", at_wrist, unit(wrist - elbow)),
        palm=at_wrist @ palm_frame(wrist, index, middle, little, truth.side),
    )


def _to_assumed(window, truth, px):
    true = view_rotation(px, truth.camera_matrix[0, 0], truth.camera_matrix[:2, 2])
    return view_rotation(px, window.focal_px, np.array(window.centre_px)) @ true.transpose(0, 2, 1)


def _body(seen_m, side):
    """The thrower's own lengths in place of the published ones."""
    shoulder, elbow, wrist, index, middle, _, little, _ = np.moveaxis(seen_m, 1, 0)
    palm = palm_frame(wrist, index, middle, little, side)
    in_hand = np.nanmedian(np.einsum("kij,kpi->kpj", palm, seen_m[:, 3:] - wrist[:, None]), axis=0)
    return {
        "UPPER_ARM_M": float(np.nanmedian(np.linalg.norm(elbow - shoulder, axis=1))),
        "FOREARM_M": float(np.nanmedian(np.linalg.norm(wrist - elbow, axis=1))),
        "HAND_M": in_hand[:4],
        "BALL_IN_HAND_M": in_hand[4],
        **dict.fromkeys(("SIZE_SD", "LENGTH_SD", "HAND_SD_M"), KNOWN),
    }
