"""Train the readers from scratch on rendered throws.

`python -m release.workshop.train hand|detail|elbow|arm` renders into memory first, then trains: the two slow
each other on one GPU. Ends with a checkpoint that `export.py` turns into the packaged weights and that
`--checkpoint` goes on from with fresh pictures.

Under `torchrun` each of several GPUs renders pictures of its own and trains on them, and all take the mean of
their weights every few steps (Stich, 2019, ICLR, "Local SGD converges fast and communicates little").
"""

import argparse
import json
import math
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor, distributed

from release.landmarks.result import KINDS, Kind
from release.landmarks.track import ZOOM_M
from release.workshop.augment import Banks, augmented, draw_banks
from release.workshop.backdrops import Draw
from release.workshop.crops import MOSTLY_STRANGE, STRANGE, render_many
from release.workshop.losses import errors, loss, share_told
from release.workshop.network import Reader
from release.workshop.result import Crops

AVERAGING, AVERAGED_EVERY = 0.99, 5  # of the weights over steps; the averaged ones are kept
TOGETHER_EVERY = 10  # steps between means over several GPUs
WARM_UP_STEPS = 200
LEARNING_RATE, WEIGHT_DECAY = 2.5e-3, 0.03
RECORDINGS = 8  # of a step on a GPU, each with its own draw of what a recording freezes


