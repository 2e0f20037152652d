"""Measure MediaPipe's hand model on held-back renders: its constant turn and its scatter.

In:   baked bodies; the fetched models.
Out:  `second_opinion.json` beside the packaged weights.
"""

import argparse
import json
from pathlib import Path

import numpy as np
import torch
from scipy.spatial.transform import Rotation

from release.landmarks.infer_mediapipe import HAND_PX, hand_landmarks
from release.landmarks.result import READ_PX
from release.landmarks.second_opinion import apart_deg, opinion_crops, palm_of
from release.landmarks.view import Crop, cut
from release.workshop.augment import draw_banks
from release.workshop.backdrops import Draw
from release.workshop.crops import render_many
from release.workshop.train import Pictures


def main() -> None:
    """Parse, render, read, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bodies", type=Path, required=True)
    parser.add_argument("--weights", type=Path, required=True, help="folder of the packaged weights")
    parser.add_argument("--count", type=int, default=512)
    parser.add_argument("--seed", type=int, default=11)
    args = parser.parse_args()
    crops = render_many(args.bodies, args.count, args.seed, kind="hand", kept_out=True, workers=1)
    draw = Draw(torch.Generator().manual_seed(args.seed))
    pictures = Pictures(crops, "hand", draw, draw_banks(draw, behind=200, before=60, side=256))
    picture, labels = pictures.batch(torch.arange(len(crops)))
    images = (picture.permute(0, 2, 3, 1) * 255).round().numpy().astype(np.uint8)
    middle = np.full(2, READ_PX["hand"] / 2)
    ours = [Crop(centre_px=middle, side_px=READ_PX["hand"], up_rad=0.0, mirrored=False)] * len(images)
    small = opinion_crops(ours, labels["points"].numpy())
    hands = hand_landmarks(np.stack([cut(i, c, HAND_PX) for i, c in zip(images, small, strict=True)]))
    if hands is None:
        raise SystemExit("fetch the models first: release models fetch")
    seen = (labels["strange"].numpy() == 0) & (hands.presence > 0.5)
    theirs, true = palm_of(hands.world_m)[seen], labels["palm"].numpy()[seen].astype(float)
    turns = Rotation.from_matrix(true.swapaxes(1, 2) @ theirs)
    near = turns.magnitude() < np.radians(60)  # misread hands say nothing of a constant turn
    constant = turns[near].mean().as_matrix()
    apart = apart_deg(true, theirs, constant)
    figures = {
        "constant_turn": constant.round(4).tolist(),
        "sd_deg": round(float(np.quantile(apart, 0.68)), 1),
        "median_deg": round(float(np.median(apart)), 1),
        "hand_seen": round(float(seen.mean()), 3),
        "renders": len(images),
        "seed": args.seed,
    }
    (args.weights / "second_opinion.json").write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    print(figures)


if __name__ == "__main__":
    main()
