"""Grips: fingers and thumb solved so that they touch the ball, for one hand and one kind of grip.

In:   the resting right hand of a body (joint places), a grip by what the fingers do.
Out:  rotation of each finger joint, in resting axes, and the ball's centre in hand axes.
Why:  a hand that passes through the ball, or floats beside it, teaches the wrong picture.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from release.orientation.angles import unit
from release.orientation.kinematics import BALL_RADIUS_M
from release.workshop.bodies import Bodies
from release.workshop.skeleton import Rest

Array = NDArray[np.float64]

JOINTS = tuple(f"finger{f}-{j}.R" for f in range(1, 6) for j in (1, 2, 3))
INDEX_KINDS = ("flat", "spiked", "knuckled", "braced")
THUMB_KINDS = ("under", "angled", "side")
TOUCH_M, SEAT_M = 0.002, 0.006  # how exactly a finger touches, and the ball lies where the hand wants it
SKIN_M = 0.0062  # of a fingertip, between its joint's end and what it touches, for a palm of 0.09 m
CLAWED_DEG = 20  # from this curl on fingers touch the ball with their tips alone
BEND_RAD, THUMB_RAD = np.radians(25), np.radians(12)  # how far a joint strays from usual


@dataclass(frozen=True, slots=True, kw_only=True)
class Grip:
    """A grip by what the fingers do."""

    index: str = "flat"
    thumb: str = "under"
    spread_m: float = 0.026  # between index and middle fingertip
    offset_m: float = 0.0  # of the two fingers, to the thumb side
    curl_deg: float = 0.0  # how much further the fingers bend at their middle joints than they usually do
    seat_m: tuple[float, float, float] = (0.002, 0.02, 0.054)  # ball from middle knuckle, palm of 0.09 m


def draw_grip(rng: np.random.Generator) -> Grip:
    """Any grip of the record, with the differences between hands that hold it."""
    return Grip(
        index=str(rng.choice(INDEX_KINDS, p=[0.62, 0.14, 0.12, 0.12])),
        thumb=str(rng.choice(THUMB_KINDS, p=[0.45, 0.3, 0.25])),
        spread_m=float(rng.uniform(0.014, 0.036)),
        offset_m=float(rng.normal(0, 0.007)),
        curl_deg=float(rng.uniform(-8, 60)),
        seat_m=(
            float(rng.normal(0.002, 0.007)),
            float(rng.uniform(0.008, 0.03)),
            float(rng.uniform(0.036, 0.066)),
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldBall:
    """How one hand holds the ball."""

    rotvec: Array  # shape (15, 3), of each of JOINTS against the joint above, resting axes
    ball: Array  # shape (3,), centre from the wrist in hand axes r_h, d_h, p, metres


def loosened(held: HeldBall, rng: np.random.Generator) -> HeldBall:
    """The same grip on another day: ring and little finger lie as they like, the others hardly differ."""
    bend = np.concatenate([rng.normal(1, 0.08, 3), rng.uniform(0.55, 1.25, 2)])  # thumb to little finger
    turned = held.rotvec * np.repeat(bend, 3)[:, None] + rng.normal(0, np.radians(3), held.rotvec.shape)
    return replace(held, rotvec=turned, ball=held.ball + rng.normal(0, SEAT_M / 2, 3))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hand:
    """A resting right hand in its own axes, wrist at the origin."""

    heads: Array  # shape (15, 3), JOINTS
    tips: Array  # shape (5, 3)
    axes: Array  # shape (3, 3), hand axes in resting world axes
    scale: float  # wrist to middle knuckle, of 0.09 m

    @classmethod
    def of(cls, bodies: Bodies, which: int) -> "_Hand":
        rest = Rest.of(bodies, which)
        wrist = rest.points["wrist"]
        heads = np.array([bodies.heads_m[which, bodies.bone(j)] for j in JOINTS], float)
        tips = np.array([rest.points[f"{n}_tip"] for n in ("thumb", "index", "middle", "ring", "little")])
        palm = float(np.linalg.norm(rest.points["middle_mcp"] - wrist))
        return cls(
            heads=(heads - wrist) @ rest.hand,
            tips=(tips - wrist) @ rest.hand,
            axes=rest.hand,
            scale=palm / 0.09,
        )


def _posed(hand: _Hand, rotvec: Array) -> tuple[Array, Array]:
    """Joints (5, 3, 3) and tips (5, 3) with each joint turned, in hand axes."""
    local = Rotation.from_rotvec(rotvec).as_matrix().reshape(5, 3, 3, 3)
    heads = hand.heads.reshape(5, 3, 3)
    ends = np.concatenate([heads[:, 1:], hand.tips[:, None]], axis=1)
    joints, place, turn = np.empty((5, 3, 3)), heads[:, 0], np.broadcast_to(np.eye(3), (5, 3, 3))
    for j in range(3):
        joints[:, j] = place
        turn = turn @ local[:, j]
        place = place + np.einsum("fij,fj->fi", turn, ends[:, j] - heads[:, j])
    return joints, place


def _rotvecs(hand: _Hand, x: Array) -> Array:
    """From 17 joint angles to rotation vectors: fingers bend and spread, the thumb is free at its root."""
    heads, out = hand.heads.reshape(5, 3, 3), np.zeros((5, 3, 3))
    ends = np.concatenate([heads[:, 1:], hand.tips[:, None]], axis=1)
    along, palm = unit(ends - heads), np.array([0.0, 0.0, 1.0])
    bend = unit(np.cross(along, palm))
    fingers = x[:12].reshape(4, 3)  # knuckle bend, spread, middle-joint bend
    out[1:, 0] = fingers[:, :1] * bend[1:, 0] + fingers[:, 1:2] * palm
    out[1:, 1] = fingers[:, 2:] * bend[1:, 1]
    out[1:, 2] = 0.6 * fingers[:, 2:] * bend[1:, 2]
    out[0, 0] = x[12:15]
    thumb_bend = unit(np.cross(along[0], np.array([-0.6, 0.0, 0.8])))
    out[0, 1], out[0, 2] = x[15] * thumb_bend[1], x[16] * thumb_bend[2]
    return out.reshape(15, 3)


_USUAL = {  # bend of the index finger at knuckle and middle joint beyond the slack resting hand, degrees
    "flat": (8, 20),
    "spiked": (12, 70),
    "knuckled": (25, 85),
    "braced": (4, 32),
}
_THUMB_FROM_BALL = {"under": (0.15, -1.0, -0.1), "angled": (0.75, -0.75, 0.0), "side": (1.0, -0.1, 0.0)}


def hold(bodies: Bodies, which: int, grip: Grip) -> HeldBall:
    """Solve one grip for one hand by least squares on contact, usual bends and no passing through."""
    hand = _Hand.of(bodies, which)
    skin = SKIN_M * hand.scale
    touch = BALL_RADIUS_M + skin
    knuckle = hand.heads.reshape(5, 3, 3)[2, 0]
    index, middle = _USUAL[grip.index]
    usual = np.radians([index, 0, middle, 8, 0, 20, 28, -3, 40, 40, -6, 45]).astype(float)
    usual[2::3] += np.radians(grip.curl_deg)
    thumb_way = unit(np.array(_THUMB_FROM_BALL[grip.thumb]))
    seat = knuckle + np.array(grip.seat_m) * hand.scale
    tip_across = grip.offset_m + grip.spread_m * np.array([0.5, -0.5])

    def misfit(x: Array) -> Array:
        rotvec, ball = _rotvecs(hand, x[:17]), x[17:]
        joints, tips = _posed(hand, rotvec)
        off = np.linalg.norm(tips - ball, axis=1) - touch
        inside = np.minimum(np.linalg.norm(joints - ball, axis=2) - touch - 0.002, 0).ravel()
        palm_in = np.minimum(np.linalg.norm(0.6 * knuckle - ball) - touch - 0.012 * hand.scale, 0)
        thumb = (tips[0] - ball) / touch - thumb_way
        last = np.linalg.norm(joints[1:3, 2] - ball, axis=1) - touch - 0.001
        lying = [grip.index in ("flat", "braced") and grip.curl_deg < CLAWED_DEG, grip.curl_deg < CLAWED_DEG]
        return np.concatenate(
            [
                off[:3] / TOUCH_M,
                np.minimum(off[3:], 0) / TOUCH_M,
                np.maximum(off[3:4], 0) / 0.006,
                inside / TOUCH_M,
                [palm_in / TOUCH_M],
                last[lying] / 0.004,
                thumb / 0.35,
                ((tips[1:3, 0] - ball[0]) - tip_across) / 0.004,
                (x[:12] - usual) / np.where(np.arange(12) % 3 == 1, np.radians(7), BEND_RAD),
                x[12:15] / np.radians(30),
                (x[15:17] - np.radians([15, 20])) / THUMB_RAD,
                (ball - seat) / SEAT_M,
            ]
        )

    start = np.concatenate([usual, np.zeros(3), np.radians([15, 20]), seat])
    solved = least_squares(misfit, start, method="lm", max_nfev=2100)
    rotvec = _rotvecs(hand, solved.x[:17])
    return HeldBall(rotvec=rotvec @ hand.axes.T, ball=solved.x[17:])


GRIPS = 8  # baked for each body


def bake_grips(bodies: Bodies, seed: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Solve GRIPS drawn grips for every body: rotation vectors (n, g, 15, 3) and ball centres (n, g, 3)."""
    rng = np.random.default_rng(seed)
    held = [
        [hold(bodies, which, draw_grip(rng)) for _ in range(GRIPS)] for which in range(len(bodies.vertices_m))
    ]
    turns = np.array([[h.rotvec for h in row] for row in held], np.float32)
    return turns, np.array([[h.ball for h in row] for row in held], np.float32)


def load_grips(baked: Path) -> list[list[HeldBall]]:
    """The baked grips of each body, from the file beside the bodies' (`NAME.grips.npz`)."""
    with np.load(baked.with_suffix(".grips.npz")) as f:
        turns, balls = f["turns"].astype(float), f["balls"].astype(float)
    return [
        [HeldBall(rotvec=t, ball=b) for t, b in zip(ts, bs, strict=True)]
        for ts, bs in zip(turns, balls, strict=True)
    ]
