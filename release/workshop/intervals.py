"""Make the stated uncertainties of the angles true on rendered throws of people kept out of training.

In:   the errors of rendered throws, see `errors`.
Out:  orientation/calibration.json: for each angle what its stated uncertainty is multiplied by, and what
      fraction of it is a throw's own, not shared by all throws of one pitcher before one camera.
"""

import argparse
import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from release.orientation.read_calibration import CALIBRATION
from release.orientation.result import JOINT_ANGLES
from release.orientation.score import within_sd

Array = NDArray[np.float64]

COVERED, Z95 = 0.95, 1.959964


def factor_for(error_deg: Array, sd_deg: Array) -> float:
    """What to multiply the stated uncertainty by for 95 % intervals to hold 95 % of the errors; at least 1.

    Of the ratios of the clips, the value that so many of n + 1 exchangeable clips stay below (split conformal
    prediction: Papadopoulos et al. 2002).

    Args:
        error_deg, sd_deg: Shape (n,), n > 0: measured less true, and the stated standard uncertainty.
    """
    return max(_widened(error_deg, sd_deg), 1.0)


def own_factor_for(error_deg: Array, sd_deg: Array, filmed_as: Sequence[str | None]) -> float:
    """What to multiply the stated uncertainty by to have that of what one throw adds to its fellows' error.

    As `factor_for`, of each error less the mean error of the throws of the same pitcher before the same
    camera; it may be below 1.

    Args:
        error_deg, sd_deg: Shape (n,).
        filmed_as: Length n.

    Raises:
        ValueError: No pitcher has two throws before one camera.
    """
    left = np.full(len(error_deg), np.nan)
    for name in {who for who in filmed_as if who is not None}:
        rows = np.array([who == name for who in filmed_as])
        if (n := int(rows.sum())) > 1:  # scaled for the mean having been taken out
            left[rows] = (error_deg[rows] - error_deg[rows].mean()) * np.sqrt(n / (n - 1))
    known = np.isfinite(left)
    if not known.any():
        raise ValueError("no pitcher has two throws before one camera: render with --throws 5")
    return _widened(left[known], sd_deg[known])


def _widened(error_deg: Array, sd_deg: Array) -> float:
    ratio = np.sort(np.abs(error_deg) / sd_deg) / Z95
    rank = min(int(np.ceil(COVERED * (len(ratio) + 1))), len(ratio))
    return float(ratio[rank - 1])


def left_out_coverage(error_deg: Array, sd_deg: Array, filmed_as: Sequence[str | None]) -> float:
    """Share of clips whose 95 % interval holds, each with the factor of all other pitchers' clips."""
    who = np.array([f"row {n}" if one is None else one for n, one in enumerate(filmed_as)])
    rest = who[:, None] != who
    factor = np.array([factor_for(error_deg[others], sd_deg[others]) for others in rest])
    return float(np.mean(np.abs(error_deg) <= Z95 * factor * sd_deg))


def main() -> None:
    """Read the errors, write the calibration."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("errors", type=Path, help="file that `release.workshop.errors` wrote")
    parser.add_argument("--out", type=Path, default=CALIBRATION)
    args = parser.parse_args()
    rows = pd.read_csv(args.errors)
    figures = {}
    for name in JOINT_ANGLES:
        known = rows[rows[f"{name}_error_deg"].notna()]
        error, sd = (known[f"{name}_{what}_deg"].to_numpy(float) for what in ("error", "sd"))
        filmed_as = [None if pd.isna(who) else str(who) for who in known["filmed_as"]]
        factor, own = factor_for(error, sd), own_factor_for(error, sd, filmed_as)
        figures[name] = {
            "factor": round(factor, 3),
            "own_fraction": round(min(own / factor, 1.0), 3),
            "clips": len(error),
        }
        before, after = np.mean(np.abs(error) <= Z95 * sd), left_out_coverage(error, sd, filmed_as)
        print(
            f"{name}: {len(error)} clips, median error {np.median(np.abs(error)):.1f}, covered {before:.2f}, "
            f"left out {after:.2f}; factor {factor:.2f}, {own / factor:.2f} of it a throw's own; SD of the "
            f"errors of one pitcher before one camera {within_sd(error, filmed_as):.1f}"
        )
    content = {
        "set": f"{len(rows)} rendered throws of people kept out of training, from anywhere round the "
        "thrower, on the release zone and whole; an angle refused there is left out",
        "date": date.today().isoformat(),
        "figures": figures,
    }
    args.out.write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
