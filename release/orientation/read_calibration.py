"""The calibration of uncertainties that ships with the tool: calibration.json beside this file."""

import json
from functools import cache
from pathlib import Path

CALIBRATION = Path(__file__).with_name("calibration.json")


def read_factors() -> dict[str, float]:
    """What each angle's uncertainty is multiplied by; 1 for one that is not in the file."""
    return {name: figure["factor"] for name, figure in _figures().items()}


def read_own_fractions() -> dict[str, float]:
    """Of each angle's uncertainty, the fraction that throws of one athlete before one camera do not share.

    What they share (how this body and this view are misread) drops out of a difference between two of them.
    An angle that is not in the file has none.
    """
    return {name: figure["own_fraction"] for name, figure in _figures().items()}


@cache
def _figures() -> dict[str, dict[str, float]]:
    return json.loads(CALIBRATION.read_text(encoding="utf-8"))["figures"]
