"""Marks clicked on the page, put to use: as a camera file of the logbook, and drawn back to be checked."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from release.camera.field import outline_m
from release.camera.read_camera import camera_of, read_camera
from release.camera.write_camera import write_picture
from release.clip.read import read_clip
from release.errors import ReleaseError
from release.field_camera import background
from release.record.write_open import Logbook, write_whole
from release.views.web.camera_file import camera_toml


def marked_camera(logbook: Logbook, fact: Mapping[str, Any]) -> Path:
    """The camera file of a "camera marked" fact; written from the fact where it is not there.

    Beside it lies the frame that was clicked in, by which a moved tripod is noticed.
    """
    path = logbook.folder / "cameras" / f"{fact['fact']}.toml"
    if not path.is_file():
        path.parent.mkdir(exist_ok=True)
        text = camera_toml(fact["value"])
        if _pictured(logbook, fact["value"].get("clip"), path.with_suffix(".png")):
            text = f'picture = "{path.stem}.png"\n{text}'
        write_whole(path, text.encode())
    return path


def _pictured(logbook: Logbook, clip: str | None, out: Path) -> bool:
    """Write the background of a clip of the logbook, by its hash; whether there is such a clip."""
    file = next(logbook.clips.glob(f"{clip}.*"), None)
    if file is None:
        return False
    try:
        write_picture(out, background(read_clip(file)))
    except ReleaseError:  # it is set aside for that where it is measured
        return False
    return True


def camera_answer(logbook: Logbook, fact: Mapping[str, Any]) -> dict[str, Any]:
    """What the marks tell of the camera, as JSON.

    Returns:
        `said`: a sentence, or why the marks do not tell; `outline`: rubber, plate, mound, target line and
        horizon as the camera sees them, lists of [x, y] in pixels, none where it is unknown.
    """
    value = fact["value"]
    if not value["marks"]:
        return {"said": "kept without marks", "outline": []}
    try:
        file = read_camera(marked_camera(logbook, fact))
        camera = camera_of(file, (value["width_px"], value["height_px"]), value.get("focal_35mm"))
    except ReleaseError as error:
        return {"said": str(error), "outline": []}
    lines = [camera.pixel(line) for line in outline_m(file.field, camera.position_m)]
    x, y, z = camera.position_m
    said = f"the camera stands {abs(x):.1f} m {'in front of' if x > 0 else 'behind'} the rubber, "
    said += f"{abs(y):.1f} m toward {'first' if y > 0 else 'third'} base and {z:.1f} m high; "
    said += f"the marks fit to {camera.reprojection_px:.1f} px. Check the drawn field against the picture"
    shown = [np.round(line[np.isfinite(line).all(axis=1)], 1).tolist() for line in lines]
    return {"said": said, "outline": shown}
