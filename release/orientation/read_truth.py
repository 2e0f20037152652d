"""Clips with truth: reads the NAME.truth.json that lies beside each rendered clip."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from release.errors import TruthUnreadable
from release.orientation.angles import Side, angles_of_points_deg

Array = NDArray[np.float64]
POINTS = ("shoulder", "elbow", "wrist", "index_mcp", "middle_mcp", "ring_mcp", "little_mcp", "ball")


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthFrames:
    """The arm in k frames round the release."""

    frame_index: Array  # shape (k,)
    time_s: Array  # shape (k,)
    points_m: Mapping[str, Array]  # POINTS, each (k, 3), field frame
    rotation: Array  # shape (k, 3, 3), field to camera axes
    offset_m: Array  # shape (k, 3): c = rotation X + offset


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What is known of one rendered clip."""

    clip: str
    path: Path
    side: Side
    view: str
    true_fps: float
    exposure_s: float
    frame_time_s: Array
    release_frame: float | None  # None: no throw, or its release is not in the clip
    angles_deg: Mapping[str, float]  # every angle of angles.py at release; empty without one
    camera_matrix: Array  # shape (3, 3), px
    filmed_as: str | None  # one athlete before one camera, where the file tells
    frames: TruthFrames | None


def read_truth_folder(folder: Path) -> list[Truth]:
    """Every clip with truth in a folder, in the order of their names.

    Raises:
        TruthUnreadable: No truth file there, or one that lacks a field.
    """
    paths = sorted(folder.glob("*.truth.json"))
    if not paths:
        raise TruthUnreadable(f"no NAME.truth.json in {folder}: name a folder of rendered clips with truth")
    return [read_truth(path) for path in paths]


def read_truth(path: Path) -> Truth:
    """One truth file.

    Raises:
        TruthUnreadable: Not JSON, or a field is missing.
    """
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
        return _truth(raw, path)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise TruthUnreadable(f"not a truth file: {path.name} ({error!r})") from error


def _truth(raw: Mapping[str, Any], path: Path) -> Truth:
    seen = bool(raw["throw"]) and bool(raw["release_in_clip"])
    side: Side = raw["handedness"]
    return Truth(
        clip=raw["clip"],
        path=path.parent / raw["clip"],
        side=side,
        view=raw["view"],
        true_fps=float(raw["true_fps"]),
        exposure_s=float(raw["exposure_s"]),
        frame_time_s=np.array(raw["frame_time_s"], float),
        release_frame=float(raw["release_frame"]) if seen else None,
        angles_deg=_angles(raw["at_release"], side) if seen else {},
        camera_matrix=np.array(raw["K"], float),
        filmed_as=raw.get("filmed_as", raw.get("athlete")),
        frames=_frames(raw) if seen else None,
    )


def _angles(at_release: Mapping[str, Any], side: Side) -> dict[str, float]:
    """The file's own angles, and those it leaves out from its points."""
    points = {name: np.array(at_release["world"][name], float) for name in POINTS}
    ours = {name: float(value) for name, value in angles_of_points_deg(points, side).items()}
    return ours | {name: float(value) for name, value in at_release["angles"].items()}


def _frames(raw: Mapping[str, Any]) -> TruthFrames:
    frames = raw["frames"]
    return TruthFrames(
        frame_index=np.array([f["frame"] for f in frames], float),
        time_s=np.array([f["time_s"] for f in frames], float),
        points_m={n: np.array([f["world"][n] for f in frames], float) for n in POINTS},
        rotation=np.array([f.get("R", raw["R"]) for f in frames], float),
        offset_m=np.array([f.get("t", raw["t"]) for f in frames], float),
    )
