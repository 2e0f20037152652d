"""One throw of one body: bone matrices, joint centres and ball over time, with exact truth.

In:   a baked body, a motion, a held ball.
Out:  for any times, what is drawn (bone matrices, the ball's place and turn) and what is true.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.orientation.angles import unit
from release.workshop.bodies import Bodies
from release.workshop.fingers import JOINTS, HeldBall
from release.workshop.skeleton import (
    HAND_HEADS,
    TIPS,
    TO_FIELD,
    Rest,
    arm_rotations,
    bone_matrices,
    moved,
)
from release.workshop.throwing import Motion

Array = NDArray[np.float64]

GRAVITY_M_S2 = 9.80665
MOST_SHIFT_DEG = 25.0  # of shoulder rotation, to throw higher or lower
MOST_ROTATION_DEG = 195.0  # external rotation that a throwing shoulder, trunk included, reaches
TIP_BONES = {name: f"finger{f}-3.R" for name, f in TIPS.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Posed:
    """A throw at t times. Field frame, metres; right-handed."""

    matrices: Array  # shape (t, b, 3, 4)
    points: dict[str, Array]  # joint centres, tips and the ball, each (t, 3)
    hand: Array  # shape (t, 3, 3), columns r_h, d_h, p
    ball_turn: Array  # shape (t, 3, 3)
    held: NDArray[np.bool_]  # shape (t,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Thrown:
    """One throw that can be posed at any time."""

    bodies: Bodies
    which: int
    motion: Motion
    grip: HeldBall
    spin: Array  # shape (3,), rad/s in hand axes at release
    heading_rad: float = 0.0  # the whole throw turned about the vertical
    stray_m_s: tuple[float, float, float] = (0.0, 0.0, 0.0)  # what the last touch adds to the ball's velocity

    def velocity_m_s(self) -> Array:
        """The ball's velocity at release, by central difference of its path in the hand."""
        h = 2e-4
        path = self._arm(np.array([-h, 0.0]))[3]
        return (path[1] - path[0]) / h + self.stray_m_s

    def posed(self, time_s: Array) -> Posed:
        """Pose at some times since release."""
        matrices, points, hand, held_ball = self._arm(time_s)
        at_release = self._arm(np.array([0.0]))
        flown = np.maximum(time_s, 0.0)[:, None]
        flight = at_release[3] + self.velocity_m_s() * flown - [0, 0, GRAVITY_M_S2 / 2] * flown**2
        held = time_s <= 0
        points["ball"] = np.where(held[:, None], held_ball, flight)
        spin_turn = Rotation.from_rotvec(flown * (at_release[2][0] @ self.spin)).as_matrix()
        turn = np.where(held[:, None, None], hand, spin_turn @ at_release[2])
        return Posed(matrices=matrices, points=points, hand=hand, ball_turn=turn, held=held)

    def _arm(self, time_s: Array) -> tuple[Array, dict[str, Array], Array, Array]:
        rest = Rest.of(self.bodies, self.which)
        turns = _trunk_turns(self.motion, time_s, self.heading_rad)
        frame = _elbow_frame(self.motion, turns["spine01"], time_s)
        joints = (
            np.radians(self.motion.at(name, time_s))
            for name in ("elbow_flexion", "forearm_rotation", "wrist_deviation", "wrist_flexion")
        )
        arm, hand = arm_rotations(rest, frame, *joints)
        world = turns | arm | _upper_arm_start(rest, turns["spine01"], frame)
        world |= self._fingers(time_s, arm["wrist.R"]) | _other_limbs(
            self.bodies, self.which, self.motion, turns, time_s
        )
        root = _root_m(self.bodies, self.which, self.motion, time_s, self.heading_rad)
        matrices = bone_matrices(self.bodies, self.which, world, root, turns["root"])
        points = self._points(rest, matrices)
        slid = self.grip.ball + self._slide(time_s)
        ball = points["wrist"] + np.einsum("tij,tj->ti", hand, slid)
        return matrices, points, hand, ball

    def _slide(self, time_s: Array) -> Array:
        """How far the ball has rolled along the fingers, in hand axes: from rest to leaving, quadratic."""
        share = np.clip(1 + time_s / self.motion.slide_s, 0, None) ** 2
        return self.motion.slide_m * share[:, None] * unit(np.array([0.05, 0.85, 0.5]))

    def _fingers(self, time_s: Array, wrist: Array) -> dict[str, Array]:
        """Fingers hold, give way while the ball rolls off them, and open after it has gone."""
        rolling = np.clip(1 + time_s / self.motion.slide_s, 0, 1)
        after, give = np.clip(time_s / self.motion.opening_s, 0, 1), self.motion.finger_give
        open_share = give * rolling + (self.motion.finger_opening - give) * after
        found: dict[str, Array] = {}
        for j, name in enumerate(JOINTS):
            above = wrist if name[8] == "1" else found[f"{name[:8]}{int(name[8]) - 1}.R"]
            slack = 1 - (0.3 if name[6] == "1" else 1) * open_share
            local = Rotation.from_rotvec(slack[:, None] * self.grip.rotvec[j]).as_matrix()
            found[name] = above @ local
        return found

    def _points(self, rest: Rest, matrices: Array) -> dict[str, Array]:
        bone = self.bodies.bone
        places = {"shoulder": "upperarm01.R", "elbow": "lowerarm01.R", "wrist": "wrist.R"} | HAND_HEADS
        points = {name: moved(matrices, bone(b), rest.points[name]) for name, b in places.items()}
        for name, b in TIP_BONES.items():
            points[f"{name}_tip"] = moved(matrices, bone(b), rest.points[f"{name}_tip"])
        heads = self.bodies.heads_m[self.which].astype(float)
        points["head"] = moved(matrices, bone("head"), heads[bone("head")] + [0, -0.03, 0.09])
        return points


