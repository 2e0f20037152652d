"""The calibration of uncertainties that ships with the tool: calibration.json beside this file."""

import json
from functools import cache
from pathlib import Path

from release.orientation.measure import Calibration


@cache
def read_calibration() -> dict[str, Calibration]:
    """Scale and floor for each figure; a figure that is not in the file is taken as the fit states it."""
    text = Path(__file__).with_name("calibration.json").read_text(encoding="utf-8")
    figures = json.loads(text)["figures"]
    return {name: Calibration(scale=f["scale"], floor_deg=f["floor_deg"]) for name, f in figures.items()}
