"""What each kind of variation is worth: short trainings of the hand model with one of them held still.

In:   baked bodies, what to hold still.
Out:  its errors on people kept out, in pictures with everything varied.
Why:  what is never varied is learnt by heart; how much that costs tells where more variety pays.
"""

import argparse
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from release.workshop import augment, crops, proportions, train
from release.workshop.backdrops import Draw
from release.workshop.fingers import HeldBall
from release.workshop.network import Reader

Change = tuple[ModuleType, str, Any]


def _always(draw: Callable[[np.random.Generator], Any]) -> Callable[[np.random.Generator], Any]:
    """The same draw each time."""
    return lambda rng: draw(np.random.default_rng(7))


def _first_grips(baked: Path) -> list[list[HeldBall]]:
    return [row[:1] for row in _load_grips(baked)]


def _one_side(target: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """Cameras on the pitcher's open side (a right-hander's), within 20 degrees."""
    eye = _eye(target, rng)
    away = np.hypot(*(eye - target)[:2])
    azimuth = np.radians(90 + rng.uniform(-20, 20))
    return np.array([target[0] + away * np.cos(azimuth), target[1] + away * np.sin(azimuth), eye[2]])


def _as_rendered(draw: Draw, scene: torch.Tensor) -> torch.Tensor:
    return scene.clamp(0, 1) ** (1 / 2.2)


_load_grips, _eye = crops.load_grips, crops._eye
STILL: dict[str, list[Change]] = {
    "nothing": [],
    "proportions of arm and hand": [
        *((proportions, name, 0.0) for name in ("LENGTH_SD", "GIRTH_SD", "FLATTER_SD")),
        (proportions, "TAPER_SD", (0.0,) * len(proportions.PLACES)),
    ],
    "grips": [(crops, "load_grips", _first_grips), (crops, "loosened", lambda held, rng: held)],
    "motions": [(crops, "draw_motion", _always(crops.draw_motion))],
    "camera places": [(crops, "_eye", _one_side)],
    "looks and light": [
        (crops, "draw_looks", _always(crops.draw_looks)),
        (crops, "draw_light", _always(crops.draw_light)),
    ],
    "backdrops and things in front": [(augment, "_scene", lambda draw, pixels, person, *_: person[:, :3])],
    "lens, sensor and coding": [(augment, "_filmed", _as_rendered)],
}


def hold_still(name: str) -> None:
    """Hold one kind of variation still in this process."""
    for module, attribute, value in STILL[name]:
        setattr(module, attribute, value)


@contextmanager
def held_still(name: str) -> Iterator[None]:
    """The same for a while."""
    before = [(module, attribute, getattr(module, attribute)) for module, attribute, _ in STILL[name]]
    hold_still(name)
    try:
        yield
    finally:
        for module, attribute, value in before:
            setattr(module, attribute, value)


def main() -> None:
    """Parse, render, train, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("still", choices=STILL)
    parser.add_argument("--bodies", type=Path, required=True)
    parser.add_argument("--count", type=int, default=24_000, help="pictures to learn from")
    parser.add_argument("--shown", type=int, default=4096, help="pictures of people kept out to judge by")
    parser.add_argument("--steps", type=int, default=1500)
    parser.add_argument("--batch", type=int, default=512)
    parser.add_argument("--workers", type=int, default=16, help="processes that render")
    args = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(1)
    render = {"kind": "hand", "workers": args.workers}
    kept_out = crops.render_many(args.bodies, args.shown, 1, kept_out=True, **render)
    learnt = crops.render_many(
        args.bodies, args.count, 1, kept_out=False, prepare=(hold_still, args.still), **render
    )
    draw = Draw(torch.Generator(device).manual_seed(1))
    banks = augment.draw_banks(draw, behind=min(args.count, 2000), before=min(args.count, 700))
    pictures, unseen = (train.Pictures(c, "hand", draw, banks) for c in (learnt, kept_out))
    with held_still(args.still), TemporaryDirectory() as aside:
        reader, _ = train.train(
            Reader("hand"),
            pictures,
            batch=args.batch,
            rate=train.LEARNING_RATE,
            checkpoint=Path(aside) / "hand.pt",
            steps=args.steps,
        )
    figures = train.validate(reader, unseen, min(args.batch, args.shown))
    print(json.dumps({"still": args.still} | {n: round(v, 3) for n, v in figures.items()}))


if __name__ == "__main__":
    main()