def _about(axis: int, deg: Array) -> Array:
    rotvec = np.zeros((len(deg), 3))
    rotvec[:, axis] = np.radians(deg)
    return Rotation.from_rotvec(rotvec).as_matrix()


def _trunk_turns(motion: Motion, t: Array, heading_rad: float) -> dict[str, Array]:
    """World rotations from the root up the spine: pelvis below, trunk above, even steps between."""
    heading = np.degrees(heading_rad)
    pelvis_turn, trunk_turn = motion.at("pelvis_turn", t), motion.at("trunk_turn", t)
    lean, tilt = motion.at("lean", t), motion.at("tilt", t) * motion.tilt_deg
    turns = {}
    bones = ("root", "spine05", "spine04", "spine03", "spine02", "spine01")
    for name, share in zip(bones, (0.0, 0.1, 0.35, 0.6, 0.85, 1.0), strict=True):
        turn = heading + pelvis_turn + share * (trunk_turn - pelvis_turn)
        upright = 0.3 + 0.7 * share
        turns[name] = (
            _about(2, turn) @ _about(1, lean * upright) @ _about(0, -tilt * (0.15 + 0.85 * share)) @ TO_FIELD
        )
    turns["neck01"] = _about(2, heading + 0.5 * trunk_turn) @ _about(1, 0.5 * lean) @ TO_FIELD
    turns["head"] = (
        _about(2, heading + np.clip(trunk_turn, -70, 25) * 0.35) @ _about(1, 0.35 * lean) @ TO_FIELD
    )
    return turns


def _elbow_frame(motion: Motion, trunk: Array, t: Array) -> Array:
    """Columns: the way the elbow bends, its hinge, the upper arm; from the shoulder's three angles."""
    e, h, r = (np.radians(motion.at(name, t)) for name in ("elevation", "abduction", "rotation"))
    zero = np.zeros_like(e)
    upper = np.stack([np.sin(e) * np.sin(h), -np.sin(e) * np.cos(h), -np.cos(e)], -1)
    forward = np.stack([np.cos(h), np.sin(h), zero], -1)
    up = np.cross(upper, forward)
    bend = np.cos(r)[:, None] * forward + np.sin(r)[:, None] * up
    own = np.stack([bend, np.cross(upper, bend), upper], -1)
    return trunk @ TO_FIELD.T @ own


def _least_turn(a: Array, b: Array) -> Array:
    """The smallest rotations that take directions a to b, shape (t, 3, 3)."""
    cross, dot = np.cross(a, b), (a * b).sum(-1)
    angle = np.arctan2(np.linalg.norm(cross, axis=-1), dot)
    norm = np.maximum(np.linalg.norm(cross, axis=-1, keepdims=True), 1e-9)
    return Rotation.from_rotvec(cross / norm * angle[:, None]).as_matrix()


def _upper_arm_start(rest: Rest, trunk: Array, frame: Array) -> dict[str, Array]:
    """The shoulder end of the upper arm takes less than half of its turn; the collar bone a little."""
    upper = frame[..., 2]
    hanging = trunk @ rest.elbow_frame[:, 2]
    swing = _least_turn(hanging, upper) @ trunk
    twist = Rotation.from_matrix(frame @ rest.elbow_frame.T @ swing.swapaxes(-1, -2)).as_rotvec()
    collar = Rotation.from_rotvec(
        0.25 * Rotation.from_matrix(_least_turn(hanging, upper)).as_rotvec()
    ).as_matrix()
    return {
        "clavicle.R": collar @ trunk,
        "upperarm01.R": Rotation.from_rotvec(0.4 * twist).as_matrix() @ swing,
    }


