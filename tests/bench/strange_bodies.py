"""Bodies that show no throwing hand with its ball, or show it badly, by the project's own renderer.

In:   baked bodies with their grips (`python -m release.workshop.render bodies`), those kept out of training.
Out:  pictures as the hand network gets them, through the same backdrops, lens and sensor as in training.
Why:  what the network has not learnt looks most like what it has when the same renderer draws both.
"""

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import torch

from release.landmarks.result import READ_PX
from release.orientation.kinematics import BALL_RADIUS_M
from release.workshop import crops as training
from release.workshop.augment import Banks, augmented, draw_banks
from release.workshop.backdrops import Draw
from release.workshop.bodies import Bodies, load
from release.workshop.drawing import Studio
from release.workshop.fingers import HeldBall, load_grips, loosened
from release.workshop.proportions import reshaped
from release.workshop.result import Crops
from release.workshop.strange_throws import (
    FACETED,
    Thing,
    aimed_at,
    arm_in_sight,
    bent,
    evenly_coloured,
    with_form,
)
from release.workshop.surface import draw_light, draw_looks
from release.workshop.throwing import draw_motion
from release.workshop.thrown import Posed, Thrown, aimed
from release.workshop.train import labels_of

ARM = "throwing arm with its ball, as in training"
RAIN, DIRT = "heavy rain over it", "dirt and drops on the lens over it"
BODY, GLOVE = "other body parts", "glove hand"
OPEN, THING, MANNEQUIN = "open hand without a ball", "hand holding something else", "mannequin-coloured arm"
KINDS = (ARM, RAIN, DIRT, BODY, GLOVE, OPEN, THING, MANNEQUIN)

CROP_PX = READ_PX["hand"]
GRID = (8, 8)
PER_THROW = 4
SPIN = np.array([-220.0, 40.0, 0.0])
NOT_LABELLED = {"present": True, "strange": False}  # for the bench to tell
# Which bone the picture centres on, and which one before it lies below, as wrist and elbow do.
BODY_PARTS = {
    "head": ("neck01", "head"),
    "hip": ("spine03", "pelvis.R"),
    "knee": ("upperleg01.R", "lowerleg01.R"),
    "foot": ("lowerleg01.R", "foot.R"),
}
GLOVE_PART = {"glove": ("lowerarm01.L", "wrist.L")}
# Things to hold, each with the exponents of its form: a cylinder's rims and a box's edges a little rounded.
THINGS = {"bar": (1 / 6, 1), "bottle": (1 / 6, 1), "flat box": (1 / 6, 1 / 6), "large ball": (1, 1)}
# How far the fingers are bent, of how far they are round a ball; not solved for each thing.
BENT = {
    OPEN: (-0.15, 0.3),
    MANNEQUIN: (0.0, 0.7),
    "bar": (1.1, 1.5),
    "bottle": (0.9, 1.1),
    "flat box": (0.5, 0.8),
    "large ball": (0.2, 0.6),
}
PLASTIC = np.array([0.75, 0.5, 0.37])  # linear: mannequin beige


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """n pictures, and where the palm is truly turned where one is there to be read."""

    images: np.ndarray  # shape (n, 192, 192, 3), uint8 RGB
    palm: np.ndarray  # shape (n, 3, 3); means nothing where the picture shows no throwing hand


@cache
def drawn(kind: str, baked: Path, count: int) -> Pictures:
    """Up to `count` pictures of one kind, the same at every call."""
    if kind in (RAIN, DIRT):  # over the very pictures that are read without it
        under, rng = drawn(ARM, baked, count), np.random.default_rng([count, KINDS.index(kind)])
        cover = _rained_on if kind == RAIN else _through_dirt
        return replace(under, images=np.stack([cover(image, rng) for image in under.images]))
    crops = _rendered(kind, baked, count, np.random.default_rng([count, KINDS.index(kind)]))
    return _filmed(crops, seed=KINDS.index(kind))


