"""The sample session: clips, truth and tables of two invented athletes in an invented barn.

In:   baked bodies (of people kept out of training), a seed.
Out:  a folder with 36 clips, five odd ones beside them, and its tables and plan.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from release.workshop.barn import (
    START,
    PlannedThrow,
    draw_session,
    flight_row,
    flight_table,
    plan_toml,
    sheet_table,
)
from release.workshop.bodies import Bodies, load
from release.workshop.clips import SIZE_PX, run_all, studio_of, write_take
from release.workshop.film import Sensor, Take
from release.workshop.fingers import Grip, HeldBall, hold
from release.workshop.surface import draw_looks
from release.workshop.throwing import barn_motion
from release.workshop.thrown import Thrown, aimed
from release.workshop.truth import MIRROR, Camera, angles_deg, field_points, looking

Array = NDArray[np.float64]

FPS = 240.0
ELEVATION_DEG = {"four-seam": -1.5, "slider": -0.5}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Set:
    """Where and how one athlete is filmed."""

    which: int  # body
    look_seed: int
    scene: str
    scene_seed: int
    exposure_s: float
    light: tuple[tuple[float, ...], ...]  # see `draw_light`
    eye_m: tuple[float, float, float]  # from the release zone, y toward the open side


SETS = {
    "B-07": _Set(
        which=1,
        look_seed=12,
        scene="hall",
        scene_seed=2,
        exposure_s=1 / 2000,
        light=((0.3, -0.5, 0.81, 0.5), (0.75, 0.72, 0.66, 0.45), (0.5, 0.5, 0.52, 0.12)),
        eye_m=(1.4, 4.6, 0.1),
    ),
    "B-12": _Set(
        which=5,
        look_seed=21,
        scene="field",
        scene_seed=5,
        exposure_s=1 / 2500,
        light=((-0.2, -0.6, 0.77, 0.4), (0.8, 0.78, 0.74, 0.45), (0.42, 0.44, 0.48, 0.12)),
        eye_m=(2.6, 4.0, 0.2),
    ),
}


def _held(bodies: Bodies, which: int, pitch: str) -> HeldBall:
    slider = pitch == "slider"
    return hold(bodies, which, Grip(thumb="side" if slider else "under", offset_m=0.006 if slider else 0.0))


def thrown_of(bodies: Bodies, planned: PlannedThrow) -> Thrown:
    """The planned throw as a motion: asked angles, arm slot and ball speed.

    The wrist moves a little as the forearm's two bones turn, so angles land within a few degrees of the plan;
    the truth file holds what was rendered.
    """
    which = SETS[planned.athlete.code].which
    lean = np.radians(planned.lean_deg)
    spin = np.array([-np.cos(lean), np.sin(lean), 0.0]) * planned.spin_rpm * 2 * np.pi / 60
    wanted = {
        "wrist_flexion": planned.wrist_flexion_deg,
        "wrist_deviation": planned.wrist_deviation_deg,
        "forearm_rotation": planned.forearm_rotation_deg,
        "elbow_flexion": planned.elbow_flexion_deg,
    }
    grip, tilt, quick = _held(bodies, which, planned.pitch), 20.0, 1.2

    def tried() -> Thrown:
        motion = barn_motion(np.random.default_rng(planned.throw), wanted, tilt).quickened(quick)
        thrown = Thrown(bodies=bodies, which=which, motion=motion, grip=grip, spin=spin)
        return aimed(thrown, elevation_deg=ELEVATION_DEG[planned.pitch])

    thrown = tried()
    for _ in range(2):  # slot and speed from what the motion gives
        slot = angles_deg(field_points(thrown, "R", np.array([0.0])), "R")["arm_angle"][0]
        tilt += planned.athlete.arm_angle_deg - float(slot)
        quick *= planned.speed_m_s / float(np.linalg.norm(thrown.velocity_m_s()))
        thrown = tried()
    return thrown


def _camera(thrown: Thrown, code: str, side: str) -> Camera:
    """On a tripod on the open side, framing shoulder to fingertips at release."""
    at = field_points(thrown, side, np.array([0.0]))
    target = 0.55 * at["shoulder"][0] + 0.45 * at["ball"][0]
    target = np.round(target, 1)  # a tripod is not moved between throws
    x, y, z = SETS[code].eye_m
    eye = target + np.array([x, -y if side == "R" else y, z])
    return looking(eye, target, 720 / 1.0 * float(np.linalg.norm(eye - target)), SIZE_PX)


def _take(thrown: Thrown, planned: PlannedThrow, camera: Camera, rng: np.random.Generator) -> Take:
    stage = SETS[planned.athlete.code]
    count = int(rng.uniform(0.6, 0.75) * FPS)
    before = rng.uniform(0.55, 0.7) * count / FPS
    return Take(
        thrown=thrown,
        side=planned.athlete.throws,
        camera=camera,
        size=SIZE_PX,
        time_s=np.arange(count) / FPS - before,
        sensor=Sensor(exposure_s=stage.exposure_s, contrast=0.25),
        scene=stage.scene,
        scene_seed=stage.scene_seed,
        look=draw_looks(np.random.default_rng(stage.look_seed)),
        light=np.array(stage.light, np.float32),
    )


def _plan(baked: Path, seed: int, number: int) -> tuple[PlannedThrow, Take]:
    """Throw `number` of the session, from 1; the tripod stands where the athlete's first slider wanted it."""
    bodies, (throws, _) = load(baked), draw_session(seed)
    planned = throws[number - 1]
    first = next(t for t in throws if t.athlete == planned.athlete and t.pitch == "slider")
    side = planned.athlete.throws
    camera = _camera(thrown_of(bodies, first), planned.athlete.code, side)
    thrown = thrown_of(bodies, planned)
    return planned, _take(thrown, planned, camera, np.random.default_rng([seed, number]))


