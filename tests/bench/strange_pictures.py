"""Pictures unlike any throwing hand: how many of each kind the hand network calls strange. Run with --help.

A picture is called strange where the network finds it stranger than all but 2 % of held-back renders, or sees
no hand. Noise, scenes and sticks are drawn here, bodies by the project's renderer (`strange_bodies.py`)
where its packages (`make workshop`) and baked bodies are at hand.
"""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import cv2
import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from release.landmarks.infer_hand import LOST  # noqa: E402
from release.landmarks.infer_network import run, usual_odds  # noqa: E402
from release.landmarks.read_models import OWN_WEIGHTS, sha256_of  # noqa: E402
from release.landmarks.result import READ_PX  # noqa: E402
from release.landmarks.unfamiliar import strangeness  # noqa: E402

CROP_PX = READ_PX["hand"]
FALSE_ALARMS = 0.02  # share of held-back renders that would be called strange too
DRAWN, RENDERED, RENDERED_QUICK = 60, 256, 32  # pictures of a kind
WORKSHOP = ("torch", "moderngl")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """How one kind of picture fared."""

    kind: str
    share: float | None  # called strange; None where it was not run
    goal: float | None = 0.9  # None where nothing should be told
    note: str = ""  # why it was not run, or what else was seen


def every_kind(baked: Path | None, *, quick: bool) -> Iterator[Told]:
    """Each kind in turn.

    Args:
        baked: The file that `python -m release.workshop.render bodies` wrote, with its grips beside it.
        quick: Fewer pictures of each rendered kind.
    """
    for seed, (kind, draw) in enumerate(PLAIN.items()):
        rng = np.random.default_rng(seed)
        images = np.stack([draw(rng) for _ in range(DRAWN)])
        yield Told(kind=kind, share=float(called_strange(run("hand", images)).mean()))
    if why := _why_not(baked):
        yield Told(kind="bodies by the renderer", share=None, note=why)
        return
    import strange_bodies as bodies

    assert baked is not None
    for kind in bodies.KINDS:
        pictures = bodies.drawn(kind, baked, RENDERED_QUICK if quick else RENDERED)
        read = run("hand", pictures.images)
        note = ""
        if kind not in (bodies.BODY, bodies.GLOVE):
            note = f"palm {np.median(turned_deg(read['palm'], pictures.palm)):.0f} deg off"
        share = float(called_strange(read).mean())
        yield Told(kind=kind, share=share, goal=None if kind == bodies.ARM else 0.9, note=note)


def _why_not(baked: Path | None) -> str:
    """Why bodies cannot be drawn here; empty where they can."""
    missing = [name for name in WORKSHOP if find_spec(name) is None]
    if missing:
        return f"needs {', '.join(missing)}: make workshop"
    if baked is None:
        return "needs --bodies"
    absent = [p.name for p in (baked, baked.with_suffix(".grips.npz")) if not p.is_file()]
    return f"no {' and no '.join(absent)} in {baked.parent}" if absent else ""


def called_strange(read: dict[str, np.ndarray]) -> np.ndarray:
    """Which pictures are called strange, shape (n,)."""
    return (strangeness(read["strange"], usual_odds()) > 1 - FALSE_ALARMS) | (read["present"] < LOST)


def turned_deg(read: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Angle between rotations (n, 3, 3)."""
    trace = np.einsum("nij,nij->n", read, true)
    return np.degrees(np.arccos(np.clip((trace - 1) / 2, -1, 1)))


def network() -> str:
    """Which hand network the figures belong to, as its card names it."""
    return f"hand.onnx {sha256_of(OWN_WEIGHTS / 'hand.onnx')[:8]}"


def _noise(rng):
    grain = rng.integers(0, 256, (CROP_PX, CROP_PX, 3)).astype(np.uint8)
    return cv2.GaussianBlur(grain, (0, 0), rng.uniform(0.5, 4))


def _scene(rng):
    picture = np.zeros((CROP_PX, CROP_PX, 3), np.float32)
    picture[:] = rng.uniform(60, 220, 3)
    horizon = int(rng.uniform(0.3, 0.7) * CROP_PX)
    picture[horizon:] = rng.uniform(30, 150, 3)
    rough = cv2.resize(rng.normal(size=(24, 24)).astype(np.float32), (CROP_PX, CROP_PX))
    return np.clip(picture + 25 * rough[..., None], 0, 255).astype(np.uint8)


def _wall(rng):
    picture = np.full((CROP_PX, CROP_PX, 3), rng.uniform(60, 220, 3), np.uint8)
    for at in range(0, CROP_PX, int(rng.integers(8, 40))):
        cv2.line(picture, (at, 0), (at, CROP_PX), rng.uniform(0, 255, 3).tolist(), 2)
    return picture


def _stick(rng):
    picture = _scene(rng)
    colour = (np.array([225, 190, 165]) * rng.uniform(0.6, 1)).tolist()
    middle = CROP_PX // 2
    cv2.line(picture, (middle, CROP_PX), (middle, middle), colour, int(rng.integers(14, 30)))
    cv2.circle(picture, (middle, middle - 10), int(rng.integers(14, 26)), colour, -1)
    return picture


def _rain(rng):
    picture = _stick(rng)
    for _ in range(250):
        x, y = rng.integers(0, CROP_PX, 2).tolist()
        cv2.line(picture, (x, y), (x + 3, y + int(rng.integers(8, 25))), (215, 215, 220), 1)
    return cv2.GaussianBlur(picture, (0, 0), 2)


PLAIN = {
    "noise": _noise,
    "scene without a person": _scene,
    "flat wall with lines": _wall,
    "mannequin-coloured stick": _stick,
    "heavy rain over such a stick": _rain,
}


def main() -> None:
    """Parse, draw, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bodies", type=Path, help="baked bodies, for the kinds drawn from them")
    parser.add_argument("--quick", action="store_true", help="fewer pictures of each rendered kind")
    args = parser.parse_args()
    print(f"{network()}: share of pictures called unfamiliar\n")
    met = []
    for told in every_kind(args.bodies, quick=args.quick):
        goal = "(2 % stated)" if told.goal is None else f">= {told.goal:.0%}"
        result = "not run" if told.share is None else f"{told.share:.0%}"
        print(f"{told.kind:45s} {goal:>14s} {result:>8s}  {told.note}", flush=True)
        if told.share is not None and told.goal is not None:
            met.append(told.share >= told.goal)
    print(f"\n{sum(met)} of {len(met)} goals met")
    sys.exit(0 if all(met) else 1)


if __name__ == "__main__":
    main()
