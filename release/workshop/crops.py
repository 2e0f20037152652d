"""Training pictures: many throws of many bodies seen by many cameras, each with exact truth.

In:   baked bodies with their baked grips, a count, a seed, a kind ("hand", "detail", "elbow" or "arm").
Out:  `Crops`. Backgrounds, sensor and codec are added in training (augment.py).
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from tempfile import NamedTemporaryFile

import numpy as np
from numpy.typing import NDArray

from release.landmarks.result import HAND_POINTS, Kind
from release.landmarks.track import ARM_WIDTH, UP_THE_FOREARM
from release.landmarks.view import view_rotation
from release.orientation.angles import unit
from release.orientation.kinematics import BALL_RADIUS_M
from release.workshop.bodies import Bodies, how_likely, load
from release.workshop.drawing import Shots, Studio
from release.workshop.fingers import HeldBall, load_grips, loosened
from release.workshop.proportions import reshaped
from release.workshop.result import Crops
from release.workshop.strange_throws import Strange, arm_in_sight, draw_strange
from release.workshop.surface import draw_light, draw_looks
from release.workshop.throwing import draw_motion
from release.workshop.thrown import Posed, Thrown, aimed

Array = NDArray[np.float64]

SIDE_PX = {"hand": 224, "detail": 224, "elbow": 224, "arm": 256}
GRID = {"hand": (16, 16), "detail": (16, 16), "elbow": (16, 16), "arm": (12, 12)}
SUBFRAMES = 6
# Of a picture of hand or elbow: somewhat more than the windows cut out of it.
WIDTH_M = {"hand": 0.68, "detail": 0.36, "elbow": 0.55}
PER_THROW = 16  # pictures of one drawn throw
# Share of hands' throws that show no throwing hand or none as throws have it; where that alone is taught.
STRANGE, MOSTLY_STRANGE = 0.12, 0.5
KEPT_OUT_BODIES = 20  # the last of the baked bodies: only for validation
SHARED_MEMORY = Path("/dev/shm")
STRAY_M_S = 2.0  # SD of what the last touch adds to the ball's velocity
FAR_AWAY_M = np.array([0.0, 0.0, -500.0])  # where a ball that is not there goes


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """One camera on one picture: world to camera axes, and lens in pixels of the picture."""

    axes: Array  # shape (3, 3), rows x right, y down, z away
    eye: Array  # shape (3,)
    focal_px: float
    centre_px: float


def render_crops(
    bodies: Bodies,
    grips: list[list[HeldBall]],
    count: int,
    seed: int,
    *,
    kind: Kind,
    kept_out: bool,
    strange: float = STRANGE,
) -> Crops:
    """Render training pictures in this process.

    Args:
        bodies: Baked people.
        grips: For each of them its baked grips.
        count: How many pictures.
        seed: Of everything drawn.
        kind: "hand", "detail", "elbow" or "arm".
        kept_out: Draw from the bodies kept out of training, else from all others.
        strange: Share of throws made strange, for hands.
    """
    rng = np.random.default_rng([seed, kind == "arm", kept_out])
    people = who_throws(bodies, kept_out=kept_out)
    bodies, grips = reshaped(bodies, grips, rng)
    studio = Studio(bodies, (SIDE_PX[kind], SIDE_PX[kind]), GRID[kind])
    batch, parts = GRID[kind][0] * GRID[kind][1], []
    for first in range(0, count, batch):
        parts.append(_batch(studio, bodies, grips, min(batch, count - first), people, kind, strange, rng))
    joined = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    return Crops(**joined)


def who_throws(bodies: Bodies, *, kept_out: bool) -> Array:
    """How often each of the baked people is to be drawn, shape (n,)."""
    ours = np.full(len(bodies.vertices_m), not kept_out)
    ours[-KEPT_OUT_BODIES:] = kept_out
    likely = how_likely(bodies) * ours
    return likely / likely.sum()


def _batch(
    studio: Studio, bodies: Bodies, grips, count: int, people, kind: Kind, strange_share, rng
) -> dict[str, np.ndarray]:
    shots, labels = [], []
    while len(shots) < count:
        which = int(rng.choice(len(grips), p=people))
        grip = int(rng.integers(len(grips[which])))
        motion = draw_motion(rng)
        tag = int(rng.integers(2**31 - 1))
        thrown = Thrown(
            bodies=bodies,
            which=which,
            motion=motion,
            grip=loosened(grips[which][grip], rng),
            spin=np.array([-220.0, 40.0, 0.0]),
        )
        thrown = replace(
            aimed(thrown, elevation_deg=_elevation_deg(rng)), stray_m_s=tuple(rng.normal(0, STRAY_M_S, 3))
        )
        times = _times(rng, min(PER_THROW, count - len(shots)), kind)
        look, light = draw_looks(rng), draw_light(rng)
        strange = None
        if kind == "hand" and rng.random() < strange_share:
            strange = draw_strange(thrown, look, rng)
            thrown, look = strange.thrown, strange.look
        posed = thrown.posed(_moments(times, rng))  # one pose call for every moment of the throw
        for k, shot, label in _one_throw(posed, len(times), kind, strange, rng):
            shots.append((which, look, light, *shot))
            labels.append(label | {"since_release_s": times[k], "body": which, "grip": grip, "throw": tag})
    image = studio.draw(_stack(shots))
    return _labelled(image, labels, kind, rng)


def _one_throw(posed: Posed, count: int, kind: Kind, strange: Strange | None, rng: np.random.Generator):
    """Up to `count` pictures of one throw: which, what is drawn, and what is true."""
    no_ball = rng.random() < 0.1
    for k in range(count):
        rows = slice(k * (SUBFRAMES + 1), (k + 1) * (SUBFRAMES + 1))
        if strange is None:
            shot, label = _picture(posed, rows, kind, no_ball, rng)
            yield k, shot, label | {"present": True, "strange": False}
            continue
        shot, label = _picture(strange.seen(posed, rng), rows, kind, strange.thing is None, rng)
        if strange.parts and arm_in_sight(posed, rows.start, shot[3][0], shot[4], SIDE_PX[kind]):
            continue
        label |= {"held": False, "no_ball": True}  # a thing is no ball
        yield k, shot, label | {"present": not strange.parts, "strange": True}


def _elevation_deg(rng: np.random.Generator) -> float:
    """Pitches leave about level; throws over a distance and misses do not."""
    return float(rng.normal(-1.5, 2.5) if rng.random() < 0.75 else rng.uniform(-12, 32))


def _times(rng: np.random.Generator, count: int, kind: Kind) -> Array:
    near = rng.normal(0, {"arm": 0.04, "elbow": 0.03}.get(kind, 0.015), count)
    wide = rng.uniform(-0.3, 0.25, count) if kind == "arm" else rng.uniform(-0.1, 0.06, count)
    return np.where(rng.random(count) < 0.6, near, wide)


def _moments(times: Array, rng: np.random.Generator) -> Array:
    """For each picture the middle of its exposure, then its sub-frames; one after the other."""
    exposure = 10 ** rng.uniform(np.log10(1 / 8000), np.log10(1 / 250), len(times))
    inside = (np.arange(SUBFRAMES) + 0.5) / SUBFRAMES - 0.5
    return np.concatenate([times[:, None], times[:, None] + inside * exposure[:, None]], axis=1).ravel()


def _picture(posed: Posed, rows: slice, kind: Kind, no_ball: bool, rng: np.random.Generator):
    points = {name: p[rows] for name, p in posed.points.items()}
    middle = {name: p[0] for name, p in points.items()}
    hand, held = posed.hand[rows.start], bool(posed.held[rows.start]) and not no_ball
    view = _arm_view(middle, rng) if kind == "arm" else _hand_view(middle, kind, rng)
    ball = np.broadcast_to(FAR_AWAY_M, points["ball"][1:].shape) if no_ball else points["ball"][1:]
    camera = np.concatenate([view.axes, -(view.axes @ view.eye)[:, None]], axis=1)
    seen = {name: view.axes @ (p - view.eye) for name, p in middle.items()}
    pixel = {name: view.focal_px * c[:2] / c[2] + view.centre_px for name, c in seen.items()}
    wrist = (points["wrist"][1:] - view.eye) @ view.axes.T
    path = view.focal_px * wrist[:, :2] / wrist[:, 2:]
    upper = unit(middle["elbow"] - middle["shoulder"])
    label = {
        "points_px": np.array([pixel[n] for n in HAND_POINTS]),
        "ball_radius_px": view.focal_px * BALL_RADIUS_M / seen["ball"][2],
        "held": held,
        "palm": view.axes @ hand,
        "forearm": view.axes @ unit(middle["wrist"] - middle["elbow"]),
        "upper_arm": (_through(seen["elbow"]) if kind == "arm" else np.eye(3)) @ view.axes @ upper,
        "shoulder_px": pixel["shoulder"],
        "width_m": 2 * view.centre_px / view.focal_px * seen["wrist"][2],
        "palm_px": np.linalg.norm(pixel["middle_mcp"] - pixel["wrist"]),
        "blur_px": np.linalg.norm(np.diff(path, axis=0), axis=1).sum() * SUBFRAMES / (SUBFRAMES - 1),
        "no_ball": no_ball,
    }
    lens = (view.focal_px, view.focal_px, view.centre_px, view.centre_px)
    shot = (
        posed.matrices[rows][1:],
        ball,
        posed.ball_turn[rows][1:],
        np.broadcast_to(camera, (SUBFRAMES, 3, 4)),
        lens,
    )
    return shot, label


def _through(point: Array) -> Array:
    """Rotation from camera axes to the view frame of a point in camera axes."""
    return view_rotation(point[:2] / point[2], 1.0, np.zeros(2)).T


def _eye(target: Array, rng: np.random.Generator) -> Array:
    """A camera anywhere round the thrower, 2 to 30 m away, 0.3 to 3 m up."""
    away, azimuth = 2 * 15 ** rng.uniform(0, 1), rng.uniform(0, 2 * np.pi)
    return np.array(
        [target[0] + away * np.cos(azimuth), target[1] + away * np.sin(azimuth), rng.uniform(0.3, 3)]
    )


def _axes(z: Array, up: Array, roll_rad: float) -> Array:
    """Camera rows with `up` upward in the picture, then rolled."""
    x = unit(np.cross(z, up))
    y = np.cross(z, x)
    c, s = np.cos(roll_rad), np.sin(roll_rad)
    return np.stack([c * x + s * y, c * y - s * x, z])


def _hand_view(points: dict[str, Array], kind: Kind, rng: np.random.Generator) -> _View:
    wrist, elbow = points["wrist"], points["elbow"]
    middle = {
        "hand": wrist,
        "detail": (wrist + points["middle_mcp"]) / 2,
        "elbow": elbow + UP_THE_FOREARM * (wrist - elbow),
    }[kind]
    eye = _eye(wrist, rng)
    side, width_m = SIDE_PX[kind], WIDTH_M[kind] * rng.uniform(0.9, 1.1)
    z = unit(middle - eye)
    shift = rng.normal(0, 0.05, 2) * width_m
    x, y = _axes(z, np.array([0.0, 0.0, 1.0]), 0.0)[:2]
    z = unit(middle + shift[0] * x + shift[1] * y - eye)
    forearm = wrist - elbow
    flat = forearm - (forearm @ z) * z
    if np.linalg.norm(flat) < 0.15 * np.linalg.norm(forearm):  # points at the camera: no up to turn to
        flat = unit(rng.normal(size=3))
    axes = _axes(z, flat, np.radians(rng.normal(0, 10)))
    return _View(
        axes=axes, eye=eye, focal_px=side * float(np.linalg.norm(middle - eye)) / width_m, centre_px=side / 2
    )


def _arm_view(points: dict[str, Array], rng: np.random.Generator) -> _View:
    """Four of ten show the whole body, as a first look does; the others the arm, as a closer one does."""
    side = SIDE_PX["arm"]
    arm = np.array([points[n] for n in ("shoulder", "elbow", "wrist")])
    whole = rng.random() < 0.4
    body = np.array([*arm, points["middle_tip"], points["head"], points["shoulder"] * [1, 1, 0.05]])
    target = (body if whole else arm).mean(0)
    eye = _eye(target, rng)
    axes = _axes(unit(target - eye), np.array([0.0, 0.0, 1.0]), np.radians(rng.normal(0, 3)))
    if whole:
        seen = (body - eye) @ axes.T
        spread, fill = np.abs(seen[:, :2] / seen[:, 2:]).max(), rng.uniform(0.3, 0.95)
        slack = (1 - fill) * 0.9
    else:
        length = np.linalg.norm(np.diff(arm, axis=0), axis=1).sum()
        spread, slack = ARM_WIDTH / 2 * length / np.linalg.norm(target - eye), 0.2
        fill = np.exp(rng.normal(0.1, 0.2))
    focal = fill * side / 2 / spread
    turn = rng.uniform(-1, 1, 2) * slack * np.arctan(side / 2 / focal)
    z = unit(axes[2] + np.tan(turn[0]) * axes[0] + np.tan(turn[1]) * axes[1])
    return _View(axes=_axes(z, -axes[1], 0.0), eye=eye, focal_px=float(focal), centre_px=side / 2)


def _stack(shots: list[tuple]) -> Shots:
    which, look, light, matrices, ball, turn, camera, lens = zip(*shots, strict=True)
    return Shots(
        which=np.array(which, np.int32),
        matrices=np.array(matrices, np.float32),
        ball_m=np.array(ball, np.float32),
        ball_turn=np.array(turn, np.float32),
        camera=np.array(camera, np.float32),
        lens=np.array(lens, np.float32),
        looks=np.array(look, np.float32),
        light=np.array(light, np.float32),
    )


def _labelled(
    image: NDArray[np.uint8], labels: list[dict], kind: Kind, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    column = {name: np.array([row[name] for row in labels]) for name in labels[0]}
    count, side = len(labels), SIDE_PX[kind]
    right = rng.random(count) < 0.5 if kind == "arm" else np.ones(count, bool)
    image = image.copy()
    image[~right] = image[~right][:, :, ::-1]
    flip = np.where(right, 1.0, -1.0)
    for name in ("points_px", "shoulder_px"):
        column[name][~right, ..., 0] = side - column[name][~right, ..., 0]
    for name in ("forearm", "upper_arm"):
        column[name][:, 0] *= flip
    column["palm"][:, 0] *= flip[:, None]
    no_ball = column.pop("no_ball")
    inside = (column["points_px"] >= 0) & (column["points_px"] < side)
    visible = np.asarray(inside.all(-1))
    visible[:, HAND_POINTS.index("ball")] &= ~no_ball
    types = {
        "held": bool,
        "present": bool,
        "strange": bool,
        "body": np.int16,
        "grip": np.int16,
        "throw": np.int32,
    }
    found = {name: values.astype(types.get(name, np.float32)) for name, values in column.items()}
    return found | {"image": image, "visible": visible, "right": right}


def render_many(
    baked: Path,
    count: int,
    seed: int,
    *,
    kind: Kind,
    kept_out: bool,
    workers: int,
    strange: float = STRANGE,
    prepare: tuple[Callable[[str], None], str] | None = None,
) -> Crops:
    """`render_crops` in several processes; the same pictures for the same seed and number of workers.

    `prepare`, a function and what it is given, is called in each process first.
    """
    ends = np.linspace(0, count, workers + 1).astype(int)
    shape = (count, SIDE_PX[kind], SIDE_PX[kind], 4)
    with NamedTemporaryFile(dir=SHARED_MEMORY if SHARED_MEMORY.is_dir() else None) as file:
        image = np.memmap(file.name, np.uint8, "w+", shape=shape)  # pickling so many would take minutes
        tasks: list[tuple[Path, str, tuple[int, ...], int, int, int, Kind, bool, float]] = [
            (baked, file.name, shape, int(a), int(b), seed * 1000 + i, kind, kept_out, strange)
            for i, (a, b) in enumerate(pairwise(ends))
        ]
        if workers == 1 and prepare is None:
            labels = [_share(*tasks[0])]
        else:
            first, given = (prepare[0], prepare[1:]) if prepare else (None, ())
            with get_context("spawn").Pool(workers, first, given) as pool:
                labels = pool.starmap(_share, tasks, chunksize=1)
    joined = {name: np.concatenate([part[name] for part in labels]) for name in labels[0]}
    return Crops(image=image, **joined)


def _share(
    baked: Path,
    file: str,
    shape: tuple[int, ...],
    first: int,
    end: int,
    seed: int,
    kind: Kind,
    kept_out: bool,
    strange: float,
) -> dict[str, np.ndarray]:
    """Render one process's share into the shared pictures; answers its labels."""
    bodies, grips = load(baked), load_grips(baked)
    crops = render_crops(bodies, grips, end - first, seed, kind=kind, kept_out=kept_out, strange=strange)
    np.memmap(file, np.uint8, "r+", shape=shape)[first:end] = crops.image
    return {f.name: getattr(crops, f.name) for f in fields(crops) if f.name != "image"}