def _facts(planned: PlannedThrow) -> dict[str, object]:
    return {
        "athlete": planned.athlete.code,
        "pitch": planned.pitch,
        "cue": planned.cue or None,
        "block": planned.block,
        "true_fps": FPS,
    }


def _one(baked: Path, out: Path, seed: int, number: int) -> None:
    planned, take = _plan(baked, seed, number)
    studio = studio_of(baked, None, take.size)
    write_take(studio, take, out / f"throw_{number:02d}.mp4", planned.time, FPS, _facts(planned), crf=CRF)


def _flight(baked: Path, seed: int, number: int) -> dict[str, object]:
    """What the flight unit says of one throw."""
    planned, take = _plan(baked, seed, number)
    flip = MIRROR if take.side == "L" else np.ones(3)
    posed = take.thrown.posed(np.array([0.0]))
    palm, ball = flip[:, None] * posed.hand[0], flip * posed.points["ball"][0]
    velocity = flip * take.thrown.velocity_m_s()
    row = flight_row(planned, palm, ball, velocity, np.random.default_rng([seed, number, 1]))
    return row | {"time": planned_second(row["time"])}


def planned_second(time: object) -> object:
    """The flight unit writes whole seconds."""
    return time.replace(microsecond=0) if isinstance(time, datetime) else time


CRF = 21


def _odd(baked: Path, out: Path, seed: int, kind: str) -> None:
    """One of the clips that a session folder holds beside the throws."""
    kinds = list(ODD)
    planned, take = _plan(baked, seed, ODD[kind])
    created = START - timedelta(minutes=12) + timedelta(seconds=45 * kinds.index(kind))
    rng, facts = (
        np.random.default_rng([seed, 99, kinds.index(kind)]),
        _facts(planned) | {"cue": None, "block": None},
    )
    path, studio = out / f"{kind}.mp4", studio_of(baked, None, take.size)
    if kind == "slowed":
        write_take(studio, take, path, created, 30.0, facts, crf=CRF)
    elif kind == "turned":
        write_take(studio, take, path, created, FPS, facts, crf=CRF, rotation_deg=90)
    elif kind == "uneven":
        kept = np.sort(rng.choice(len(take.time_s), int(0.93 * len(take.time_s)), replace=False))
        shaken = take.time_s[kept] + rng.uniform(-0.3, 0.3, len(kept)) / FPS
        facts["variable_frame_rate"] = True
        write_take(studio, replace(take, time_s=shaken), path, created, FPS, facts, crf=CRF)
    elif kind == "standing":
        still = replace(take, frozen_at_s=-0.12, time_s=take.time_s[:150])
        write_take(studio, still, path, created, FPS, facts | {"pitch": None}, crf=CRF)
    else:
        write_take(studio, take, path, created, FPS, facts, crf=CRF)
        data = path.read_bytes()
        path.write_bytes(data[: len(data) * 3 // 5])  # its index stood at the end
        path.with_suffix(".truth.json").unlink()


ODD = {
    "slowed": 4,
    "turned": 9,
    "uneven": 22,
    "standing": 6,
    "cut_short": 30,
}  # kind, throw whose plan it takes


def write_session(
    baked: Path, out: Path, seed: int, *, workers: int, only: list[int] | None, clips: bool, tables: bool
) -> None:
    """Render the session into a folder.

    Args:
        baked: Bodies, of people kept out of training.
        out: The folder.
        seed: Of everything drawn.
        workers: Processes.
        only: Render only these throws and no clip beside them.
        clips: Write clips and truth.
        tables: Write sheet, flight file and plan.
    """
    out.mkdir(parents=True, exist_ok=True)
    throws, order = draw_session(seed)
    if clips:
        run_all(_one, [(baked, out, seed, n) for n in only or range(1, len(throws) + 1)], workers)
        if not only:
            run_all(_odd, [(baked, out, seed, kind) for kind in ODD], workers)
    if tables:
        rows = [_flight(baked, seed, t.throw) for t in throws]
        sheet_table(throws).to_csv(out / "sheet.csv", index=False)
        flight = flight_table(rows, np.random.default_rng([seed, 77]))
        figures = flight.select_dtypes("number").columns
        flight[figures] = flight[figures].round(3)
        flight.to_csv(out / "flight.csv", index=False)
        (out / "plan.toml").write_text(plan_toml(order, seed), encoding="utf-8")
