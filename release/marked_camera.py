"""Marks clicked on the page, put to use: as a camera file of the logbook, and drawn back to be checked."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from release.camera.field import outline_m
from release.camera.read_camera import camera_of, read_camera
from release.errors import ReleaseError
from release.record.write_open import Logbook, write_whole
from release.views.web.camera_file import camera_toml


def marked_camera(logbook: Logbook, fact: Mapping[str, Any]) -> Path:
    """The camera file of a "camera marked" fact; written from the fact where it is not there."""
    path = logbook.folder / "cameras" / f"{fact['fact']}.toml"
    if not path.is_file():
        path.parent.mkdir(exist_ok=True)
        write_whole(path, camera_toml(fact["value"]).encode())
    return path


def camera_answer(logbook: Logbook, fact: Mapping[str, Any]) -> dict[str, Any]:
    """What the marks tell of the camera, as JSON.

    Returns:
        `said`: a sentence, or why the marks do not tell; `outline`: rubber, plate, mound and target line as
        the camera sees them, lists of [x, y] in pixels, none where it is unknown.
    """
    value = fact["value"]
    if not value["marks"]:
        return {"said": "kept without marks", "outline": []}
    try:
        file = read_camera(marked_camera(logbook, fact))
        camera = camera_of(file, (value["width_px"], value["height_px"]), value.get("focal_35mm"))
    except ReleaseError as error:
        return {"said": str(error), "outline": []}
    lines = [camera.pixel(line) for line in outline_m(file.field)]
    x, y, z = camera.position_m
    said = f"the camera stands {abs(x):.1f} m {'in front of' if x > 0 else 'behind'} the rubber, "
    said += f"{abs(y):.1f} m toward {'first' if y > 0 else 'third'} base and {z:.1f} m high; "
    said += f"the marks fit to {camera.reprojection_px:.1f} px. Check the drawn field against the picture"
    shown = [np.round(line[np.isfinite(line).all(axis=1)], 1).tolist() for line in lines]
    return {"said": said, "outline": shown}