@cache
def _banks() -> Banks:
    return draw_banks(Draw(torch.Generator().manual_seed(0)), behind=100, before=40)


@cache
def _stage(baked: Path) -> tuple[Bodies, list[list[HeldBall]], Studio]:
    bodies, grips = reshaped(load(baked), load_grips(baked), np.random.default_rng(0))
    side = training.SIDE_PX["hand"]
    return bodies, grips, Studio(bodies, (side, side), GRID)


def _filmed(crops: Crops, seed: int) -> Pictures:
    """Through training's backdrops, lens and sensor, less those in which nobody is left or it rains."""
    draw, banks = Draw(torch.Generator().manual_seed(seed)), _banks()
    coded, labels = torch.from_numpy(crops.image), labels_of(crops, "hand")
    images, palms = [], []
    for rows in torch.arange(len(crops)).split(64):
        others = coded[draw.index(len(rows), len(coded))]
        own = {name: values[rows] for name, values in labels.items()}
        picture, truth = augmented(draw, "hand", coded[rows], others, own, banks)
        here = truth["strange"] == 0  # what was drawn here is not labelled so, nobody and what is covered is
        images.append((picture[here].permute(0, 2, 3, 1) * 255).round().numpy().astype(np.uint8))
        palms.append(truth["palm"][here].numpy())
    return Pictures(images=np.concatenate(images), palm=np.concatenate(palms).astype(float))


def _rendered(kind: str, baked: Path, count: int, rng: np.random.Generator) -> Crops:
    bodies, grips, studio = _stage(baked)
    people = training.who_throws(bodies, kept_out=True)
    batch, parts = GRID[0] * GRID[1], []
    for k, first in enumerate(range(0, count, batch)):
        thing = list(THINGS)[k % len(THINGS)] if kind == THING else None
        shots, labels = [], []
        while len(shots) < min(batch, count - first):
            which = int(rng.choice(len(people), p=people))
            grip = loosened(grips[which][rng.integers(len(grips[which]))], rng)
            thrown = aimed(
                Thrown(bodies=bodies, which=which, motion=draw_motion(rng), grip=grip, spin=SPIN),
                elevation_deg=float(rng.normal(-1.5, 2.5)),
            )
            look, light = draw_looks(rng), draw_light(rng)
            if kind == MANNEQUIN:
                look = evenly_coloured(look, PLASTIC * rng.uniform(0.5, 1.2), shine=rng.uniform(0.2, 0.5))
            if thing:
                look = with_form(look, THINGS[thing], np.array([*look[1, :3], 0]), shine=0.1, lit=FACETED)
            for shot, label in _one_throw(kind, thing, thrown, rng):
                shots.append((which, look, light, *shot))
                labels.append(label | NOT_LABELLED | {"body": which, "grip": 0, "throw": len(parts)})
        shots, labels = shots[:batch], labels[:batch]
        image = studio.draw(training._stack(shots))
        parts.append(training._labelled(image, labels, "hand", rng))
    return Crops(**{name: np.concatenate([p[name] for p in parts])[:count] for name in parts[0]})


def _one_throw(kind: str, thing: str | None, thrown: Thrown, rng: np.random.Generator):
    """Some pictures of one throw: what is drawn, and what is true."""
    if kind in BENT or thing:
        thrown = bent(thrown, rng.uniform(*BENT[thing or kind]))
    times = training._times(rng, PER_THROW, "hand")
    times = np.minimum(times, -0.005) if thing else times  # before release, while it is held
    posed = thrown.posed(training._moments(times, rng))
    parts = {BODY: BODY_PARTS, GLOVE: GLOVE_PART}.get(kind)
    if thing:
        posed = _placed(thing, posed, rng).held(posed)
    for k, time_s in enumerate(times):
        rows = slice(k * (training.SUBFRAMES + 1), (k + 1) * (training.SUBFRAMES + 1))
        aim = aimed_at(parts[str(rng.choice(list(parts)))], thrown, posed) if parts else posed
        no_ball = kind in (BODY, GLOVE, OPEN, MANNEQUIN)
        shot, label = training._picture(aim, rows, "hand", no_ball, rng)
        if parts and arm_in_sight(posed, rows.start, shot[3][0], shot[4], training.SIDE_PX["hand"]):
            continue
        yield shot, label | {"since_release_s": time_s}


