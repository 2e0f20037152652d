"""Which arm throws, decided once for a throw by what the arm finder thinks of it in every frame."""

import numpy as np
from scipy.special import logit

from release.landmarks.result import ArmReading, Side

# Log odds below which a person should look: of 415 own throws of people kept out of training five were as
# doubtful, among them both that were read as the other arm's.
DOUBTFUL = 0.75
SUREST = 0.001  # no single frame is believed further than this


def throwing_side(*seen: ArmReading) -> tuple[Side, bool]:
    """The throwing arm, and whether that is doubtful.

    Of a camera's frames the mean of the log odds counts, since a few that are sure tell more than many that
    waver; several cameras' add up.

    Args:
        seen: What the arm finder read of one throw, by each camera.
    """
    odds = sum(np.nanmean(logit(np.clip(arm.right_probability, SUREST, 1 - SUREST))) for arm in seen)
    return "R" if odds >= 0 else "L", bool(abs(odds) < DOUBTFUL)
