"""Throws filmed by two cameras that nobody synchronised, with truth: what camera_and_two_phones.py measures.

`release.workshop.render clips --cameras 2` films a throw from anywhere and at the same moments; here the
second camera stands 60 to 120 degrees from the first, and starts when it likes.
"""

import argparse
import sys
from datetime import timedelta
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from release.workshop.clips import (  # noqa: E402
    FIRST_DAY,
    SIZE_PX,
    draw_sensor,
    draw_throw,
    run_all,
    studio_of,
    write_take,
)
from release.workshop.film import Take  # noqa: E402
from release.workshop.surface import draw_light, draw_looks  # noqa: E402
from release.workshop.truth import field_points, looking  # noqa: E402

PALM_M = 0.09
BEFORE_S, AFTER_S = 0.17, 0.11
SUBFRAMES = 6  # drawn within an exposure while the arm is fast


def two_cameras(thrown, side, rng):
    at = field_points(thrown, side, np.array([0.0]))
    target = 0.45 * at["shoulder"][0] + 0.55 * at["ball"][0]
    heading = rng.uniform(0, 360)
    apart = rng.uniform(60, 120) * rng.choice([-1, 1])
    for way in np.radians([heading, heading + apart]):
        far = rng.uniform(4, 8)
        eye = np.array([*(target[:2] + far * np.array([np.cos(way), np.sin(way)])), rng.uniform(0.9, 1.9)])
        focal = rng.uniform(55, 100) / PALM_M * float(np.linalg.norm(eye - target))
        yield looking(eye, target, focal, SIZE_PX, rng.normal(0, 1.5))


def write_pair(baked, out, number, seed, subframes):
    rng = np.random.default_rng([seed, number])
    thrown, side = draw_throw(baked, seed, rng, kept_out=True)
    look, light, scene = draw_looks(rng), draw_light(rng), str(rng.choice(["hall", "field"]))
    rates = (240.0, 120.0) if number % 6 == 0 else (240.0, 240.0)
    for name, camera, fps in zip("ab", two_cameras(thrown, side, rng), rates, strict=True):
        start_s = -BEFORE_S - rng.uniform(0, 0.03)
        sensor = draw_sensor(rng)
        take = Take(
            thrown=thrown,
            side=side,
            camera=camera,
            size=SIZE_PX,
            time_s=np.arange(start_s, AFTER_S, 1 / fps),
            sensor=sensor,
            scene=scene,
            scene_seed=seed * 1000 + number,
            look=look,
            light=light,
            subframes=subframes,
        )
        facts = {"pitch": None, "true_fps": fps, "framing": "release zone", "throw_id": number}
        path = out / f"pair_{number:02d}_{name}.mp4"
        write_take(
            studio_of(baked, seed, SIZE_PX),
            take,
            path,
            FIRST_DAY + timedelta(seconds=35 * number),
            fps,
            facts,
        )


def write_pairs(baked, out, count, seed, subframes=SUBFRAMES):
    out.mkdir(parents=True, exist_ok=True)
    run_all(write_pair, [(baked, out, n + 1, seed, subframes) for n in range(count)], 1)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bodies", type=Path, required=True, help="file that `render bodies` wrote")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=12)
    parser.add_argument("--seed", type=int, default=4)
    given = parser.parse_args()
    write_pairs(given.bodies, given.out, given.count, given.seed)
