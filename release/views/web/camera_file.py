"""Marks clicked in a picture, as the camera file that the rest of the tool reads."""

import json
from collections.abc import Mapping
from typing import Any

# As `camera/field.py` names them; left is the pitcher's left when facing home.
MARKS = (
    "rubber front left",
    "rubber front right",
    "rubber front middle",
    "rubber back left",
    "rubber back right",
    "plate point",
    "plate side left",
    "plate side right",
    "plate front left",
    "plate front right",
    "mound foot front",
    "mound foot back",
    "mound foot left",
    "mound foot right",
    "stick foot",
    "stick top",
    "horizon 1",
    "horizon 2",
)
NUMBERS = ("width_px", "height_px", "plate_back_ft", "mound_height_in", "stick_m", "height_m", "distance_m")


def camera_toml(kept: Mapping[str, Any]) -> str:
    """A `camera.toml` of the value of a "camera marked" fact.

    Args:
        kept: `view` ("" where not said), those of NUMBERS that are known, and `marks`, each with name, x_px
            and y_px in the upright picture.
    """
    lines = [f"view = {json.dumps(kept['view'])}"] if kept.get("view") else []
    lines += [f"{name} = {kept[name]!r}" for name in NUMBERS if kept.get(name) is not None]
    for mark in kept["marks"]:
        place = [f"x_px = {mark['x_px']:.2f}", f"y_px = {mark['y_px']:.2f}"]
        lines += ["", "[[marks]]", f"name = {json.dumps(mark['name'])}", *place]
    return "\n".join(lines).strip() + "\n"
