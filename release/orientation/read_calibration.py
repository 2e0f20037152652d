"""The calibration of uncertainties that ships with the tool: calibration.json beside this file."""

import json
from functools import cache
from pathlib import Path


@cache
def read_floors_deg() -> dict[str, float]:
    """Uncertainty to add to each angle; one that is not in the file is taken as the fit states it."""
    text = Path(__file__).with_name("calibration.json").read_text(encoding="utf-8")
    return {name: figure["floor_deg"] for name, figure in json.loads(text)["figures"].items()}