def _other_limbs(
    bodies: Bodies, which: int, motion: Motion, turns: dict[str, Array], t: Array
) -> dict[str, Array]:
    """Glove arm and legs: plausible, not exact; no truth is asked of them."""
    head = {n: bodies.heads_m[which, i].astype(float) for i, n in enumerate(bodies.names)}
    found: dict[str, Array] = {}

    def aim(bone: str, end: str, base: Array, way: Array) -> Array:
        rest_way = unit(head[end] - head[bone])
        return _least_turn(base @ rest_way, unit(way)) @ base

    trunk = turns["spine01"]
    facing = trunk @ TO_FIELD.T
    e, h = np.radians(motion.left_arm)
    set_share = np.clip((-0.35 - t) / 0.25, 0, 1)[:, None]
    glove = np.array([np.sin(e) * np.sin(h), np.sin(e) * np.cos(h), -np.cos(e)])
    reach = np.clip(1 - np.abs(t + 0.17) / 0.14, 0, 1)[:, None]  # toward the plate at foot contact
    way = np.einsum("tij,tj->ti", facing, (1 - set_share) * glove + set_share * np.array([0.25, 0.35, -0.9]))
    way = unit((1 - reach) * way + reach * np.array([0.9, 0.1, -0.25]))
    found["upperarm01.L"] = aim("upperarm01.L", "lowerarm01.L", trunk, way)
    bend = np.einsum("tij,j->ti", facing, np.array([0.6, -0.55, 0.6]))
    found["lowerarm01.L"] = aim("lowerarm01.L", "wrist.L", found["upperarm01.L"], way * 0.35 + bend)
    late = np.clip((t + 0.5) / 0.33, 0, 1)[:, None]
    lift = np.clip(1 - np.abs(t + 0.5) / 0.28, 0, 1)[:, None]
    pelvis, out = turns["root"], motion.stride / 0.6
    plate = np.array([1.0, 0, 0])
    down = np.array([0.0, 0.0, -1.0])
    lead = (
        down * (1 - 0.35 * late)
        + 0.75 * out * late * plate
        + lift * (np.einsum("tij,j->ti", pelvis @ TO_FIELD.T, np.array([1.1, 0.0, 1.1])))
    )
    shank = down + lift * 0.1 + 0.12 * late * plate
    drive = down * (1 - 0.2 * late) - 0.6 * out * late * plate
    drive_shank = down * (1 - 0.45 * late) - 0.85 * late * plate
    for side, thigh, below in (("L", lead, shank), ("R", drive, drive_shank)):
        found[f"upperleg01.{side}"] = aim(f"upperleg01.{side}", f"lowerleg01.{side}", pelvis, thigh)
        found[f"lowerleg01.{side}"] = aim(
            f"lowerleg01.{side}", f"foot.{side}", found[f"upperleg01.{side}"], below
        )
    return found


def _root_m(bodies: Bodies, which: int, motion: Motion, t: Array, heading_rad: float) -> Array:
    """The pelvis travels toward the plate with the stride and sinks as the legs part."""
    body = bodies.vertices_m[which]
    height, sole = float(np.ptp(body[:, 2])), float(body[:, 2].min())
    stand = float(bodies.heads_m[which, 0, 2]) - sole
    late = np.clip((t + 0.5) / 0.42, 0, 1)
    go = late**2 * (3 - 2 * late)
    x = 0.1 + go * motion.stride * height * 0.85 + 0.25 * np.clip(t, 0, 0.3)
    z = stand * (1 - 0.17 * go * motion.stride / 0.6)
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    return np.stack([c * x, s * x, z], -1)


def aimed(thrown: Thrown, heading_deg: float = 0.0, elevation_deg: float | None = None) -> Thrown:
    """The same throw with the ball leaving at `heading_deg` (0: the plate) and, where given, this elevation.

    The throw is turned about the vertical; the height comes from releasing the ball earlier or later in the
    shoulder's rotation, and from the trunk's lean.
    """
    if elevation_deg is not None:
        thrown = _levelled(thrown, elevation_deg)
    velocity = thrown.velocity_m_s()
    turn = np.radians(heading_deg) - np.arctan2(velocity[1], velocity[0])
    return replace(thrown, heading_rad=thrown.heading_rad + turn)


def _levelled(thrown: Thrown, elevation_deg: float) -> Thrown:
    """Shift shoulder rotation and lean, within what a body does, until the ball leaves at this elevation."""
    start, shift, slope = thrown.motion, 0.0, 1.0
    most = min(MOST_SHIFT_DEG, MOST_ROTATION_DEG - float(start.curves["rotation"].max()))
    before: tuple[float, float] | None = None
    for _ in range(4):
        motion = start.shifted("rotation", shift).shifted("lean", -0.5 * shift)
        thrown = replace(thrown, motion=motion)
        velocity = thrown.velocity_m_s()
        error = elevation_deg - float(np.degrees(np.arcsin(velocity[2] / np.linalg.norm(velocity))))
        if before is not None and abs(shift - before[0]) > 0.1:
            slope = float(np.clip((before[1] - error) / (shift - before[0]), 0.4, 2.5))
        before = (shift, error)
        if abs(error) < 0.3:
            break
        shift = float(np.clip(shift + error / slope, -MOST_SHIFT_DEG, max(most, 0.0)))
    return thrown
