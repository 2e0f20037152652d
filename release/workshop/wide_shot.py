"""A wide shot from the tripod place of a sample clip, with marks clicked in it.

`python -m release.workshop.wide_shot --truth sample_clips/throw_01.truth.json --out tests/camera/wide.mp4`
writes the clip and `wide.marks.toml` beside it: the lens's field of view to a degree, the rubber and an
upright stick, each click off by 2 px.
"""

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from release.camera.field import Field, places_m
from release.workshop.clips import FIRST_DAY, SIZE_PX
from release.workshop.film import Image, Sensor, encode, sensed
from release.workshop.scenes import backdrop
from release.workshop.session import SETS
from release.workshop.truth import Camera, looking

STICK_LONG_M = 1.5
FIELD = Field(mound_height_in=0.0, stick_m=STICK_LONG_M)
MARKS = ("rubber front left", "rubber front right", "rubber back left", "rubber back right")
STICK = ("stick foot", "stick top")
TARGET_M, WIDER = np.array([0.9, 0.0, 0.75]), 3.0
STICK_WIDE_M, STICK_LIGHT = 0.03, (0.75, 0.1, 0.05)
CLICK_SD_PX, SEED, FRAMES, FPS = 2.0, 1, 12, 30.0


def wide_camera(truth: dict) -> Camera:
    """From the same place as the clip, turned to the rubber, zoomed out."""
    matrix, rotation, shift = (np.array(truth[name]) for name in ("K", "R", "t"))
    return looking(-rotation.T @ shift, TARGET_M, matrix[0, 0] / WIDER, SIZE_PX)


def pictures(camera: Camera, athlete: str) -> Iterator[Image]:
    """The empty scene with the stick stood on the rubber, frame by frame."""
    stage, rng = SETS[athlete], np.random.default_rng(SEED)
    light = backdrop(camera, SIZE_PX, stage.scene, np.random.default_rng(stage.scene_seed))
    foot, top = (camera.pixel(places_m(FIELD)[name]) for name in STICK)
    wide = round(STICK_WIDE_M / STICK_LONG_M * float(np.linalg.norm(top - foot)))
    ends = [(round((x - 0.5) * 16), round((y - 0.5) * 16)) for x, y in (foot, top)]
    cv2.line(light, ends[0], ends[1], STICK_LIGHT, wide, cv2.LINE_AA, 4)
    grain = rng.standard_normal((SIZE_PX[1] + 64, SIZE_PX[0] + 64, 3)).astype(np.float32)
    for k in range(FRAMES):
        yield sensed(light, Sensor(contrast=0.25), k / FPS, grain, rng)


def marks_toml(camera: Camera) -> str:
    """The marks as clicked."""
    rng = np.random.default_rng(SEED)
    view_deg = 2 * np.degrees(np.arctan(SIZE_PX[0] / 2 / camera.K[0, 0]))
    lines = [f"field_of_view_deg = {view_deg:.0f}", "mound_height_in = 0", f"stick_m = {STICK_LONG_M}"]
    for name in (*MARKS, *STICK):
        x, y = camera.pixel(places_m(FIELD)[name]) + rng.normal(0, CLICK_SD_PX, 2)
        lines += ["", "[[marks]]", f'name = "{name}"', f"x_px = {x:.1f}", f"y_px = {y:.1f}"]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Parse, write the clip and its marks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--truth", type=Path, required=True, help="of a clip of the sample session")
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    truth = json.loads(given.truth.read_text(encoding="utf-8"))
    camera = wide_camera(truth)
    stamps_s = np.arange(FRAMES) / FPS
    encode(pictures(camera, truth["athlete"]), given.out, stamps_s=stamps_s, created=FIRST_DAY)
    given.out.with_suffix(".marks.toml").write_text(marks_toml(camera), encoding="utf-8")


if __name__ == "__main__":
    main()
