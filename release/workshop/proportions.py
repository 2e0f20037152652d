"""Throwing arms of other proportions than the baked ones: lengths and girths varied apart from each other.

In:   baked bodies and their grips.
Out:  the same people with upper arm, forearm and hand longer or shorter, and fuller or leaner here and there.
Why:  a picture shows how far a segment leans toward the camera by its length and girth; a reader that has
      seen few proportions learns them by heart and trusts them instead of what it sees.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from release.orientation.angles import unit
from release.workshop.bodies import Bodies
from release.workshop.fingers import HeldBall
from release.workshop.skeleton import Rest, along_segments

Array = NDArray[np.float64]

LENGTH_SD, GIRTH_SD = 0.05, 0.07  # of the logarithm; somewhat wider than people vary (from memory, no source)
# Everybody's, as the parametric model's men have them between its own joints. Its women have forearms a tenth
# shorter against hand and upper arm; upper arm over forearm is measured as 1.048 in men and 1.041 in women
# (de Leva, 1996, J Biomech 29:1223, from memory).
FORE_PER_PALM, UPPER_PER_FORE = 2.34, 1.07
# Where along the arm it is fuller or leaner by itself: 0 at the shoulder, 1 elbow, 2 wrist, 3 middle knuckle.
PLACES = (0.0, 0.5, 1.0, 1.35, 1.7, 2.0, 2.5)
TAPER_SD = (0.0, 0.05, 0.05, 0.05, 0.05, 0.05, 0.0)  # of the logarithm of the girth there
FLATTER_SD = 0.05  # of the logarithm: the wrist broader and thinner, or rounder
UPPER = ("upperarm01.R", "upperarm02.R")
FORE = ("lowerarm01.R", "lowerarm02.R")
HAND = ("wrist", "finger", "metacarpal")


def reshaped(
    bodies: Bodies, grips: list[list[HeldBall]], rng: np.random.Generator
) -> tuple[Bodies, list[list[HeldBall]]]:
    """Everybody with a throwing arm of new proportions; grips move with the hand they were solved for."""
    vertices, heads, tails = (a.copy() for a in (bodies.vertices_m, bodies.heads_m, bodies.tails_m))
    arm, held = _arm(bodies), []
    moved = np.flatnonzero(np.isin(bodies.bone_index, arm).any(1))
    for i, row in enumerate(grips):
        rest = Rest.of(bodies, i)
        lengths = _usual(rest) * np.exp(rng.normal(0, LENGTH_SD, 3))
        girths = np.exp(rng.normal(0, GIRTH_SD, 3))
        maps = _maps(bodies, arm, rest, lengths, girths)
        vertices[i, moved] = _skinned(bodies, maps, moved, vertices[i, moved])
        for ends in (heads, tails):
            ends[i] = np.einsum("bij,bj->bi", maps[:, :, :3], ends[i]) + maps[:, :, 3]
        rest = Rest.of(replace(bodies, heads_m=heads, tails_m=tails), i)
        vertices[i, moved] = tapered(
            rest, vertices[i, moved], rng.normal(0, TAPER_SD), rng.normal(0, FLATTER_SD)
        )
        across, along = lengths[2] * girths[2], lengths[2]
        held.append([replace(h, ball=h.ball * [across, along, across]) for h in row])
    return replace(bodies, vertices_m=vertices, heads_m=heads, tails_m=tails), held


def tapered(rest: Rest, points: Array, fuller: Array, flatter: float) -> Array:
    """Points of the arm's skin, at rest, moved off or toward the line from shoulder to middle knuckle.

    Args:
        rest: The arm at rest.
        points: Shape (v, 3).
        fuller: Logarithm of how much fuller the arm is at each of `PLACES`; linear in between.
        flatter: Logarithm of how much broader and, as much, thinner it is at the wrist.
    """
    joints = _joints(rest)
    segment, share = along_segments(points, joints)
    share = np.clip(share, 0, 1)
    foot = joints[segment] + share[:, None] * np.diff(joints, axis=0)[segment]
    along, off = segment + share, points - foot
    wrist = np.interp(along, (1.4, 2.0, 2.5), (0.0, flatter, 0.0))[:, None]
    broad, thin = rest.hand[:, 0], rest.hand[:, 2]
    off = (
        off
        + (off @ broad)[:, None] * np.expm1(wrist) * broad
        + (off @ thin)[:, None] * np.expm1(-wrist) * thin
    )
    return foot + off * np.exp(np.interp(along, PLACES, fuller))[:, None]


def _joints(rest: Rest) -> Array:
    return np.stack([rest.points[n] for n in ("shoulder", "elbow", "wrist", "middle_mcp")])


def _usual(rest: Rest) -> Array:
    """How much longer upper arm, forearm and hand are to be, the hand kept, for the usual proportions."""
    upper, fore, palm = np.linalg.norm(np.diff(_joints(rest), axis=0), axis=1)
    return np.array([UPPER_PER_FORE * FORE_PER_PALM * palm / upper, FORE_PER_PALM * palm / fore, 1.0])


def _arm(bodies: Bodies) -> list[int]:
    arm = tuple(name[:-2] for name in (*UPPER, *FORE)) + HAND
    return [b for b, n in enumerate(bodies.names) if n.endswith(".R") and n.startswith(arm)]


def _stretch(way: Array, along: float, across: float) -> Array:
    return across * np.eye(3) + (along - across) * np.outer(way, way)


def _maps(bodies: Bodies, arm: list[int], rest: Rest, lengths: Array, girths: Array) -> Array:
    """For each bone the (3, 4) map of its resting points; joints stay joints."""
    shoulder, elbow, wrist = (rest.points[n] for n in ("shoulder", "elbow", "wrist"))
    upper = _stretch(unit(elbow - shoulder), lengths[0], girths[0])
    fore = _stretch(unit(wrist - elbow), lengths[1], girths[1])
    hand = _stretch(rest.hand[:, 1], lengths[2], lengths[2] * girths[2])
    new_elbow = shoulder + upper @ (elbow - shoulder)
    new_wrist = new_elbow + fore @ (wrist - elbow)
    maps = np.tile(np.eye(3, 4), (len(bodies.names), 1, 1))
    for b in arm:
        name = bodies.names[b]
        turn, old, new = (
            (upper, shoulder, shoulder)
            if name in UPPER
            else (fore, elbow, new_elbow)
            if name in FORE
            else (hand, wrist, new_wrist)
        )
        maps[b] = np.concatenate([turn, (new - turn @ old)[:, None]], axis=1)
    return maps


def _skinned(bodies: Bodies, maps: Array, which: NDArray[np.int64], points: Array) -> Array:
    own = np.einsum("vk,vkij->vij", bodies.bone_weight[which], maps[bodies.bone_index[which]])
    return np.einsum("vij,vj->vi", own[:, :, :3], points) + own[:, :, 3]
