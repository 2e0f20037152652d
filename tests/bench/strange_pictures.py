"""Pictures unlike any throwing hand, drawn: how many of each kind the hand model calls strange."""

import cv2
import numpy as np

from release.landmarks.infer_hand import LOST
from release.landmarks.infer_network import SIDE_PX, run, usual_doubt
from release.landmarks.unfamiliar import strangeness

KINDS = ("noise", "scene without a person", "flat wall with lines", "mannequin-coloured stick", "heavy rain")
FALSE_ALARMS = 0.02  # share of held-back renders that would be called strange too
COUNT = 60


def shown_as_strange(kind: str) -> float:
    """Share of pictures of one kind without a hand, or beyond the quantile that leaves 2 % false alarms."""
    rng = np.random.default_rng(KINDS.index(kind))
    pictures = np.stack([DRAWN[kind](rng) for _ in range(COUNT)])
    read = run("hand", pictures)
    strange = strangeness(read["present"], usual_doubt()) > 1 - FALSE_ALARMS
    return float(np.mean(strange | (read["present"] < LOST)))


def _noise(rng):
    grain = rng.integers(0, 256, (SIDE_PX, SIDE_PX, 3)).astype(np.uint8)
    return cv2.GaussianBlur(grain, (0, 0), rng.uniform(0.5, 4))


def _scene(rng):
    picture = np.zeros((SIDE_PX, SIDE_PX, 3), np.float32)
    picture[:] = rng.uniform(60, 220, 3)
    horizon = int(rng.uniform(0.3, 0.7) * SIDE_PX)
    picture[horizon:] = rng.uniform(30, 150, 3)
    rough = cv2.resize(rng.normal(size=(24, 24)).astype(np.float32), (SIDE_PX, SIDE_PX))
    return np.clip(picture + 25 * rough[..., None], 0, 255).astype(np.uint8)


def _wall(rng):
    picture = np.full((SIDE_PX, SIDE_PX, 3), rng.uniform(60, 220, 3), np.uint8)
    for at in range(0, SIDE_PX, int(rng.integers(8, 40))):
        cv2.line(picture, (at, 0), (at, SIDE_PX), rng.uniform(0, 255, 3).tolist(), 2)
    return picture


def _stick(rng):
    picture = _scene(rng)
    colour = (np.array([225, 190, 165]) * rng.uniform(0.6, 1)).tolist()
    middle = SIDE_PX // 2
    cv2.line(picture, (middle, SIDE_PX), (middle, middle), colour, int(rng.integers(14, 30)))
    cv2.circle(picture, (middle, middle - 10), int(rng.integers(14, 26)), colour, -1)
    return picture


def _rain(rng):
    picture = _stick(rng)
    for _ in range(250):
        x, y = rng.integers(0, SIDE_PX, 2).tolist()
        cv2.line(picture, (x, y), (x + 3, y + int(rng.integers(8, 25))), (215, 215, 220), 1)
    return cv2.GaussianBlur(picture, (0, 0), 2)


DRAWN = dict(zip(KINDS, (_noise, _scene, _wall, _stick, _rain), strict=True))