def labels_of(crops: Crops, kind: str) -> dict[str, Tensor]:
    """Labels as the network speaks of them: places as shares of the side."""
    side = crops.image.shape[1]
    if kind == "elbow":
        found = {
            "points": crops.points_px[:, :2] / side,
            "visible": crops.visible[:, :2],
            "direction": crops.forearm,
            "upper_arm": crops.upper_arm,
            "palm_size": crops.palm_px / side,
        }
    elif kind != "arm":
        found = {
            "points": crops.points_px / side,
            "visible": crops.visible,
            "direction": crops.forearm,
            "palm": crops.palm,
            "radius": crops.ball_radius_px / side,
            "held": crops.held,
            "log_zoom": np.log(crops.width_m / ZOOM_M),
            "palm_size": crops.palm_px / side,
            "strange": crops.strange,
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

    def __init__(self, crops: Crops, kind: Kind, draw: Draw, banks: Banks) -> None:
        self.kind: Kind = kind
        self.draw, self.banks = draw, banks
        self.image = torch.empty(crops.image.shape, dtype=torch.uint8, device=draw.device)
        for first in range(0, len(crops), 8192):
            self.image[first : first + 8192] = torch.from_numpy(np.array(crops.image[first : first + 8192]))
        self.labels = {name: t.to(draw.device) for name, t in labels_of(crops, kind).items()}

    def batch(self, index: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
        """Augmented pictures of some crops."""
        others = self.image[self.draw.index(len(index), len(self.image))]
        own = {name: t[index] for name, t in self.labels.items()}
        return augmented(self.draw, self.kind, self.image[index], others, own, self.banks)


class Training:
    """A reader, its optimiser and one step of training."""

    def __init__(self, reader: Reader, pictures: Pictures, batch: int, *, strange_only: bool) -> None:
        device = pictures.draw.device
        self.pictures, self.batch, self.device = pictures, batch, device
        layout = torch.channels_last if device.type == "cuda" else torch.contiguous_format
        self.reader: Any = reader.to(device).to(memory_format=layout)  # pyright: ignore[reportCallIssue]
        reader.eval().requires_grad_(False)
        learning(reader, strange_only=strange_only).train().requires_grad_(True)
        self.rate, self.likelihood = torch.zeros((), device=device), torch.zeros((), device=device)
        self.optimiser = torch.optim.AdamW(
            [p for p in reader.parameters() if p.requires_grad],
            lr=self.rate,
            weight_decay=WEIGHT_DECAY,
            fused=True,
            capturable=device.type == "cuda",
        )
        self.layout = layout
        self.memory = torch.cuda.graph_pool_handle() if device.type == "cuda" else None

    def step(self) -> Tensor:
        """Draw a batch, lower its loss once, and answer the loss."""
        picture, labels = self.pictures.batch(self.pictures.draw.index(self.batch, len(self.pictures.image)))
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            out = self.reader(picture.contiguous(memory_format=self.layout))
        total = loss(out, labels, self.pictures.kind, likelihood=self.likelihood)
        self.optimiser.zero_grad(set_to_none=True)
        total.backward()
        torch.nn.utils.clip_grad_norm_(self.reader.parameters(), 5.0)
        self.optimiser.step()
        return total.detach()

    def recorded(self) -> list[Callable[[], Tensor]]:
        """Steps to take in turn. On a GPU each is recorded once and replayed.

        A step launches thousands of short kernels, and launching them takes longer than running them. What
        `Draw.host` draws is frozen in a recording, so there are several.
        """
        if self.device.type != "cuda":
            return [self.step]
        return [self._recorded() for _ in range(RECORDINGS)]

    def _recorded(self) -> Callable[[], Tensor]:
        state = self.pictures.draw.host.getstate()
        aside = torch.cuda.Stream()
        aside.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(aside):  # the first pass chooses algorithms and must not be recorded
            self.step()
        torch.cuda.current_stream().wait_stream(aside)
        self.pictures.draw.host.setstate(state)
        graph = torch.cuda.CUDAGraph()
        graph.register_generator_state(self.pictures.draw.generator)
        self.optimiser.zero_grad(set_to_none=True)
        # Another thread watches the GPUs that train together, and must not break the recording.
        with torch.cuda.graph(graph, pool=self.memory, capture_error_mode="thread_local"):
            total = self.step()

        def replay() -> Tensor:
            graph.replay()
            return total

        return replay


def train(
    reader: Reader,
    pictures: Pictures,
    *,
    batch: int,
    rate: float,
    checkpoint: Path,
    steps: int | None = None,
    end_s: float = math.inf,
    strange_only: bool = False,
) -> tuple[Reader, int]:
    """Train with a warmed-up cosine schedule; returns the averaged reader and the steps it took.

    Args:
        reader: To be trained.
        pictures: To train on.
        batch: Pictures a step.
        rate: Highest learning rate.
        checkpoint: File that the averaged weights go to.
        steps: How many; as many as fit before `end_s` where not given.
        end_s: When to end, on the monotonic clock.
        strange_only: Nothing learns but what tells strange pictures.
    """
    training = Training(reader, pictures, batch, strange_only=strange_only)
    averaged: Any = torch.optim.swa_utils.AveragedModel(
        training.reader, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(AVERAGING), use_buffers=True
    )
    takes = training.recorded()
    steps = steps or _affordable(takes, end_s, device=training.device)
    began = time.monotonic()
    for step in range(1, steps + 1):
        training.rate.fill_(rate * _rate(step, steps))
        training.likelihood.fill_(0.25 if step > 0.12 * steps else 0.02)
        total = takes[step % len(takes)]()
        if step % TOGETHER_EVERY == 0:
            together(training.reader)
        if step % AVERAGED_EVERY == 0:
            averaged.update_parameters(training.reader)
        if step % 250 == 0:
            pace = step / (time.monotonic() - began)
            print(f"step {step} of {steps}, loss {total.item():.3f}, {pace:.1f} a second", flush=True)
        if step % 1000 == 0 and leads():
            save(averaged.module, checkpoint)
    together(averaged.module)
    settle(averaged.module, pictures, batch, strange_only=strange_only)
    if leads():
        save(averaged.module, checkpoint)
    return averaged.module, steps


def leads() -> bool:
    """Whether this process speaks for all that train together."""
    return not distributed.is_initialized() or distributed.get_rank() == 0


@torch.no_grad()
def together(reader: Reader) -> None:
    """Take the mean of the weights over all GPUs that train, if there are several."""
    if distributed.is_initialized():
        weights = [p.data for p in reader.parameters()]
        flat = torch.cat([w.flatten() for w in weights])
        distributed.all_reduce(flat)
        flat /= distributed.get_world_size()
        for weight, mean in zip(weights, flat.split([w.numel() for w in weights]), strict=True):
            weight.copy_(mean.view_as(weight))


def _affordable(takes: list[Callable[[], Tensor]], end_s: float, *, device: torch.device) -> int:
    """How many steps fit before `end_s`, from the time that a few take at a rate of nothing."""
    for take in takes:
        take()
    torch.cuda.synchronize()
    began = time.monotonic()
    for n in range(24):
        takes[n % len(takes)]()
    torch.cuda.synchronize()
    pace_s = (time.monotonic() - began) / 24
    print(f"{pace_s:.4f} s a step", flush=True)
    steps = torch.tensor(max(int(0.97 * (end_s - time.monotonic()) / pace_s), 1), device=device)
    if distributed.is_initialized():
        distributed.all_reduce(steps, distributed.ReduceOp.MIN)
    return int(steps)


def learning(reader: Reader, *, strange_only: bool) -> torch.nn.Module:
    """What of the reader learns: the rest reads as ever."""
    return reader.strange if strange_only and reader.strange is not None else reader


@torch.no_grad()
def settle(reader: Reader, pictures: Pictures, batch: int, *, strange_only: bool, batches: int = 80) -> None:
    """Take the batch statistics of what learnt anew: those gathered on the way belong to other weights."""
    reader.eval()
    learnt = learning(reader, strange_only=strange_only).train()
    for layer in learnt.modules():
        if isinstance(layer, (torch.nn.BatchNorm1d, torch.nn.BatchNorm2d)):
            layer.reset_running_stats()
            layer.momentum = None  # a plain mean over the batches below
    for _ in range(min(batches, len(pictures.image) // batch)):
        reader(pictures.batch(pictures.draw.index(batch, len(pictures.image)))[0])


def _rate(step: int, steps: int) -> float:
    warm = min(1.0, (step + 1) / min(WARM_UP_STEPS, max(steps // 10, 1)))
    return warm * (0.01 + 0.99 * (0.5 + 0.5 * math.cos(math.pi * min(step / steps, 1))))


def save(reader: Reader, path: Path) -> None:
    """Write weights in half precision."""
    state = {n: t.half() if t.is_floating_point() else t for n, t in reader.state_dict().items()}
    torch.save(state, path)


def load(path: Path, kind: str) -> Reader:
    """A reader with the weights of a checkpoint of its kind."""
    reader = Reader(kind)
    reader.load_state_dict(_weights(path))
    return reader


def begun(path: Path, kind: str) -> Reader:
    """A reader to train, with what a checkpoint of its own or another kind has of its parts.

    Of a hand's, its detail takes all but what tells the strange, the elbow what sees and not what answers.
    """
    reader = Reader(kind)
    own = reader.state_dict()
    known = {n: t for n, t in _weights(path).items() if n in own and own[n].shape == t.shape}
    reader.load_state_dict(own | known)
    return reader


def _weights(path: Path) -> dict[str, Tensor]:
    state = torch.load(path, map_location="cpu", weights_only=True)
    return {n: t.float() if t.is_floating_point() else t for n, t in state.items()}


@torch.no_grad()
def validate(reader: Reader, pictures: Pictures, batch: int) -> dict[str, float]:
    """Errors on every one of the pictures, augmented once."""
    reader.eval()
    found: dict[str, list[Tensor]] = {}
    odds: list[tuple[Tensor, Tensor]] = []  # of what is strange, and what is
    for first in range(0, len(pictures.image) - batch + 1, batch):
        picture, labels = pictures.batch(torch.arange(first, first + batch, device=pictures.draw.device))
        out = reader(picture)
        for name, values in errors(out, labels, pictures.kind).items():
            found.setdefault(name, []).append(values)
        if pictures.kind == "hand":
            odds.append((out["strange"], labels["strange"]))
    figures = {}
    if odds:
        logits, strange = (torch.cat(t).float() for t in zip(*odds, strict=True))
        figures["share strange told"] = float(share_told(logits, strange > 0))
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
    parser.add_argument("kind", choices=KINDS)
    parser.add_argument("--bodies", type=Path, required=True, help="baked by release.workshop.render bodies")
    parser.add_argument("--out", type=Path, required=True, help="folder for the checkpoint and the log")
    parser.add_argument("--count", type=int, default=240_000, help="pictures to render, on each GPU")
    parser.add_argument("--minutes", type=float, default=9.0, help="of the whole run, rendering included")
    parser.add_argument("--batch", type=int, default=1024)
    parser.add_argument("--rate", type=float, default=LEARNING_RATE, help="highest learning rate")
    parser.add_argument("--workers", type=int, default=16, help="processes that render")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--checkpoint", type=Path, help="a checkpoint to go on from")
    parser.add_argument(
        "--strange-only",
        action="store_true",
        help="of a hand's checkpoint, train only the part that tells strange pictures",
    )
    parser.add_argument("--tiny", action="store_true", help="a run that only shows that it runs, on a CPU")
    args = parser.parse_args()
    if args.strange_only and (args.kind != "hand" or args.checkpoint is None):
        parser.error("--strange-only goes on from a hand's --checkpoint")
    if args.tiny:
        args.count, args.batch, args.workers = 48, 8, 1
    args.out.mkdir(parents=True, exist_ok=True)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    gpus = int(os.environ.get("WORLD_SIZE", "1"))
    if gpus > 1:
        if device.type == "cuda":
            torch.cuda.set_device(int(os.environ["LOCAL_RANK"]))
            os.environ.setdefault("GLCONTEXT_DEVICE_INDEX", os.environ["LOCAL_RANK"])  # and renders there
        distributed.init_process_group("nccl" if device.type == "cuda" else "gloo")
        args.seed += 1000 * distributed.get_rank()
    torch.manual_seed(args.seed)
    began = time.monotonic()
    shown = 16 if args.tiny else 6144
    kept_out = render_many(args.bodies, shown, args.seed, kind=args.kind, kept_out=True, workers=args.workers)
    strange = MOSTLY_STRANGE if args.strange_only else STRANGE
    crops = render_many(
        args.bodies,
        args.count,
        args.seed,
        kind=args.kind,
        kept_out=False,
        workers=args.workers,
        strange=strange,
    )
    print(f"{len(crops)} pictures rendered in {time.monotonic() - began:.0f} s", flush=True)
    generator = torch.Generator(device).manual_seed(args.seed)
    draw = Draw(generator)
    size = 24 if args.tiny else 3000
    banks = draw_banks(draw, behind=size, before=size // 3)
    pictures, unseen = (Pictures(c, args.kind, draw, banks) for c in (crops, kept_out))
    del crops, kept_out
    reader = begun(args.checkpoint, args.kind) if args.checkpoint else Reader(args.kind)
    torch.backends.cudnn.benchmark = True  # shapes are few and fixed
    torch.set_float32_matmul_precision("high")
    checkpoint = args.out / f"{args.kind}.pt"
    reader, steps = train(
        reader,
        pictures,
        batch=args.batch,
        rate=args.rate,
        strange_only=args.strange_only,
        checkpoint=checkpoint,
        steps=6 if args.tiny else None,
        end_s=began + args.minutes * 60 - 25,
    )
    print(f"{steps} steps, {time.monotonic() - began:.0f} s in all", flush=True)
    first = leads()
    if gpus > 1:
        distributed.destroy_process_group()
    if not first:
        return
    figures = validate(reader, unseen, min(args.batch, shown))
    report = {
        "kind": args.kind,
        "seed": args.seed,
        "pictures": args.count * gpus,
        "steps": steps,
        "batch": args.batch * gpus,
        "rate": args.rate,
        "kept out": figures,
    }
    (args.out / f"{args.kind}.json").write_text(json.dumps(report, indent=1), encoding="utf-8")
    for name, value in figures.items():
        print(f"{name}: {value:.4g}")


if __name__ == "__main__":
    main()
