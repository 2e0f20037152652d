"""Measures a folder of clips with truth and scores what came out."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np

from release.orientation.bound import bound_sd_deg
from release.orientation.measure import UNMEASURABLE_DEG, Heading
from release.orientation.read_truth import Truth, read_truth_folder
from release.orientation.score import (
    Accuracy,
    Answer,
    score_angles,
    score_release,
)
from release.pipeline import ThrowMeasurement, measure_clip
from release.settings import Settings

Measure = Callable[[Path, Settings], ThrowMeasurement]


def measured_folder(
    folder: Path, settings: Settings = Settings(), *, measure: Measure = measure_clip
) -> tuple[list[Truth], Iterator[tuple[Truth, ThrowMeasurement]]]:
    """The truths of a folder, and its clips measured one after the other as they are asked for.

    Args:
        measure: What measures one clip.

    Raises:
        TruthUnreadable: No truth there, or a damaged file.
    """
    truths = read_truth_folder(folder)
    return truths, ((truth, measure(truth.path, settings)) for truth in truths)


def scored(measured: Sequence[tuple[Truth, ThrowMeasurement]]) -> Accuracy:
    """Scores of clips already measured."""
    answers = [_answer(truth, m) for truth, m in measured if truth.release_frame is not None]
    without = [m for truth, m in measured if truth.release_frame is None]
    return Accuracy(
        release=score_release(answers),
        angles=score_angles(answers),
        without_release=len(without),
        refused_rightly=sum(m.refused is not None for m in without),
    )


def view_bound_deg(truth: Truth, *, sd_px: float = 2.0) -> dict[str, float]:
    """Least standard uncertainty of each angle that the view of a clip allows; empty without a release."""
    frames = truth.frames
    if frames is None or truth.release_frame is None:
        return {}
    release_s = float(np.interp(truth.release_frame, np.arange(len(truth.frame_time_s)), truth.frame_time_s))
    at = int(np.argmin(np.abs(frames.time_s - release_s)))
    K = truth.camera_matrix
    return bound_sd_deg(
        {
            n: np.einsum("kij,kj->ki", frames.rotation, p) + frames.offset_m
            for n, p in frames.points_m.items()
        },
        frames.time_s,
        side=truth.side,
        focal_px=float(K[0, 0]),
        centre_px=(float(K[0, 2]), float(K[1, 2])),
        release_s=release_s,
        heading=Heading(to_field=frames.rotation[at].T, covariance_rad2=np.zeros((3, 3))),
        sd_px=sd_px,
    )


def _answer(truth: Truth, measured: ThrowMeasurement) -> Answer:
    bound = view_bound_deg(truth)
    return Answer(
        release_frame=float(truth.release_frame or 0.0),
        angles_deg=truth.angles_deg,
        carried={name: sd <= UNMEASURABLE_DEG for name, sd in bound.items()},
        filmed_as=truth.filmed_as,
        release=measured.release,
        orientation=measured.orientation,
    )
