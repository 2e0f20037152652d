"""Random clips of throws with truth: any body, motion, camera, scene, light and phone.

In:   baked bodies, a seed.
Out:  clips and truth files in a folder; with several cameras, the same throw from each of them; with several
      throws, the same pitcher's, filmed from the same place.
"""

import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from release.workshop.bodies import Bodies, load
from release.workshop.crops import who_throws
from release.workshop.drawing import Studio
from release.workshop.film import FILM_GRID, Sensor, Take, encode, frames
from release.workshop.fingers import HeldBall, load_grips
from release.workshop.proportions import reshaped
from release.workshop.surface import draw_light, draw_looks
from release.workshop.throwing import draw_motion
from release.workshop.thrown import Thrown, aimed
from release.workshop.truth import Camera, field_points, looking, truth_of

Array = NDArray[np.float64]

SIZE_PX = (1280, 720)
RESHAPED = 1  # the stream of a seed's random numbers that proportions come from
FIRST_DAY = datetime(2026, 5, 1, 14, 0, tzinfo=UTC)
PALM_M = 0.09


@lru_cache(maxsize=1)
def people(baked: Path, seed: int | None) -> tuple[Bodies, list[list[HeldBall]]]:
    """The baked bodies and their grips, for each process once; with a seed their arms are reshaped."""
    found = load(baked), load_grips(baked)
    return found if seed is None else reshaped(*found, np.random.default_rng([seed, RESHAPED]))


@lru_cache(maxsize=1)
def studio_of(baked: Path, seed: int | None, size: tuple[int, int]) -> Studio:
    """One renderer for each process."""
    return Studio(people(baked, seed)[0], size, FILM_GRID)


def view_name(eye: Array, place: Array, side: str) -> str:
    """Rough place of a camera, as the truth files name it."""
    away = eye - place
    open_side = -away[1] if side == "R" else away[1]
    deg = np.degrees(np.arctan2(open_side, away[0]))
    if abs(deg) < 25:
        return "front_long"
    if abs(deg) > 155:
        return "behind_mound"
    if 65 <= abs(deg) <= 115:
        return "side_open" if deg > 0 else "side_closed"
    return "three_quarter_front" if abs(deg) < 65 else "three_quarter_back"


def draw_camera(thrown: Thrown, side: str, whole: bool, rng: np.random.Generator, size=SIZE_PX) -> Camera:
    """A camera that frames the release zone or the whole body, from anywhere round the thrower."""
    at = field_points(thrown, side, np.array([0.0]))
    shoulder, ball = at["shoulder"][0], at["ball"][0]
    target = shoulder * [1, 1, 0.75] if whole else 0.45 * shoulder + 0.55 * ball
    away, heading = rng.uniform(4, 14) if whole else rng.uniform(2.5, 9), rng.uniform(0, 2 * np.pi)
    flat = np.array([np.cos(heading), np.sin(heading)]) * away
    eye = np.array([target[0] + flat[0], target[1] + flat[1], rng.uniform(0.5, 2.6)])
    palm_px = rng.uniform(15, 26) if whole else rng.uniform(50, 125)
    return looking(
        eye, target, palm_px / PALM_M * float(np.linalg.norm(eye - target)), size, rng.normal(0, 1.5)
    )


def draw_throw(baked: Path, seed: int | None, rng: np.random.Generator, kept_out: bool) -> tuple[Thrown, str]:
    """A throw of a drawn person within the wider set of release angles, and its side."""
    bodies, grips = people(baked, seed)
    which = int(rng.choice(len(grips), p=who_throws(bodies, kept_out=kept_out)))
    wanted = {"wrist_flexion": rng.uniform(-40, 30), "forearm_rotation": rng.uniform(-70, 50)}
    grip = grips[which][int(rng.integers(len(grips[which])))]
    spin = np.array([-rng.uniform(120, 260), rng.uniform(-60, 120), 0])
    thrown = Thrown(bodies=bodies, which=which, motion=draw_motion(rng, wanted), grip=grip, spin=spin)
    thrown = aimed(thrown, elevation_deg=rng.normal(-1.5, 2))
    speed = float(np.linalg.norm(thrown.velocity_m_s()))
    thrown = replace(
        thrown, motion=thrown.motion.quickened(float(np.clip(rng.uniform(22, 41) / speed, 0.8, 1.6)))
    )
    return thrown, "R" if rng.random() < 0.6 else "L"


