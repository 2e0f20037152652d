"""Write camera.toml: what was given, and the camera solved from it, which serves a whole session."""

import json
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from release.camera.read_camera import CameraFile, Mark
from release.camera.result import FieldCamera
from release.errors import OutputUnwritable


def camera_toml(file: CameraFile, camera: FieldCamera, picture: str | None) -> str:
    """The text of a solved camera file; reading it gives the same camera.

    Args:
        file: As given, marks and all.
        camera: Solved from it.
        picture: Name of the frame the camera was solved for, beside the file.
    """
    lines = [f"{name} = {value!r}" for name, value in sorted(file.numbers.items())]
    words = {"view": file.view, "throws": file.throws, "picture": picture}
    lines += [f"{name} = {json.dumps(word)}" for name, word in words.items() if word is not None]
    for mark in file.marks:
        lines += ["", "[[marks]]", *_mark_lines(mark)]
    lines += [
        "",
        "[solved]  # written by the tool; delete it to solve the marks anew",
        *_solved_lines(camera),
    ]
    return "\n".join(lines) + "\n"


def write_camera(path: Path, file: CameraFile, camera: FieldCamera, picture: str | None) -> None:
    """Write a solved camera file.

    Raises:
        OutputUnwritable: The folder is missing, full or read-only.
    """
    try:
        path.write_text(camera_toml(file, camera, picture), encoding="utf-8")
    except OSError as error:
        raise OutputUnwritable(f"cannot write {path}: {error.strerror}") from error


def write_picture(path: Path, image: NDArray[np.uint8]) -> None:
    """Write an RGB picture of shape (height, width, 3); the name's ending tells the format.

    Raises:
        OutputUnwritable: The folder is missing, full or read-only, or the ending is none of a picture's.
    """
    coded, data = cv2.imencode(path.suffix or ".png", np.ascontiguousarray(image[:, :, ::-1]))
    try:
        if coded:
            path.write_bytes(data.tobytes())
    except OSError as error:
        raise OutputUnwritable(f"cannot write {path}: {error.strerror}") from error


def _mark_lines(mark: Mark) -> list[str]:
    lines = [f"name = {json.dumps(mark.name)}", f"x_px = {mark.px[0]!r}", f"y_px = {mark.px[1]!r}"]
    if mark.place_m is not None:
        lines += [f"{axis}_m = {value!r}" for axis, value in zip("xyz", mark.place_m, strict=True)]
    return lines


def _solved_lines(camera: FieldCamera) -> list[str]:
    return [
        f"source = {json.dumps(camera.source)}",
        f"size_px = {list(camera.size_px)}",
        f"focal_px = {camera.focal_px!r}",
        f"position_m = {_numbers(camera.position_m)}",
        f"rotation = {_numbers(camera.rotation)}  # row by row, field to camera axes",
        f"reprojection_px = {camera.reprojection_px!r}",
        f"covariance = {_numbers(camera.covariance)}  # turn in rad, place in m, log of the focal length",
    ]


def _numbers(values: NDArray[np.float64] | Sequence[float]) -> str:
    return "[" + ", ".join(repr(float(v)) for v in np.ravel(values)) + "]"
