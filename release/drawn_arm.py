"""The fitted arm as a page draws it over the frames: points, angles and palm, frame by frame.

Out:  JSON. Pixels of the upright picture, (0, 0) its outer corner; degrees.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from release.orientation import chain
from release.orientation.angles import joint_angles_deg, palm_frame, unit
from release.orientation.arm_fit import FittedArm, in_picture
from release.orientation.chain import CHAIN_POINTS
from release.orientation.window import ArmWindow

Array = NDArray[np.float64]

PALM_ARROW_M = 0.12  # drawn from the middle of the palm the way it faces
SPREAD = 16  # arms drawn at random from the fit's own uncertainty at release
WRIST, INDEX, MIDDLE, LITTLE = (
    CHAIN_POINTS.index(n) for n in ("wrist", "index_mcp", "middle_mcp", "little_mcp")
)


def drawn_arm(fitted: FittedArm, window: ArmWindow, frame_index: NDArray[np.int64]) -> Mapping[str, Any]:
    """What is drawn of one fitted arm.

    Args:
        fitted: The arm.
        window: What it was fitted to.
        frame_index: Shape (k,), the frame of each row of the window.

    Returns:
        `frames`: for each frame `points` (name to [x, y]), `palm` (two ends of an arrow the way the palm
        faces) and `angles` (name to degrees); `spread`: the `frame` nearest to release, and for it arrows and
        forearms drawn at random from the fit's own uncertainty.
    """

    def shown(points_m: Array) -> list[Any]:
        return np.round(in_picture(points_m, fitted.body, window), 1).tolist()

    points = fitted.frames_m
    arrows, angles = _palm_arrows(points), angles_deg(points)
    frames = {
        int(frame): {
            "points": dict(zip(CHAIN_POINTS, placed, strict=True)),
            "palm": arrow,
            "angles": {name: round(float(value[i]), 1) for name, value in angles.items()},
        }
        for i, (frame, placed, arrow) in enumerate(
            zip(frame_index, shown(points), shown(arrows), strict=True)
        )
    }
    near = int(np.argmin(np.abs(window.time_s - fitted.release_s)))
    likely = _likely(fitted)
    likely += points[near, WRIST] - likely[:, WRIST : WRIST + 1]  # only how it is turned, hung on the wrist
    spread = {"frame": int(frame_index[near]), "palm": shown(_palm_arrows(likely))}
    spread["forearm"] = shown(likely[:, 1:3])
    return {"frames": frames, "spread": spread}


def angles_deg(points_m: Array) -> dict[str, Array]:
    """Joint angles of arms (k, 8, 3), which are right arms here: left ones are fitted in a mirror."""
    upper, fore = unit(points_m[:, 1] - points_m[:, 0]), unit(points_m[:, 2] - points_m[:, 1])
    return joint_angles_deg(upper, fore, palms(points_m), "R")


def palms(points_m: Array) -> Array:
    """The palm's axes of arms (k, 8, 3), shape (k, 3, 3); right ones, as fitted."""
    wrist, index, middle, little = (points_m[:, i] for i in (WRIST, INDEX, MIDDLE, LITTLE))
    return palm_frame(wrist, index, middle, little, "R")


def _palm_arrows(points_m: Array) -> Array:
    """Shape (k, 2, 3): from the middle of the palm the way it faces."""
    start = (points_m[:, WRIST] + points_m[:, MIDDLE]) / 2
    return np.stack([start, start + PALM_ARROW_M * palms(points_m)[..., 2]], axis=1)


def _likely(fitted: FittedArm) -> Array:
    """Points (SPREAD, 8, 3) of arms drawn from the covariance at release, always the same draws."""
    steps = np.random.default_rng(0).multivariate_normal(
        np.zeros(len(fitted.covariance)), fitted.covariance, SPREAD, method="eigh"
    )
    placed = [chain.place(fitted.pose.moved(step[None]), fitted.body).points_m[0] for step in steps]
    return np.stack(placed)
