"""Three answers, never two: changed, no meaningful change, or cannot tell yet.

The smallest change worth having is set by staff and never derived from the measurement error. "No
meaningful change" needs the 90 % interval inside it: two one-sided tests at 0.05 (Schuirmann 1987).
"""

from collections.abc import Mapping, Sequence
from math import ceil, isfinite, sqrt

import numpy as np
from scipy.stats import false_discovery_control

from release.orientation.result import ANGLES
from release.stats.result import Answer, Difference

WORTH_BY_UNIT: Mapping[str, float] = {"_deg": 5.0, "_mph": 1.0, "_in": 1.5}

# Standard errors between no change and one found with 80 % power (1.96 + 0.84), and between the worth
# and an interval inside it with 80 % power (1.645 + 0.84).
TO_FIND, TO_RULE_OUT = 2.80, 2.49


def smallest_worth(figure: str, stated: Mapping[str, float]) -> float | None:
    """The smallest change worth having: as stated by staff, else 5 degrees, 1 mph, 1.5 in by the unit."""
    if figure in stated:
        return stated[figure]
    if figure in ANGLES:
        return WORTH_BY_UNIT["_deg"]
    return next((worth for unit, worth in WORTH_BY_UNIT.items() if figure.endswith(unit)), None)


def judge(low90: float | None, high90: float | None, p: float, worth: float | None) -> Answer:
    """The answer of a design that is large enough to be tested.

    Args:
        low90: Lower end of the 90 % interval; None where it has no end.
        high90: Upper end.
        p: After false-discovery control where that applies.
        worth: The smallest change worth having; None where none is set, so that none can be ruled out.
    """
    if worth is not None and low90 is not None and high90 is not None and -worth < low90 <= high90 < worth:
        return "no meaningful change"
    return "changed" if p <= 0.05 else "cannot tell yet"


def more_throws(found: Difference, worth: float | None) -> int | None:
    """How many more throws would likely settle it, were the difference and the scatter as they look now.

    The standard error shrinks with the root of the number of throws; either answer may come first.
    None where the scatter is unknown.
    """
    size, now = abs(found.estimate), found.n_a + found.n_b
    wanted = max(size / TO_FIND, (worth - size) / TO_RULE_OUT if worth is not None else 0.0)
    if not isfinite(found.se) or wanted <= 0:
        return None
    needed = now * (found.se / wanted) ** 2
    return max(2 * ceil((needed - now) / 2), 2)


def detectable_change(sem: float) -> float:
    """The smallest change one can tell from measurement error: 1.96 * sqrt(2) * SEM (Weir 2005)."""
    return 1.96 * sqrt(2) * sem


def false_discoveries(p: Sequence[float]) -> list[float]:
    """p after control of the false-discovery rate (Benjamini and Hochberg 1995)."""
    return [float(q) for q in np.atleast_1d(false_discovery_control(p))] if len(p) else []
