"""Coverage of the fit's intervals on throws drawn from joint curves, read with errors of a known size.

Errors of neighbouring frames are alike for as long as was measured for each kind of reading. Their tails are
those that the fit takes them to have: of the networks' own errors on held-back renders 86 to 93 % lie inside
the stated 95 % regions (`release.workshop.calibrate`), where 91 % of such errors do and 95 % of normal ones.
"""

import numpy as np

from release.orientation.angles import wrap_deg
from release.orientation.arm_fit import fit_arm
from release.orientation.measure import angle_estimates
from release.orientation.residuals import ALIKE_S, TAIL
from release.orientation.result import JOINT_ANGLES
from tests.synthetic import Noise, readings, some_camera, some_throw, truth_deg

TIME_SD_S = 0.3 / 240  # of the release, as the ball gives it


def held_intervals(seed):
    """Whether each angle's 95 % interval holds the truth in one throw; None where it is refused."""
    rng = np.random.default_rng([7, seed])
    throw, camera = some_throw(rng), some_camera(rng)
    late_s = TIME_SD_S * rng.normal()
    arm = fit_arm(readings(throw, camera, Noise(alike_s=ALIKE_S, tail=TAIL), rng), late_s, two_ways=False)
    found = angle_estimates(arm, "R", release_sd_s=TIME_SD_S, heading=None, factors={})
    true = truth_deg(throw, camera)
    return {name: _holds(found[name], true[name]) for name in JOINT_ANGLES}


def _holds(figure, true_deg):
    if figure.value is None:
        return None
    return abs(float(wrap_deg(np.array(figure.value - true_deg)))) <= 1.959964 * figure.sd


def coverage_goals(goals, throws):
    """Share of intervals that hold, over throws as of `held_intervals`."""
    for name in JOINT_ANGLES:
        held = [throw[name] for throw in throws if throw[name] is not None]
        share = np.mean(held)
        goals.add(
            f"coverage of {name}, {len(held)} simulated throws, not calibrated",
            "94 to 96 %",
            f"{100 * share:.1f} %",
            0.94 <= share <= 0.96,
        )
