"""The calibration of uncertainties that ships with the tool: calibration.json beside this file."""

import json
from functools import cache
from pathlib import Path


@cache
def read_factors() -> dict[str, float]:
    """What each angle's uncertainty is multiplied by; 1 for one that is not in the file."""
    text = Path(__file__).with_name("calibration.json").read_text(encoding="utf-8")
    return {name: figure["factor"] for name, figure in json.loads(text)["figures"].items()}
