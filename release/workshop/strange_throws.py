"""Throws that show no throwing hand, or none as a throw has it: other parts of the body, the glove hand,
another thing than a ball in the hand, an arm of one even glossy colour.

In:   a throw and its look.
Out:  the same throw made strange, and where to look or what lies in the hand once it is posed.
Why:  a network doubts only what it has been shown; rain and dirt are laid over in training (augment.py).
      An open hand is not strange: it is a hand after release.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.orientation.kinematics import BALL_RADIUS_M
from release.workshop.skeleton import moved
from release.workshop.surface import SKIN_TONES
from release.workshop.thrown import Posed, Thrown

Array = NDArray[np.float64]
Part = tuple[str, str]  # the bone that the picture centres on is the second, below it lies the first

BODY_PARTS: tuple[Part, ...] = (
    *(("neck01", "head"), ("spine01", "neck01")),
    *(("clavicle.L", "upperarm01.L"), ("clavicle.R", "upperarm01.R")),
    *(("spine03", "upperleg01.L"), ("spine03", "upperleg01.R")),
    *(("upperleg01.L", "lowerleg01.L"), ("upperleg01.R", "lowerleg01.R")),
    *(("lowerleg01.L", "foot.L"), ("lowerleg01.R", "foot.R")),
)
GLOVE_HAND: Part = ("lowerarm01.L", "wrist.L")
KINDS = {"body part": 0.3, "glove hand": 0.2, "thing": 0.3, "mannequin": 0.2}  # shares of strange throws
FACETED, SMOOTH = 1.0, 2.0  # how a thing's surface is lit


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """Something in the hand instead of the ball, in hand axes r_h, d_h, p, metres."""

    middle: Array  # shape (3,), from the wrist
    axes: Array  # shape (3, 3), columns: its three half axes

    def held(self, posed: Posed) -> Posed:
        """The same throw with this where the ball was, for as long as it is looked at."""
        place = posed.points["wrist"] + posed.hand @ self.middle
        return replace(
            posed,
            points=posed.points | {"ball": place},
            ball_turn=posed.hand @ self.axes / BALL_RADIUS_M,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Strange:
    """A throw made strange: as it is to be posed and drawn, and what is then looked at."""

    thrown: Thrown
    look: NDArray[np.float32]  # shape (LOOKS, 4)
    parts: tuple[Part, ...] = ()  # one of them is looked at in place of elbow and wrist, if there are any
    thing: Thing | None = None

    def seen(self, posed: Posed, rng: np.random.Generator) -> Posed:
        """The posed throw as one picture shows it."""
        if self.parts:
            return aimed_at(self.parts[rng.integers(len(self.parts))], self.thrown, posed)
        return self.thing.held(posed) if self.thing else posed


def draw_strange(thrown: Thrown, look: NDArray[np.float32], rng: np.random.Generator) -> Strange:
    """Make one throw strange in one of the ways of `KINDS`."""
    kind = str(rng.choice(list(KINDS), p=list(KINDS.values())))
    if kind == "thing":
        thing, thickness_m = _draw_thing(thrown.grip.ball, rng)
        # The thinner, the further the fingers close round it; round a ball by what was solved.
        bend = np.clip(1 + 18 * (BALL_RADIUS_M - thickness_m), 0.25, 1.6) * rng.uniform(0.85, 1.15)
        return Strange(thrown=bent(thrown, bend), look=_draw_form(look, rng), thing=thing)
    if kind == "mannequin":
        skin = SKIN_TONES[rng.integers(len(SKIN_TONES))] * rng.uniform(0.6, 1.4, 3)
        colour = skin if rng.random() < 0.5 else rng.uniform(0.02, 0.95, 3)
        even = evenly_coloured(look, np.clip(colour, 0, 1), shine=rng.uniform(0.25, 1.0))
        return Strange(thrown=bent(thrown, rng.uniform(-0.1, 1.0)), look=even)
    return Strange(thrown=thrown, look=look, parts=BODY_PARTS if kind == "body part" else (GLOVE_HAND,))


def bent(thrown: Thrown, share: float) -> Thrown:
    """The fingers bent by this share of how far they are round the ball, and staying so."""
    still = replace(thrown.motion, finger_give=0.0, finger_opening=0.0)
    return replace(thrown, motion=still, grip=replace(thrown.grip, rotvec=thrown.grip.rotvec * share))


def evenly_coloured(look: NDArray[np.float32], colour: Array, *, shine: float) -> NDArray[np.float32]:
    """One even colour (3,), linear, from head to foot, and this glossy."""
    even = look.copy()
    even[:8, :3], even[0, 3] = colour, shine
    even[[2, 4, 6], 3] = 0  # nothing mottled or folded
    even[8] = [-1, 9, 9, 2]  # no sleeve, band or hair line
    even[9], even[10] = 0, 0
    return even


def with_form(
    look: NDArray[np.float32], exponents: Sequence[float], colour: Array, *, shine: float, lit: float
) -> NDArray[np.float32]:
    """A look with another thing than a ball.

    Args:
        look: Shape (LOOKS, 4).
        exponents: Of a superquadric along its first axis and round it: 1 is round, toward 0 square (Barr,
            1981, IEEE Computer Graphics and Applications 1(1), "Superquadrics and angle-preserving
            transformations").
        colour: Shape (4,), linear, and how dirty.
        shine: How glossy.
        lit: FACETED or SMOOTH.
    """
    formed = look.copy()
    formed[11], formed[12] = colour, [*exponents, shine, lit]
    return formed


def _draw_form(look: NDArray[np.float32], rng: np.random.Generator) -> NDArray[np.float32]:
    colour = rng.uniform(0.01, 0.9, 3) if rng.random() < 0.6 else np.full(3, rng.uniform(0.01, 0.9))
    exponents = np.exp(rng.uniform(np.log(0.2), np.log(1.5), 2))
    dirty = [*colour, rng.uniform(0, 0.5)]
    return with_form(look, exponents.tolist(), np.array(dirty), shine=rng.uniform(0, 0.6), lit=SMOOTH)


def _draw_thing(ball: Array, rng: np.random.Generator) -> tuple[Thing, float]:
    """A thing of any size in a hand that holds a ball there (3,), and how thick it is over the palm."""
    # Half of it, as all here; less hides in a fist.
    thick = np.exp(rng.uniform(np.log(0.009), np.log(0.06), 2))
    long = np.exp(rng.uniform(np.log(max(thick.max(), 0.05)), np.log(0.4)))
    if max(abs(np.log(np.array([*thick, long]) / BALL_RADIUS_M))) < 0.35:
        long = 3 * BALL_RADIUS_M  # else hardly to be told from the ball
    # Mostly its long axis lies across the fingers, as one holds a handle.
    lean = np.radians(rng.normal(0, 25 if rng.random() < 0.8 else 90, 2))
    roll = rng.uniform(0, 2 * np.pi)
    turn = Rotation.from_euler("ZYX", [lean[0], 0.5 * lean[1], roll]).as_matrix()
    axes = turn * [long, *thick]
    over_palm_m = float(np.linalg.norm(axes[2, 1:]))  # half of its thickness there
    out_m = ball[2] - BALL_RADIUS_M + over_palm_m * rng.uniform(0.8, 1.1)
    grasped = np.array([ball[0], ball[1] * rng.uniform(0.75, 1.1), out_m])
    off = rng.uniform(-0.8, 0.8) * (1 - 0.04 / long)  # where along it the hand is
    return Thing(middle=grasped + off * axes[:, 0], axes=axes), over_palm_m


def aimed_at(part: Part, thrown: Thrown, posed: Posed) -> Posed:
    """The same throw, with another part of the body where the camera looks for elbow and wrist."""
    bodies, heads = thrown.bodies, thrown.bodies.heads_m[thrown.which].astype(float)
    ends = [moved(posed.matrices, bodies.bone(b), heads[bodies.bone(b)]) for b in part]
    return replace(posed, points=posed.points | dict(zip(("elbow", "wrist"), ends, strict=True)))


def arm_in_sight(posed: Posed, row: int, camera: Array, lens: Sequence[float], side_px: int) -> bool:
    """Whether forearm or throwing hand lie in the picture, though perhaps hidden behind the body.

    Args:
        posed: The throw, not aimed elsewhere.
        row: At which of its times.
        camera: Shape (3, 4), world to camera.
        lens: Focal x, focal y, centre x, centre y, pixels.
        side_px: Of the picture.
    """
    elbow, wrist, tip = (posed.points[n][row] for n in ("elbow", "wrist", "middle_tip"))
    share = np.linspace(0, 1, 6)[:, None]
    points = np.concatenate([elbow + share * (wrist - elbow), wrist + share * (tip - wrist)])
    seen = points @ camera[:, :3].T + camera[:, 3]
    pixel = seen[:, :2] / seen[:, 2:] * lens[:2] + lens[2:]
    inside = ((pixel > 0) & (pixel < side_px)).all(1) & (seen[:, 2] > 0)
    return bool(inside.any())
