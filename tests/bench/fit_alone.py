"""Coverage of the fit's intervals on throws drawn from joint curves, read with errors of a known size.

Errors of neighbouring frames are alike for as long as was measured for each kind of reading.
"""

import numpy as np

from release.orientation.angles import wrap_deg
from release.orientation.arm_fit import fit_arm
from release.orientation.measure import angle_estimates
from release.orientation.residuals import ALIKE_S
from release.orientation.result import JOINT_ANGLES
from tests.synthetic import Noise, readings, some_camera, some_throw, truth_deg

TIME_SD_S = 0.3 / 240  # of the release, as the ball gives it


def coverage_lines(goals, *, throws):
    """Share of 95 % intervals that hold the truth, each figure over so many throws."""
    inside = {name: [] for name in JOINT_ANGLES}
    for seed in range(throws):
        rng = np.random.default_rng([7, seed])
        throw, camera = some_throw(rng), some_camera(rng)
        late_s = TIME_SD_S * rng.normal()
        arm = fit_arm(readings(throw, camera, Noise(alike_s=ALIKE_S), rng), late_s, two_ways=False)
        found = angle_estimates(arm, "R", release_sd_s=TIME_SD_S, heading=None, factors={})
        true = truth_deg(throw, camera)
        for name in JOINT_ANGLES:
            figure = found[name]
            if figure.value is not None:
                off = abs(float(wrap_deg(np.array(figure.value - true[name]))))
                inside[name].append(off <= 1.959964 * figure.sd)
    print(f"\n== {throws} simulated throws, the fit alone, uncalibrated: share of 95 % intervals that hold")
    for name, held in inside.items():
        share = np.mean(held)
        print(f"{name:18s} {100 * share:.1f} % of {len(held)}")
        goals.add(
            f"coverage of {name}, simulated throws",
            "94 to 96 %",
            f"{100 * share:.1f} %",
            0.94 <= share <= 0.96,
        )
