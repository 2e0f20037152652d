"""A baked body put into a pose: rotations of bones in, bone matrices and joint centres out.

In:   the world rotation of some bones over t times; all others move with the bone above them.
Out:  for each bone the 3 x 4 matrix that moves a point of the resting body into the world.
Why:  what stays at rest needs no angle; the arm's rotations come from the angles of definitions, not from
      the rig's own axes.

At rest the body faces -y with its right hand at -x. Only right-handers are posed: a left-hander is the
mirror picture.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.orientation.angles import palm_frame, unit
from release.workshop.bodies import Bodies

Array = NDArray[np.float64]

TO_FIELD = np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1]], float)  # facing -y to facing home plate (+x)
HAND_HEADS = {
    "index_mcp": "finger2-1.R",
    "middle_mcp": "finger3-1.R",
    "ring_mcp": "finger4-1.R",
    "little_mcp": "finger5-1.R",
    "thumb_mcp": "finger1-2.R",
}
TIPS = {"thumb": 1, "index": 2, "middle": 3, "ring": 4, "little": 5}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """The right arm of one body at rest: joint centres and frames."""

    points: dict[str, Array]  # each shape (3,)
    hand: Array  # shape (3, 3), columns r_h, d_h, p
    forearm_rotation_rad: float
    elbow_frame: Array  # shape (3, 3), columns bend direction, hinge, upper arm

    @classmethod
    def of(cls, bodies: Bodies, which: int) -> "Rest":
        head = {name: bodies.heads_m[which, i].astype(float) for i, name in enumerate(bodies.names)}
        tail = {name: bodies.tails_m[which, i].astype(float) for i, name in enumerate(bodies.names)}
        points = {name: head[bone] for name, bone in HAND_HEADS.items()}
        points |= {
            "shoulder": head["upperarm01.R"],
            "elbow": head["lowerarm01.R"],
            "wrist": head["wrist.R"],
        }
        for name, finger in TIPS.items():  # tips lie 5 mm inside the end of the finger
            end, before = tail[f"finger{finger}-3.R"], head[f"finger{finger}-3.R"]
            points[f"{name}_tip"] = end - 0.005 * unit(end - before)
        hand = palm_frame(
            points["wrist"], points["index_mcp"], points["middle_mcp"], points["little_mcp"], "R"
        )
        upper = unit(points["elbow"] - points["shoulder"])
        fore = unit(points["wrist"] - points["elbow"])
        bend = unit(fore - (fore @ upper) * upper)
        q = unit(-upper + (upper @ fore) * fore)
        r = hand[:, 0] - (hand[:, 0] @ fore) * fore
        return cls(
            points=points,
            hand=hand,
            forearm_rotation_rad=float(np.arctan2(r @ np.cross(q, fore), r @ q)),
            elbow_frame=np.stack([bend, np.cross(upper, bend), upper], axis=1),
        )


def along_segments(points: NDArray[np.floating], joints: Array) -> tuple[NDArray[np.int64], Array]:
    """Which of the lines from joint to joint (j, 3) each point (n, 3) is nearest to, and where along it.

    Returns:
        The line's index, shape (n,), and the share of its length: below 0 before its start, above 1 beyond.
    """
    best, share = np.full(len(points), np.inf), np.zeros(len(points))
    segment = np.zeros(len(points), np.int64)
    for k in range(len(joints) - 1):
        way = joints[k + 1] - joints[k]
        t = (points - joints[k]) @ way / (way @ way)
        off = np.linalg.norm(points - joints[k] - np.clip(t, 0, 1)[:, None] * way, axis=1)
        nearer = off < best
        segment, share = np.where(nearer, k, segment), np.where(nearer, t, share)
        best = np.minimum(off, best)
    return segment, share


def arm_rotations(
    rest: Rest,
    elbow_frame: Array,
    elbow_flexion_rad: Array,
    forearm_rotation_rad: Array,
    wrist_deviation_rad: Array,
    wrist_flexion_rad: Array,
) -> tuple[dict[str, Array], Array]:
    """World rotations of the right arm's bones that give exactly the asked angles of definitions.

    Args:
        rest: The body at rest.
        elbow_frame: Shape (t, 3, 3), columns: the way the elbow bends, its hinge, the upper arm.
        elbow_flexion_rad: Shape (t,), as are the others; pronation, ulnar deviation, flexion positive.

    Returns:
        Rotation of each bone, shape (t, 3, 3), and the hand's axes r_h, d_h, p, shape (t, 3, 3).
    """
    bend, upper = elbow_frame[..., 0], elbow_frame[..., 2]
    c, s = np.cos(elbow_flexion_rad)[:, None], np.sin(elbow_flexion_rad)[:, None]
    fore = c * upper + s * bend
    q = -s * upper + c * bend  # square to the forearm, the way it would bend on
    m = np.cross(q, fore)
    hand = _hand(fore, q, m, forearm_rotation_rad, wrist_deviation_rad, wrist_flexion_rad)
    rest_fore = unit(rest.points["wrist"] - rest.points["elbow"])
    rest_upper = rest.elbow_frame[:, 2]
    rest_q = unit(-rest_upper + (rest_upper @ rest_fore) * rest_fore)
    rest_m = np.cross(rest_q, rest_fore)
    turn = forearm_rotation_rad - rest.forearm_rotation_rad
    rest_frame = np.stack([rest_q, rest_m, rest_fore], axis=1)
    rotations = {"upperarm02.R": elbow_frame @ rest.elbow_frame.T}
    for bone, share in (("lowerarm01.R", 0.25), ("lowerarm02.R", 0.7)):
        a = (turn * share)[:, None]
        frame = np.stack([np.cos(a) * q + np.sin(a) * m, np.cos(a) * m - np.sin(a) * q, fore], axis=-1)
        rotations[bone] = frame @ rest_frame.T
    rotations["wrist.R"] = hand @ rest.hand.T
    return rotations, hand


def _hand(fore: Array, q: Array, m: Array, rotation: Array, deviation: Array, flexion: Array) -> Array:
    """Hand axes with the asked angles: two known directions, in hand axes and in the world."""
    a = np.sin(deviation)
    along = np.stack([a, np.cos(deviation) * np.cos(flexion), -np.cos(deviation) * np.sin(flexion)], -1)
    radial = unit(np.array([1.0, 0, 0]) - a[:, None] * along)
    radial_world = np.cos(rotation)[:, None] * q + np.sin(rotation)[:, None] * m
    world = np.stack([fore, radial_world, np.cross(fore, radial_world)], axis=-1)
    own = np.stack([along, radial, np.cross(along, radial)], axis=-1)
    return world @ own.swapaxes(-1, -2)


def bone_matrices(
    bodies: Bodies, which: int, world: Mapping[str, Array], root_m: Array, root_turn: Array
) -> Array:
    """Matrices that move a resting point into the world.

    Args:
        bodies: The baked people.
        which: One of them.
        world: World rotation of some bones, each (t, 3, 3).
        root_m: Shape (t, 3), where the root bone's head goes.
        root_turn: Shape (t, 3, 3), its rotation.

    Returns:
        Shape (t, b, 3, 4).
    """
    t, heads = len(root_m), bodies.heads_m[which].astype(float)
    matrices = np.empty((t, len(heads), 3, 4))
    for b, (name, parent) in enumerate(zip(bodies.names, bodies.parents, strict=True)):
        if parent < 0:
            turn, place = root_turn, root_m
        else:
            above = matrices[:, parent]
            turn = world.get(name, above[:, :, :3])
            place = above[:, :, :3] @ heads[b] + above[:, :, 3]
        matrices[:, b, :, :3] = turn
        matrices[:, b, :, 3] = place - turn @ heads[b]
    return matrices


def moved(matrices: Array, bone: int, point: Array) -> Array:
    """Where a resting point fixed to a bone is, shape (t, 3)."""
    return matrices[:, bone, :, :3] @ point + matrices[:, bone, :, 3]
