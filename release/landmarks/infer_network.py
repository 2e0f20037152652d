"""Our own networks, run by ONNX Runtime: one thread, no telemetry, loaded once a process."""

import json
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from release.cores import cores
from release.errors import ModelsMissing
from release.landmarks.read_models import OWN_WEIGHTS
from release.landmarks.result import READ_PX, Kind
from release.landmarks.view import Crop

# Before the import: ONNX Runtime 1.32 looks up its maker's address some seconds after a model is loaded, and
# `disable_telemetry_events` comes too late for that (seen under strace).
os.environ["ORT_DISABLE_TELEMETRY"] = "1"
import onnxruntime

Array = NDArray[np.float64]
THREADS = 4
TOGETHER = 3  # pictures that go through a network at once: each in 7 % less time than one by one, for 12 MB


@cache
def _shared_memory() -> None:
    """One memory that all networks work in, one after the other; with one each a worker took 40 MB more."""
    where = onnxruntime.OrtMemoryInfo(
        "Cpu", onnxruntime.OrtAllocatorType.ORT_ARENA_ALLOCATOR, 0, onnxruntime.OrtMemType.DEFAULT
    )
    onnxruntime.create_and_register_allocator(where, None)


@cache
def _session(kind: str) -> onnxruntime.InferenceSession:
    path = OWN_WEIGHTS / f"{kind}.onnx"
    if not path.is_file():
        raise ModelsMissing(path)
    onnxruntime.disable_telemetry_events()
    _shared_memory()
    options = onnxruntime.SessionOptions()
    options.add_session_config_entry("session.use_env_allocators", "1")
    # Weights in 8 bits are widened once, as the file is loaded; else with each picture, in twice the time.
    options.add_session_config_entry("session.disable_quant_qdq", "1")
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    return onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])


@cache
def calibration(kind: str) -> dict[str, float]:
    """Factors that turn a head's stated scale into a standard deviation, measured on held-back renders."""
    return _card(kind)["calibration"]


def _card(kind: str) -> dict[str, Any]:
    return json.loads((Path(OWN_WEIGHTS) / f"{kind}.json").read_text(encoding="utf-8"))


@cache
def usual_odds() -> Array:
    """How strange the hand network finds usual renders; see `unfamiliar.py`."""
    return np.array(_card("hand")["strange_quantiles"])


def run(kind: Kind, pictures: NDArray[np.uint8]) -> dict[str, Array]:
    """Read a stack of crops.

    Args:
        kind: Which network.
        pictures: Shape (n, side, side, 3), RGB, of the side that it reads.

    Returns:
        Every answer of the network by name, first axis n.
    """
    session = _session(kind)
    names = [output.name for output in session.get_outputs()]

    def read(some: NDArray[np.uint8]) -> Sequence[Any]:
        picture = np.divide(some.transpose(0, 3, 1, 2), 255, dtype=np.float32, order="C")
        return session.run(names, {"picture": picture})

    stacks = [pictures[first : first + TOGETHER] for first in range(0, len(pictures), TOGETHER)]
    at_once = min(THREADS, cores(), len(stacks))
    if at_once == 1:
        parts = list(map(read, stacks))
    else:
        with ThreadPoolExecutor(at_once) as pool:
            parts = list(pool.map(read, stacks))
    return {
        name: np.concatenate(p).astype(float) for name, p in zip(names, zip(*parts, strict=True), strict=True)
    }


def points_in_picture(kind: Kind, read: dict[str, Array], crops: Sequence[Crop]) -> tuple[Array, Array]:
    """Points read in n crops, in the picture: places (n, p, 2) and calibrated covariances (n, p, 2, 2)."""
    side_px = READ_PX[kind]
    covs = covariances(read["points_precision"]) * (side_px * calibration(kind).get("points", 1.0)) ** 2
    places = [crop.to_picture(p * side_px, side_px) for crop, p in zip(crops, read["points"], strict=True)]
    spread = [crop.spread_to_picture(v, side_px) for crop, v in zip(crops, covs, strict=True)]
    return np.stack(places), np.stack(spread)


def covariances(precision_factor: Array) -> Array:
    """Covariances (..., 2, 2) from the three numbers a, b, c of a precision's lower Cholesky factor."""
    a, b, c = np.moveaxis(precision_factor, -1, 0)
    determinant = (a * c) ** 2
    rows = [
        [(b * b + c * c) / determinant, -a * b / determinant],
        [-a * b / determinant, a * a / determinant],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
