"""MediaPipe's hand and pose landmark models, run by LiteRT: the second opinion and the person.

LiteRT opens no connection. Every function answers None where the models have not been fetched.
"""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from ai_edge_litert.interpreter import Interpreter
from numpy.typing import NDArray

from release.landmarks.pose_roi import (
    DETECTOR_PX,
    best_alignment,
    letterbox,
    refined_by_heatmap,
    square_from_alignment,
    square_to_picture,
)
from release.landmarks.read_models import fetched_model

HAND_PX, POSE_PX, POSE_POINTS = 224, 256, 33


@dataclass(frozen=True, slots=True, kw_only=True)
class MediaPipeHands:
    """MediaPipe's hand landmarks of k crops."""

    points_px: NDArray[np.float64]  # shape (k, 21, 2), in the 224 px crop, outer corner at 0
    world_m: NDArray[np.float64]  # shape (k, 21, 3), x right, y down, z away from the camera
    presence: NDArray[np.float64]  # shape (k,), 0..1


@dataclass(frozen=True, slots=True, kw_only=True)
class MediaPipePose:
    """MediaPipe's pose landmarks of one picture."""

    points_px: NDArray[np.float64]  # shape (33, 2), picture pixels
    world_m: NDArray[np.float64]  # shape (33, 3), from the hips' middle; x right, y down
    visibility: NDArray[np.float64]  # shape (33,), 0..1


@cache
def _interpreter(name: str) -> Interpreter | None:
    path = fetched_model(name)
    if path is None:
        return None
    model = Interpreter(str(path), num_threads=1)  # one thread: same input, same output
    model.allocate_tensors()
    return model


def _run(model: Interpreter, picture: NDArray[np.floating]) -> dict[str, NDArray[np.float32]]:
    model.set_tensor(model.get_input_details()[0]["index"], picture[None].astype(np.float32))
    model.invoke()
    return {out["name"]: model.get_tensor(out["index"])[0] for out in model.get_output_details()}


def hand_landmarks(crops: NDArray[np.uint8]) -> MediaPipeHands | None:
    """MediaPipe's hand landmarks of crops already cut round an upright hand.

    Args:
        crops: Shape (k, 224, 224, 3), RGB.

    Returns:
        The landmarks, or None without the fetched model.
    """
    model = _interpreter("hand_landmark_full.tflite")
    if model is None:
        return None
    answers = [_run(model, crop / np.float32(255)) for crop in crops]
    points = np.array([a["Identity"].reshape(21, 3)[:, :2] for a in answers], float).reshape(-1, 21, 2)
    return MediaPipeHands(
        points_px=points,
        world_m=np.array([a["Identity_3"].reshape(21, 3) for a in answers], float).reshape(-1, 21, 3),
        presence=np.array([a["Identity_1"].item() for a in answers], float),
    )


def pose_landmarks(picture: NDArray[np.uint8]) -> MediaPipePose | None:
    """The surest person of one picture.

    Args:
        picture: Shape (h, w, 3), RGB.

    Returns:
        The landmarks, or None where nobody is found or the models have not been fetched.
    """
    detector, landmarker = _interpreter("pose_detection.tflite"), _interpreter("pose_landmark_full.tflite")
    if detector is None or landmarker is None:
        return None
    height, width = picture.shape[:2]
    side, left, top = letterbox(width, height)
    whole = square_to_picture(np.array([width / 2, height / 2]), side, 0.0, DETECTOR_PX)
    found = _run(detector, _cut(picture, whole, DETECTOR_PX) / np.float32(127.5) - np.float32(1))
    alignment = best_alignment(found["Identity"].astype(float), found["Identity_1"][:, 0].astype(float))
    if alignment is None:
        return None
    centre, side_px, turn_rad = square_from_alignment(alignment * side - [left, top])
    to_picture = square_to_picture(centre, side_px, turn_rad, POSE_PX)
    answer = _run(landmarker, _cut(picture, to_picture, POSE_PX) / np.float32(255))
    if answer["Identity_1"].item() < 0.5:  # the graph's own least score
        return None
    return _pose(answer, to_picture, turn_rad)


def _pose(
    answer: dict[str, NDArray[np.float32]], to_picture: NDArray[np.float64], turn_rad: float
) -> MediaPipePose:
    raw = answer["Identity"].reshape(39, 5)[:POSE_POINTS].astype(float)
    heatmap = answer["Identity_3"][..., :POSE_POINTS].astype(float)
    crop_px = refined_by_heatmap(raw[:, :2] / POSE_PX, heatmap) * POSE_PX
    world = answer["Identity_4"].reshape(39, 3)[:POSE_POINTS].astype(float)
    turn = np.array([[np.cos(turn_rad), -np.sin(turn_rad)], [np.sin(turn_rad), np.cos(turn_rad)]])
    world[:, :2] = world[:, :2] @ turn.T
    return MediaPipePose(
        points_px=crop_px @ to_picture[:, :2].T + to_picture[:, 2],
        world_m=world,
        visibility=1 / (1 + np.exp(-raw[:, 3])),
    )


def _cut(picture: NDArray[np.uint8], to_picture: NDArray[np.float64], side_px: int) -> NDArray[np.uint8]:
    # MediaPipe maps corner to corner but samples at pixel indices, which the models were trained with.
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(picture, to_picture, (side_px, side_px), flags=flags), np.uint8)
