"""How far measured angles are from the truth on rendered throws, beside how each throw was filmed.

In:   folders of rendered clips with truth, measured with what ships but for the calibration of uncertainties,
      which is to be empty: it would refuse the widest angles, and what is left would look too good.
Out:  errors.csv, a row a clip with a release: what `intervals` and `sensitivity` work on.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from release.accuracy import measured_folder
from release.orientation.read_calibration import CALIBRATION, read_factors
from release.orientation.read_truth import Truth, TruthFrames
from release.orientation.result import JOINT_ANGLES
from release.pipeline import ThrowMeasurement

Array = NDArray[np.float64]


def error_rows(folders: Sequence[Path]) -> pd.DataFrame:
    """Measure the clips of some folders.

    Returns:
        A row a clip whose release is in view: `folder, clip, filmed_as`; what `filmed` tells;
        `release_error_frames`; for each joint angle `ANGLE_error_deg` (measured less true) and
        `ANGLE_sd_deg` (its standard uncertainty before calibration). NaN where refused.
    """
    rows = []
    for folder in folders:
        for truth, measured in measured_folder(folder)[1]:
            if truth.release_frame is not None and truth.frames is not None:
                who = None if truth.filmed_as is None else f"{folder.name} {truth.filmed_as}"
                named = {"folder": folder.name, "clip": truth.clip, "filmed_as": who}
                rows.append(named | filmed(truth, truth.frames) | _errors(truth, measured))
    return pd.DataFrame(rows)


def filmed(truth: Truth, frames: TruthFrames) -> dict[str, float]:
    """How a throw was filmed, by the truth at release.

    Returns:
        `true_fps`; `hand_px`, wrist to middle knuckle if seen square on; `blur_px`, the wrist's path in the
        picture in one exposure; `facing_deg`, between the line of sight and the palm's plane: 0 edge-on, 90
        square on.
    """
    seen = {
        name: np.einsum("kij,kj->ki", frames.rotation, frames.points_m[name]) + frames.offset_m
        for name in ("wrist", "index_mcp", "middle_mcp", "little_mcp")
    }
    release_s = np.interp(truth.release_frame or 0.0, np.arange(len(truth.frame_time_s)), truth.frame_time_s)
    at, focal_px = int(np.argmin(np.abs(frames.time_s - release_s))), truth.camera_matrix[0, 0]
    wrist, middle = seen["wrist"][at], seen["middle_mcp"][at]
    path_px = focal_px * seen["wrist"][:, :2] / seen["wrist"][:, 2:]
    speed_px_s = np.linalg.norm(np.gradient(path_px, frames.time_s, axis=0), axis=1)[at]
    normal = np.cross(seen["index_mcp"][at] - wrist, seen["little_mcp"][at] - wrist)
    share = abs(normal @ middle) / (np.linalg.norm(normal) * np.linalg.norm(middle))
    return {
        "true_fps": truth.true_fps,
        "hand_px": float(focal_px * np.linalg.norm(middle - wrist) / wrist[2]),
        "blur_px": float(speed_px_s * truth.exposure_s),
        "facing_deg": float(np.degrees(np.arcsin(share))),
    }


def _errors(truth: Truth, measured: ThrowMeasurement) -> dict[str, float]:
    row = {"release_error_frames": np.nan}
    if measured.release is not None and truth.release_frame is not None:
        row["release_error_frames"] = measured.release.frame_index - truth.release_frame
    for name in JOINT_ANGLES:
        one = measured.orientation.figures[name] if measured.orientation else None
        if one is None or one.value is None or one.sd is None:
            row |= {f"{name}_error_deg": np.nan, f"{name}_sd_deg": np.nan}
            continue
        row[f"{name}_error_deg"] = one.value - truth.angles_deg[name]
        row[f"{name}_sd_deg"] = one.sd
    return row


def main() -> None:
    """Measure, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    if read_factors():
        parser.error(f"{CALIBRATION} holds a calibration: set its figures to {{}} first")
    rows = error_rows(args.folders)
    rows.to_csv(args.out, index=False, float_format="%.4f")
    print(f"{len(rows)} throws with a release: {args.out}")


if __name__ == "__main__":
    main()