def _placed(thing: str, posed: Posed, rng: np.random.Generator) -> Thing:
    """A thing where a ball would lie."""
    wrist, hand = posed.points["wrist"], posed.hand
    across, along, out = np.einsum("tji,tj->ti", hand, posed.points["ball"] - wrist)[0]
    if thing == "bar":
        half = np.array([rng.uniform(0.15, 0.45), *[rng.uniform(0.011, 0.017)] * 2])
        middle = [rng.uniform(-0.7, 0.7) * half[0], 0.85 * along, 0.5 * out]
    elif thing == "bottle":
        half = np.array([rng.uniform(0.06, 0.12), *[rng.uniform(0.03, 0.037)] * 2])
        middle = [across + rng.uniform(-0.04, 0.04), along, out]
    elif thing == "flat box":
        half = np.array([0.036, 0.075, 0.005]) * rng.uniform(0.8, 1.5)
        middle = [across, along, out - 0.02]
    else:
        half = np.full(3, rng.uniform(0.055, 0.11))
        middle = [across, along, out + half[0] - BALL_RADIUS_M]
    lean = np.radians(rng.normal(0, 12))
    c, s = np.cos(lean), np.sin(lean)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    return Thing(middle=np.array(middle), axes=turn * half)


def _rained_on(picture: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Streaks of one slant, the nearer the longer and softer, and the haze of those far off."""
    slant, cover = rng.normal(0, 0.15), np.zeros((CROP_PX, CROP_PX), np.float32)
    for soft, count, length in ((0.6, 220, 8), (1.2, 70, 22), (2.5, 15, 60)):
        layer = np.zeros_like(cover)
        for _ in range(count):
            x, y = rng.uniform(-20, CROP_PX, 2)
            down = length * rng.uniform(0.6, 1.6)
            ends = [(round(x), round(y)), (round(x + slant * down), round(y + down))]
            cv2.line(layer, ends[0], ends[1], rng.uniform(0.4, 1.0), max(1, round(2 * soft)))
        cover = np.maximum(cover, cv2.GaussianBlur(layer, (0, 0), soft))
    haze = rng.uniform(0.15, 0.4)
    cover = np.clip(haze + (1 - haze) * 0.8 * cover, 0, 1)[..., None]
    return np.clip((1 - cover) * picture + cover * rng.uniform(170, 225), 0, 255).astype(np.uint8)


def _through_dirt(picture: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Smears and drops far nearer than the lens is focused on: soft spots that hide what is behind."""
    hidden = np.zeros((CROP_PX, CROP_PX), np.float32)
    for _ in range(int(rng.integers(10, 24))):
        x, y = rng.integers(0, CROP_PX, 2).tolist()
        size = tuple(rng.integers(8, 36, 2).tolist())
        spot = np.zeros_like(hidden)
        cv2.ellipse(spot, (x, y), size, rng.uniform(0, 180), 0, 360, rng.uniform(0.6, 1.0), -1)
        hidden = np.maximum(hidden, cv2.GaussianBlur(spot, (0, 0), rng.uniform(3, 8)))
    smeared = cv2.GaussianBlur(picture, (0, 0), 8).astype(np.float32)
    colour = rng.uniform(30, 150) * np.array([1.0, 0.92, 0.8])
    veil = 0.35 * smeared + 0.65 * colour
    hidden = hidden[..., None]
    return np.clip((1 - hidden) * picture + hidden * veil, 0, 255).astype(np.uint8)
