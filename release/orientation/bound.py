"""The best any unbiased reading of the same points could do: the Cramer-Rao bound of the fit.

The same chain, body and motion as the fit's, but fed with joint centres and ball alone, each off by
independent errors of `sd_px`: what the view itself can carry, whatever reads the picture.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from release.orientation.angles import Side, palm_frame, unit
from release.orientation.arm_fit import evaluate, with_release
from release.orientation.chain import CHAIN_POINTS, SHARED, Body, pose_from_directions
from release.orientation.measure import Heading, fit_sd_deg
from release.orientation.residuals import ALIKE_S, project
from release.orientation.solve import INDEPENDENT_S, problem_of, solve
from release.orientation.window import READ_POINTS, ArmWindow, as_right_arm

Array = NDArray[np.float64]

REACH_S = 0.085
FOUND_BY = np.array([0, 3, 4, 5, 6, 7, 8, 9])  # rows of READ_POINTS that show each of CHAIN_POINTS once
KNOWN_FOCAL_SD = 1e-3


def bound_sd_deg(
    points_m: Mapping[str, Array],
    time_s: Array,
    *,
    side: Side,
    focal_px: float,
    centre_px: tuple[float, float],
    release_s: float,
    heading: Heading,
    sd_px: float = 2.0,
) -> dict[str, float]:
    """Least standard uncertainty of every angle at release.

    Args:
        points_m: CHAIN_POINTS, each (k, 3), in camera axes, metres.
        time_s: Shape (k,).
        release_s: On the same clock; the ball is seen only up to it.
        sd_px: Standard error of every point, px, independent between points and frames.
    """
    near = np.abs(time_s - release_s) <= REACH_S
    points = {name: value[near] for name, value in points_m.items()}
    window = _window(points, time_s[near], side, focal_px, centre_px, release_s, sd_px)
    right, at = with_release(as_right_arm(window), release_s)
    body = Body(steps=np.zeros(SHARED))
    flip = np.array([1.0 if side == "R" else -1.0, 1.0, 1.0])
    seen = {name: _bridged(value * flip, time_s[near], right.time_s) for name, value in points.items()}
    palm = palm_frame(seen["wrist"], seen["index_mcp"], seen["middle_mcp"], seen["little_mcp"], "R")
    upper_arm, forearm = unit(seen["elbow"] - seen["shoulder"]), unit(seen["wrist"] - seen["elbow"])
    pose = pose_from_directions(seen["wrist"], upper_arm, forearm, palm, body)
    independent = np.full(len(ALIKE_S), INDEPENDENT_S)
    arm = evaluate(solve(problem_of([right], independent), pose, body), window, right.time_s, at, None)
    return fit_sd_deg(arm, side, heading)


def _bridged(values: Array, time_s: Array, wanted_s: Array) -> Array:
    return np.stack([np.interp(wanted_s, time_s, column) for column in values.T], axis=-1)


def _window(
    points: Mapping[str, Array],
    time_s: Array,
    side: Side,
    focal_px: float,
    centre_px: tuple[float, float],
    release_s: float,
    sd_px: float,
) -> ArmWindow:
    """A window in which the points alone are read, without error."""
    k = len(time_s)
    px = np.full((k, len(READ_POINTS), 2), np.nan)
    for row, name in zip(FOUND_BY, CHAIN_POINTS, strict=True):
        px[:, row] = project(points[name], focal_px, centre_px)
    px[time_s > release_s, -1] = np.nan
    lost = np.full((k, 3), np.nan)
    return ArmWindow(
        side=side,
        time_s=time_s,
        points_px=px,
        points_cov_px2=np.tile(sd_px**2 * np.eye(2), (k, len(READ_POINTS), 1, 1)),
        upper_arm=lost,
        upper_arm_sd_rad=np.ones(k),
        forearm=lost,
        forearm_sd_rad=np.ones(k),
        palm=np.full((k, 3, 3), np.nan),
        palm_cov_rad2=np.tile(np.eye(3), (k, 1, 1)),
        ball_radius_px=np.full(k, np.nan),
        ball_radius_sd_px=np.ones(k),
        arm_turn=np.zeros((k, 3)),
        hand_turn=np.zeros((k, 3)),
        focal_px=focal_px,
        focal_log_sd=KNOWN_FOCAL_SD,
        centre_px=centre_px,
    )
