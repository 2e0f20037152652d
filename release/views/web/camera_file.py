"""Marks clicked in a picture, as the camera file that the rest of the tool reads."""

import json
from collections.abc import Mapping
from typing import Any

MARKS = (
    "rubber front left",
    "rubber front right",
    "rubber back left",
    "rubber back right",
    "plate point",
    "plate left",
    "plate right",
    "plate front left",
    "plate front right",
    "stick top",
    "stick foot",
)


def camera_toml(kept: Mapping[str, Any]) -> str:
    """A `camera.toml` of the value of a "camera marked" fact.

    Args:
        kept: `view` ("" where not said) and `marks`, each with name, x_px and y_px in the upright picture.
    """
    lines = [f"view = {json.dumps(kept['view'])}"] if kept.get("view") else []
    for mark in kept["marks"]:
        place = [f"x_px = {mark['x_px']:.2f}", f"y_px = {mark['y_px']:.2f}"]
        lines += ["", "[[marks]]", f"name = {json.dumps(mark['name'])}", *place]
    return "\n".join(lines).strip() + "\n"