def draw_sensor(rng: np.random.Generator) -> Sensor:
    """A phone in good to poor light."""
    return Sensor(
        exposure_s=float(10 ** rng.uniform(np.log10(1 / 5000), np.log10(1 / 500))),
        gain=float(rng.uniform(0.7, 1.3)),
        shot_noise=float(10 ** rng.uniform(-4.2, -2.8)),
        read_noise=float(rng.uniform(0.001, 0.01)),
        flicker=float(rng.uniform(0, 0.15) if rng.random() < 0.3 else 0),
        flicker_hz=float(rng.choice([100.0, 120.0])),
        contrast=float(rng.uniform(0, 0.6)),
        blur_px=float(rng.uniform(0.3, 1.2)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked of a folder of clips."""

    baked: Path
    out: Path
    seed: int
    cameras: int  # that film each throw
    throws: int  # of each drawn pitcher, from the same place
    kept_out: bool
    tiny: bool


def _bystander(wanted: Wanted, take: Take, rng: np.random.Generator) -> Take:
    """Somebody who stands behind the thrower, as seen by the take's camera."""
    thrown, side = draw_throw(wanted.baked, wanted.seed, rng, kept_out=False)
    away = take.camera.R[2] * [1, 1, 0]
    across = np.array([-away[1], away[0], 0.0])
    place = rng.uniform(1.2, 4) * away + rng.uniform(-1.5, 1.5) * across
    camera = replace(take.camera, t=take.camera.t + take.camera.R @ place)
    return replace(
        take,
        thrown=thrown,
        side=side,
        camera=camera,
        look=draw_looks(rng),
        time_s=np.zeros(1),
        frozen_at_s=float(rng.uniform(-1, 0.3)),
    )


def write_take(
    studio: Studio, take: Take, path: Path, created: datetime, stored_fps: float, facts: dict, **encoding
) -> None:
    """Render and encode one take, and write its truth beside it."""
    true_s = take.time_s - take.time_s[0]
    true_fps = (len(true_s) - 1) / true_s[-1]
    nominal = facts.pop("true_fps", round(float(true_fps), 3))
    uneven = bool(facts.pop("variable_frame_rate", False))
    stamps = true_s if uneven else np.arange(len(true_s)) / stored_fps
    encode(frames(take, studio), path, stamps_s=stamps, created=created, **encoding)
    thrown = take.frozen_at_s is None
    truth = {
        "clip": path.name,
        "width": take.size[0],
        "height": take.size[1],
        "n_frames": len(true_s),
        "true_fps": nominal,
        "stored_fps": stored_fps,
        "variable_frame_rate": uneven,
        "exposure_s": take.sensor.exposure_s,
        "codec": encoding.get("codec", "h264"),
        "display_rotation_deg": encoding.get("rotation_deg", 0),
        "capture_fps_in_metadata": "capture_fps" in encoding,
        "frame_time_s": [round(float(t), 7) for t in true_s],
        "creation_time": created.isoformat(),
        "throw": thrown,
    }
    place = field_points(take.thrown, take.side, np.array([0.0]))["shoulder"][0]
    truth["view"] = view_name(take.camera.eye, place, take.side)
    truth |= truth_of(take.thrown, take.side, take.camera, take.time_s, take.sensor.exposure_s)
    if not thrown:
        for name in ("at_release", "frames", "release_offset_outside_s", "ball_speed_m_s", "hand_speed_m_s"):
            truth.pop(name)
        truth |= {"release_in_clip": False, "release_time_s": None, "release_frame": None}
    body = take.thrown.bodies.vertices_m[take.thrown.which]
    truth |= {"person_height_m": round(float(np.ptp(body[:, 2])), 3)} | facts
    path.with_suffix(".truth.json").write_text(json.dumps(truth), encoding="utf-8")


def _one(wanted: Wanted, number: int) -> None:
    """All throws of one drawn pitcher from each camera."""
    rng = np.random.default_rng([wanted.seed, number])
    thrown, side = draw_throw(wanted.baked, wanted.seed, rng, wanted.kept_out)
    fps = float(rng.choice([240, 240, 240, 120, 480]))
    seconds = (0.02, 0.02) if wanted.tiny else (0.25, 0.15)
    time_s = np.arange(-seconds[0], seconds[1], 1 / fps) + rng.uniform(0, 1 / fps)
    look, light, scene = draw_looks(rng), draw_light(rng), str(rng.choice(["hall", "field"]))
    whole, hevc = bool(rng.random() < 0.4), bool(rng.random() < 0.25)
    for camera in range(wanted.cameras):
        take = Take(
            thrown=thrown,
            side=side,
            camera=draw_camera(thrown, side, whole, rng),
            size=SIZE_PX,
            time_s=time_s,
            sensor=draw_sensor(rng),
            scene=scene,
            scene_seed=wanted.seed * 1000 + number,
            look=look,
            light=light,
            net=bool(rng.random() < 0.15),
            subframes=2 if wanted.tiny else 8,
        )
        if wanted.tiny:  # a quarter of the pixels each way, the same picture
            K = take.camera.K * np.array([[0.25], [0.25], [1.0]])
            take = replace(take, camera=replace(take.camera, K=K), size=(320, 180))
        if rng.random() < 0.3:
            take = replace(take, others=(_bystander(wanted, take, rng),))
        crf = int(rng.integers(20, 30))
        letter = "" if wanted.cameras == 1 else "abcdefgh"[camera]
        for throw in range(wanted.throws):
            name = f"clip_{number:03d}" + (f"_{throw + 1}" if wanted.throws > 1 else "")
            facts: dict[str, object] = {
                "pitch": None,
                "true_fps": fps,
                "framing": "whole" if whole else "release zone",
                "filmed_as": f"{number}{letter}",  # one pitcher before one camera
            }
            if letter:
                facts["throw_id"] = number if wanted.throws == 1 else f"{number}_{throw + 1}"
            write_take(
                studio_of(wanted.baked, wanted.seed, take.size),
                _next_throw(take, np.random.default_rng([wanted.seed, number, throw])) if throw else take,
                wanted.out / f"{name}{letter and '_' + letter}.mp4",
                FIRST_DAY + timedelta(seconds=35 * ((number - 1) * wanted.throws + throw + 1)),
                fps,
                facts,
                codec="hevc" if hevc else "h264",
                crf=crf,
            )


def _next_throw(take: Take, rng: np.random.Generator) -> Take:
    """The pitcher's next throw before the same camera, at another moment between its frames."""
    step_s = float(np.diff(take.time_s[:2])[0])
    again = aimed(
        replace(take.thrown, motion=take.thrown.motion.again(rng)), elevation_deg=rng.normal(-1.5, 2)
    )
    return replace(take, thrown=again, time_s=take.time_s + rng.uniform(-0.5, 0.5) * step_s)


def write_clips(wanted: Wanted, count: int, workers: int) -> None:
    """Render the throws of `count` drawn pitchers into a folder."""
    wanted.out.mkdir(parents=True, exist_ok=True)
    run_all(_one, [(wanted, n + 1) for n in range(count)], workers)


def run_all(work, tasks: list[tuple], workers: int) -> None:
    """Each task once, in several processes where asked for; the result does not depend on how many."""
    if workers == 1:
        for task in tasks:
            work(*task)
        return
    with get_context("spawn").Pool(workers) as pool:
        pool.starmap(work, tasks, chunksize=1)
