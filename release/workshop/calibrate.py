"""Make a reader's stated uncertainties true, and learn how sure it is of pictures like its training's.

In:   packaged weights, baked bodies.
Out:  in the weights' card a factor for each stated scale, so that half of the errors on held-back renders
      lie inside the stated 50 % region, how strange it finds them (hand only), and what it reads in one known
      picture.
"""

import argparse
import json
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from scipy.stats import chi2

from release.landmarks.infer_network import covariances, run
from release.landmarks.result import KINDS, Kind
from release.landmarks.unfamiliar import log_odds
from release.workshop.augment import draw_banks
from release.workshop.backdrops import Draw
from release.workshop.crops import render_many
from release.workshop.known_picture import known_reads
from release.workshop.train import Pictures

Array = NDArray[np.float64]
QUANTILES = 101  # of the odds of being strange over held-back renders that are not


def read_renders(kind: Kind, baked: Path, count: int, seed: int) -> tuple[dict, dict]:
    """What the packaged network reads in augmented kept-out renders, and the truth; arrays by name."""
    crops = render_many(baked, count, seed, kind=kind, kept_out=True, workers=1)
    draw = Draw(torch.Generator().manual_seed(seed))
    pictures = Pictures(crops, kind, draw, draw_banks(draw, behind=300, before=100, side=256))
    reads, truths = [], []
    for first in range(0, count - count % 64, 64):
        picture, labels = pictures.batch(torch.arange(first, first + 64))
        stack = (picture.permute(0, 2, 3, 1) * 255).round().numpy().astype(np.uint8)
        reads.append(run(kind, stack))
        truths.append({name: t.numpy() for name, t in labels.items()})
    read, truth = ({n: np.concatenate([p[n] for p in parts]) for n in parts[0]} for parts in (reads, truths))
    return read, truth


def squared_distances(
    read: dict[str, Array], truth: dict[str, Array], kind: str
) -> dict[str, tuple[Array, int]]:
    """Squared error over stated variance of each figure, with its degrees of freedom."""
    here = _usual(truth, kind)
    off = read["points"] - truth["points"]
    inside = here[:, None] & (truth["visible"] > 0) & ((truth["points"] > 0) & (truth["points"] < 1)).all(-1)
    inverse = np.linalg.inv(covariances(read["points_precision"]))
    found = {"points": (np.einsum("kpi,kpij,kpj->kp", off, inverse, off)[inside], 2)}
    angle = np.arccos(np.clip((read["direction"] * truth["direction"]).sum(1), -1, 1))
    found["direction"] = (((angle / read["direction_sd"]) ** 2)[here], 2)
    if kind == "elbow":
        angle = np.arccos(np.clip((read["upper_arm"] * truth["upper_arm"]).sum(1), -1, 1))
        found["upper_arm"] = (((angle / read["upper_arm_sd"]) ** 2)[here], 2)
    elif kind != "arm":
        turn = Rotation.from_matrix(read["palm"] @ truth["palm"].swapaxes(1, 2)).as_rotvec()
        z = np.einsum("kji,kj->ki", read["palm_precision"], turn)
        found["palm"] = ((z**2).sum(1)[here], 3)
        miss = np.log(read["radius"] / np.maximum(truth["radius"], 1e-3))
        found["radius"] = (((miss / read["radius_log_sd"]) ** 2)[inside[:, -1]], 1)
    return found


def _usual(truth: dict[str, Array], kind: str) -> NDArray[np.bool_]:
    """Which pictures show a throwing arm as the reader is to know it."""
    return truth["strange"] == 0 if kind == "hand" else truth["present"] > 0


def main() -> None:
    """Parse, measure, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=KINDS)
    parser.add_argument("--bodies", type=Path, required=True)
    parser.add_argument("--weights", type=Path, required=True, help="folder of the packaged weights")
    parser.add_argument("--count", type=int, default=2048)
    parser.add_argument("--seed", type=int, default=9)
    args = parser.parse_args()
    read, truth = read_renders(args.kind, args.bodies, args.count, args.seed)
    card_path = args.weights / f"{args.kind}.json"
    card = json.loads(card_path.read_text(encoding="utf-8"))
    card["calibration"], card["calibrated_on"] = {}, {"renders": len(truth["present"]), "seed": args.seed}
    for name, (squared, freedom) in squared_distances(read, truth, args.kind).items():
        factor = float(np.sqrt(np.median(squared) / chi2.ppf(0.5, freedom)))
        share = float(np.mean(squared / factor**2 <= chi2.ppf(0.95, freedom)))
        card["calibration"][name] = round(factor, 4)
        print(f"{name}: factor {factor:.2f}; share inside the 95 % region after it {share:.3f}")
    card["known_picture"] = known_reads(args.kind)
    if args.kind == "hand":
        odds = log_odds(read["strange"][_usual(truth, args.kind)])
        usual = np.quantile(odds, np.linspace(0, 1, QUANTILES))
        card["strange_quantiles"] = np.round(usual, 3).tolist()
    card_path.write_text(json.dumps(card, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
