"""Make the stated uncertainties of the angles true on rendered throws of people kept out of training.

In:   folders of rendered clips with truth, measured with the calibration that ships (`measured`).
Out:  orientation/calibration.json: for each angle what its stated uncertainty is multiplied by.
"""

import argparse
import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from release.accuracy import measured_folder
from release.orientation.read_calibration import CALIBRATION
from release.orientation.result import JOINT_ANGLES

Array = NDArray[np.float64]

WITHIN_ONE_SD, Z95 = 0.6827, 1.959964


def factor_for(error_deg: Array, sd_deg: Array) -> float:
    """What to multiply the stated uncertainty by for 68 % of the errors to lie within one of it; at least 1.

    It is set by the bulk of the clips: where one is misread altogether no width helps that leaves the others
    an answer, so of 95 % intervals fewer may hold; `left_out_coverage` tells how many. Of the ratios of the
    clips, the value that so many of n + 1 exchangeable clips stay below (split conformal prediction:
    Papadopoulos et al. 2002).

    Args:
        error_deg, sd_deg: Shape (n,), n > 0: measured less true, and the stated standard uncertainty.
    """
    ratio = np.sort(np.abs(error_deg) / sd_deg)
    rank = min(int(np.ceil(WITHIN_ONE_SD * (len(ratio) + 1))), len(ratio))
    return max(float(ratio[rank - 1]), 1.0)


def left_out_coverage(error_deg: Array, sd_deg: Array) -> float:
    """Share of clips whose 95 % interval holds, each with the factor of all the others."""
    rest = ~np.eye(len(error_deg), dtype=bool)
    factor = np.array([factor_for(error_deg[others], sd_deg[others]) for others in rest])
    return float(np.mean(np.abs(error_deg) <= Z95 * factor * sd_deg))


def errors_and_sds(folders: Sequence[Path]) -> dict[str, tuple[Array, Array]]:
    """Error and stated standard uncertainty of every answered angle of clips with a release."""
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in JOINT_ANGLES}
    for folder in folders:
        for truth, measured in measured_folder(folder)[1]:
            for name in JOINT_ANGLES:
                one = measured.orientation.figures[name] if measured.orientation else None
                if truth.release_frame is None or one is None or one.value is None or one.sd is None:
                    continue
                found[name].append((one.value - truth.angles_deg[name], one.sd))
    return {name: (np.array(rows)[:, 0], np.array(rows)[:, 1]) for name, rows in found.items() if rows}


def main() -> None:
    """Measure the folders and write the calibration; run it with an empty calibration in place."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--out", type=Path, default=CALIBRATION)
    args = parser.parse_args()
    if json.loads(CALIBRATION.read_text(encoding="utf-8"))["figures"]:
        parser.error(f"{CALIBRATION} holds a calibration already: empty its figures first")
    figures = {}
    for name, (error, sd) in errors_and_sds(args.folders).items():
        print(name, "errors and sds, deg:", *(f"{e:.1f}/{u:.1f}" for e, u in zip(error, sd, strict=True)))
        factor = factor_for(error, sd)
        before, after = float(np.mean(np.abs(error) <= Z95 * sd)), left_out_coverage(error, sd)
        figures[name] = {"factor": round(factor, 3), "clips": len(error)}
        print(f"{name}: {len(error)} clips, covered {before:.2f}, left out {after:.2f}, factor {factor:.2f}")
    content = {
        "set": "rendered throws of people kept out of training, framed on the release zone or whole",
        "date": date.today().isoformat(),
        "figures": figures,
    }
    args.out.write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
