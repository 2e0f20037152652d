"""Train the two readers from scratch on rendered throws: `python -m release.workshop.train hand|arm`.

Renders into memory first, then trains: the two slow each other on one GPU. Ends with a checkpoint that
`export.py` turns into the packaged weights and that `--start` goes on from with fresh pictures.
"""

import argparse
import json
import math
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor

from release.workshop.augment import Banks, augmented, draw_banks
from release.workshop.backdrops import Draw
from release.workshop.crops import render_many
from release.workshop.losses import errors, loss
from release.workshop.network import Reader
from release.workshop.result import Crops

AVERAGING = 0.999  # of the weights over steps; the averaged ones are kept
WARM_UP_STEPS = 300
LEARNING_RATE, WEIGHT_DECAY = 2.5e-3, 0.03


def labels_of(crops: Crops, kind: str) -> dict[str, Tensor]:
    """Labels as the network speaks of them: places as shares of the side."""
    side = crops.image.shape[1]
    if kind == "hand":
        found = {
            "points": crops.points_px / side,
            "visible": crops.visible,
            "direction": crops.forearm,
            "palm": crops.palm,
            "radius": crops.ball_radius_px / side,
            "held": crops.held,
            "log_zoom": np.log(crops.width_m / 0.5),
            "palm_size": crops.palm_px / side,
        }
    else:
        arm = np.stack([crops.shoulder_px, crops.points_px[:, 0], crops.points_px[:, 1]], 1) / side
        found = {
            "points": arm,
            "visible": ((arm >= 0) & (arm < 1)).all(-1),
            "direction": crops.upper_arm,
            "right": crops.right,
            "palm_size": crops.palm_px / side,
        }
    found["present"] = crops.present
    return {name: torch.from_numpy(np.ascontiguousarray(a, np.float32)) for name, a in found.items()}


