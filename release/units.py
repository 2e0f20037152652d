"""Units: what comes in is turned to our units here, and nowhere else; so is what metric readers see."""

import re
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

# The end of a column's name says its unit; the longest ending wins.
UNIT_BY_ENDING = {
    "_ft_s2": "foot/second**2",
    "_ft_s": "foot/second",
    "_mph": "mile/hour",
    "_rpm": "revolution/minute",
    "_deg": "degree",
    "_in": "inch",
    "_ft": "foot",
    "_m": "metre",
    "_s": "second",
    "_efficiency": "dimensionless",
    "_percent": "percent",
}
METRIC = {"mile/hour": ("km/h", "kilometre/hour"), "inch": ("cm", "centimetre"), "foot": ("m", "metre")}
CUSTOMARY = {"mile/hour": "mph", "inch": "in", "foot": "ft"}
# A unit's spelling: words and whole powers with * or / between; pint raises almost anything on other text.
SPELLING = re.compile(r"[a-zA-Z_]+((\*\*|\^)-?\d)?(\s*[*/]\s*[a-zA-Z_]+((\*\*|\^)-?\d)?)*")
OTHERWISE = {"revolution/minute": "rpm", "degree": "°", "metre": "m", "second": "s", "percent": "%"}


@cache
def _registry() -> Any:
    import pint  # slow to import; most commands need no units

    return pint.UnitRegistry(cache_folder=None, autoconvert_offset_to_baseunit=True)


def unit_of(name: str) -> str | None:
    """The unit that a name's ending declares, for `_registry`; None where it declares none."""
    endings = sorted(UNIT_BY_ENDING, key=len, reverse=True)
    return next((UNIT_BY_ENDING[ending] for ending in endings if name.endswith(ending)), None)


def convert(values: ArrayLike, unit: str, to: str) -> NDArray[np.float64]:
    """Values in `unit` as values in `to`, both as pint or a coach writes them (km/h, mph, cm, %).

    Raises:
        ValueError: A unit is unknown, or the two measure different things.
    """
    import pint

    registry = _registry()
    if not SPELLING.fullmatch(_spelled(unit)):
        raise ValueError(f"{unit!r} is no known unit")
    try:
        quantity = registry.Quantity(np.asarray(values, float), _spelled(unit))
        return np.asarray(quantity.to(_spelled(to)).magnitude, float)
    except pint.DimensionalityError:
        raise ValueError(f"{unit!r} cannot be turned into {to}") from None
    except (pint.PintError, AttributeError, SyntaxError):
        raise ValueError(f"{unit!r} is no known unit") from None


def _spelled(unit: str) -> str:
    return {"%": "percent", "°": "degree", "mph": "mile/hour", "kph": "km/hour", '"': "inch"}.get(
        unit.strip(), unit.strip()
    )


def clock_to_deg(text: str) -> float:
    """A direction given as on a clock face, `1:30` = 45 degrees; NaN where it is no such thing."""
    hour, _, minute = text.strip().partition(":")
    if not hour.isdigit() or not (minute or "0").isdigit() or int(hour) > 12 or int(minute or 0) > 59:
        return float("nan")
    return (int(hour) % 12) * 30 + int(minute or 0) / 2


def shown(name: str, value: float, *, metric: bool) -> tuple[float, str]:
    """A stored figure as its reader wants it.

    Args:
        name: The figure's name, whose ending says the stored unit.
        value: The stored figure.
        metric: cm, m and km/h in place of in, ft and mph.

    Returns:
        The figure to show and its unit; "" for a bare number.
    """
    stored = unit_of(name)
    if metric and stored in METRIC:
        label, unit = METRIC[stored]
        return float(convert(value, stored, unit)), label
    return value, (CUSTOMARY | OTHERWISE).get(stored or "", "")