class Pictures:
    """Rendered crops on the training device, given out in random augmented batches."""

    def __init__(self, crops: Crops, kind: str, draw: Draw, banks: Banks) -> None:
        self.kind, self.draw, self.banks = kind, draw, banks
        self.image = torch.empty(crops.image.shape, dtype=torch.uint8, device=draw.device)
        for first in range(0, len(crops), 8192):
            self.image[first : first + 8192] = torch.from_numpy(np.array(crops.image[first : first + 8192]))
        self.labels = {name: t.to(draw.device) for name, t in labels_of(crops, kind).items()}

    def batch(self, index: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
        """Augmented pictures of some crops."""
        others = self.image[self.draw.index(len(index), len(self.image))]
        own = {name: t[index] for name, t in self.labels.items()}
        return augmented(self.draw, self.kind, self.image[index], others, own, self.banks)

    def batches(self, size: int) -> Iterator[tuple[Tensor, dict[str, Tensor]]]:
        """Random batches without end."""
        while True:
            yield self.batch(self.draw.index(size, len(self.image)))


def train(
    reader: Reader,
    pictures: Pictures,
    *,
    layout: torch.memory_format,
    steps: int,
    batch: int,
    rate: float,
    checkpoint: Path,
    say_every: int = 500,
) -> Reader:
    """Train for so many steps with a warmed-up cosine schedule; returns the averaged reader."""
    device = pictures.draw.device
    reader = reader.to(memory_format=layout)  # pyright: ignore[reportCallIssue]
    averaged: Any = torch.optim.swa_utils.AveragedModel(
        reader, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(AVERAGING), use_buffers=True
    )
    optimiser = torch.optim.AdamW(reader.parameters(), lr=rate, weight_decay=WEIGHT_DECAY)
    schedule = torch.optim.lr_scheduler.LambdaLR(optimiser, lambda n: _rate(n, steps))
    began, running = time.monotonic(), 0.0
    for step, (picture, labels) in enumerate(pictures.batches(batch), 1):
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            out = reader(picture.contiguous(memory_format=layout))
        total = loss(out, labels, pictures.kind, settled=step > 0.12 * steps)
        optimiser.zero_grad(set_to_none=True)
        total.backward()
        torch.nn.utils.clip_grad_norm_(reader.parameters(), 5.0)
        optimiser.step()
        schedule.step()
        averaged.update_parameters(reader)
        running = total.item() if step % say_every == 0 or step == steps else running
        if step % say_every == 0:
            print(
                f"step {step} of {steps}, loss {running:.3f}, "
                f"{step / (time.monotonic() - began):.1f} a second",
                flush=True,
            )
        if step % (4 * say_every) == 0:
            save(averaged.module, checkpoint)
        if step == steps:
            break
    settle(averaged.module, pictures, batch)
    save(averaged.module, checkpoint)
    return averaged.module


@torch.no_grad()
def settle(reader: Reader, pictures: Pictures, batch: int, batches: int = 80) -> None:
    """Take the batch statistics anew: those gathered on the way belong to other weights."""
    for layer in reader.modules():
        if isinstance(layer, torch.nn.BatchNorm2d):
            layer.reset_running_stats()
            layer.momentum = None  # a plain mean over the batches below
    reader.train()
    stream = pictures.batches(batch)
    for _ in range(min(batches, len(pictures.image) // batch)):
        reader(next(stream)[0])


def _rate(step: int, steps: int) -> float:
    warm = min(1.0, (step + 1) / min(WARM_UP_STEPS, max(steps // 10, 1)))
    return warm * (0.01 + 0.99 * (0.5 + 0.5 * math.cos(math.pi * min(step / steps, 1))))


def save(reader: Reader, path: Path) -> None:
    """Write weights in half precision."""
    state = {n: t.half() if t.is_floating_point() else t for n, t in reader.state_dict().items()}
    torch.save(state, path)


def load(path: Path, kind: str) -> Reader:
    """A reader with the weights of a checkpoint."""
    reader = Reader(kind)
    state = torch.load(path, map_location="cpu", weights_only=True)
    reader.load_state_dict({n: t.float() if t.is_floating_point() else t for n, t in state.items()})
    return reader


@torch.no_grad()
def validate(reader: Reader, pictures: Pictures, batch: int) -> dict[str, float]:
    """Errors on every one of the pictures, augmented once."""
    reader.eval()
    found: dict[str, list[Tensor]] = {}
    for first in range(0, len(pictures.image) - batch + 1, batch):
        picture, labels = pictures.batch(torch.arange(first, first + batch, device=pictures.draw.device))
        for name, values in errors(reader(picture), labels, pictures.kind).items():
            found.setdefault(name, []).append(values)
    figures = {}
    for name, parts in found.items():
        values = torch.cat(parts).float()
        values = values[values.isfinite()]
        if name.startswith("share"):
            figures[name] = float(values.mean())
        else:
            figures[f"{name} median"] = float(values.median())
            figures[f"{name} p90"] = float(values.quantile(0.9))
    return figures


def main() -> None:
    """Parse, render, train, validate, save."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=("hand", "arm"))
    parser.add_argument("--bodies", type=Path, required=True, help="baked by release.workshop.render bodies")
    parser.add_argument("--out", type=Path, required=True, help="folder for the checkpoint and the log")
    parser.add_argument("--count", type=int, default=240_000, help="pictures to render")
    parser.add_argument("--minutes", type=float, default=9.0, help="of the whole run, rendering included")
    parser.add_argument("--batch", type=int, default=512)
    parser.add_argument("--workers", type=int, default=16, help="processes that render")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=Path, help="a checkpoint to go on from")
    parser.add_argument("--tiny", action="store_true", help="a run that only shows that it runs, on a CPU")
    args = parser.parse_args()
    if args.tiny:
        args.count, args.batch, args.workers = 48, 8, 1
    args.out.mkdir(parents=True, exist_ok=True)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(args.seed)
    began = time.monotonic()
    shown = 16 if args.tiny else 6144
    kept_out = render_many(args.bodies, shown, args.seed, kind=args.kind, kept_out=True, workers=args.workers)
    crops = render_many(
        args.bodies, args.count, args.seed, kind=args.kind, kept_out=False, workers=args.workers
    )
    print(f"{len(crops)} pictures rendered in {time.monotonic() - began:.0f} s", flush=True)
    generator = torch.Generator(device).manual_seed(args.seed)
    draw = Draw(generator)
    size = 24 if args.tiny else 3000
    banks = draw_banks(draw, behind=size, before=size // 3, side=256)
    pictures, unseen = (Pictures(c, args.kind, draw, banks) for c in (crops, kept_out))
    del crops, kept_out
    reader = load(args.start, args.kind) if args.start else Reader(args.kind)
    reader = reader.to(device).train()
    layout, steps = torch.contiguous_format, 6
    if device.type == "cuda":
        torch.backends.cudnn.benchmark = True  # shapes are few and fixed
        layouts = (torch.contiguous_format, torch.channels_last)
        paces = {one: _pace_s(pictures, args.batch, one) for one in layouts}
        layout = min(paces, key=lambda one: paces[one])
        left_s = began + args.minutes * 60 - time.monotonic() - 25
        steps = int(0.93 * left_s / paces[layout])
        print(f"seconds a step: {paces}; {steps} steps in {layout}", flush=True)
    rate = LEARNING_RATE * (0.6 if args.start else 1.0)
    checkpoint = args.out / f"{args.kind}.pt"
    reader = train(
        reader, pictures, layout=layout, steps=steps, batch=args.batch, rate=rate, checkpoint=checkpoint
    )
    figures = validate(reader, unseen, min(args.batch, shown))
    report = {
        "kind": args.kind,
        "seed": args.seed,
        "pictures": args.count,
        "steps": steps,
        "batch": args.batch,
        "kept out": figures,
    }
    (args.out / f"{args.kind}.json").write_text(json.dumps(report, indent=1), encoding="utf-8")
    for name, value in figures.items():
        print(f"{name}: {value:.4g}")


def _pace_s(pictures: Pictures, batch: int, layout: torch.memory_format, steps: int = 30) -> float:
    """Seconds a step takes in one memory layout, measured on a reader that is thrown away."""
    scratch: Any = Reader(pictures.kind).to(pictures.draw.device).to(memory_format=layout)  # pyright: ignore[reportCallIssue]
    stream, began = pictures.batches(batch), time.monotonic()
    for n in range(steps + 15):
        if n == 15:
            torch.cuda.synchronize()
            began = time.monotonic()
        picture, labels = next(stream)
        with torch.autocast("cuda", torch.bfloat16):
            out = scratch(picture.contiguous(memory_format=layout))
        loss(out, labels, pictures.kind, settled=True).backward()
    torch.cuda.synchronize()
    return (time.monotonic() - began) / steps


if __name__ == "__main__":
    main()
