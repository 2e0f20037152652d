"""How well cameras are found and two phones measure one throw, against the goals: run with --help.

Pairs are rendered by pair_clips.py. Marks are truth's own places with two pixels of click noise, clicked for
pairs in a wide shot from the same tripod place and carried over by simulated background features.
"""

import argparse
import platform
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from accuracy import Goals  # noqa: E402
from error_sources import pair_errors_with_truth, print_sources  # noqa: E402
from pair_clips import write_pairs  # noqa: E402
from true_camera import true_camera  # noqa: E402

from release.camera.field import Field, places_m  # noqa: E402
from release.camera.matching import carried_over  # noqa: E402
from release.camera.pose import Known, solve_camera  # noqa: E402
from release.camera.read_camera import CameraFile  # noqa: E402
from release.camera.result import FieldCamera  # noqa: E402
from release.camera.write_camera import write_camera  # noqa: E402
from release.clip.read import read_clip  # noqa: E402
from release.errors import CameraRefused  # noqa: E402
from release.field_camera import Stand  # noqa: E402
from release.orientation.angles import wrap_deg  # noqa: E402
from release.orientation.read_truth import read_truth  # noqa: E402
from release.pipeline import find_release, fit_throw, measured_throw  # noqa: E402
from release.settings import Settings  # noqa: E402
from release.two_phones import measure_pair  # noqa: E402

JOINTS = ("wrist_flexion", "wrist_deviation", "forearm_rotation", "elbow_flexion")
FIELD = ("arm_angle", "palm_azimuth", "palm_elevation", "forearm_elevation")
LENGTHS = ("release_height", "release_side", "extension")
CLICK_SD_PX, FEATURE_SD_PX = 2.0, 0.7
STICK = Field(stick_m=1.5)
WIDER = 3.5  # zoom between the wide shot and the close one
LEAST_MARKS = 4
MIRRORED_DEG = 20.0  # a camera turned farther than this from the true one is a mirrored one
IN_FRAME, WIDE = "marks in the frame", "by a wide shot"


def clicked(camera, field, rng):
    """Marks that lie in the picture, with click noise."""
    places = places_m(field)
    px = {name: camera.pixel(place) for name, place in places.items()}
    inside = [n for n, p in px.items() if np.all(p > 0) and np.all(p < camera.size_px)]
    noisy = np.array([px[n] for n in inside]).reshape(-1, 2) + rng.normal(0, CLICK_SD_PX, (len(inside), 2))
    return inside, np.array([places[n] for n in inside]).reshape(-1, 3), noisy


def from_wide_shot(camera, rng):
    """The camera as a wide shot from its tripod place gives it: marks there, features in both pictures."""
    towards = np.array([0.8, 0.0, 0.6]) - camera.position_m
    z = towards / np.linalg.norm(towards)
    x = np.cross(z, [0.0, 0.0, 1.0])
    x /= np.linalg.norm(x)
    wide = replace(camera, rotation=np.stack([x, np.cross(z, x), z]), focal_px=camera.focal_px / WIDER)
    names, places, px = clicked(wide, STICK, rng)
    found = solve_camera(names, places, px, Known(size_px=camera.size_px))
    close_px = rng.uniform(0, 1, (60, 2)) * camera.size_px
    off = (close_px - np.array(camera.centre_px)) / camera.focal_px
    far = camera.position_m + 40 * np.column_stack([off, np.ones(60)]) @ camera.rotation
    here = close_px + rng.normal(0, FEATURE_SD_PX, close_px.shape)
    there = wide.pixel(far) + rng.normal(0, FEATURE_SD_PX, close_px.shape)
    return carried_over(found, there, here, camera.size_px)


def true_values(truth):
    at = truth.frames
    ball = np.array(
        [np.interp(truth.release_frame, at.frame_index, at.points_m["ball"][:, k]) for k in range(3)]
    )
    across = -ball[1] if truth.side == "R" else ball[1]
    return truth.angles_deg | {
        "release_height": ball[2],
        "release_side": across,
        "extension": ball[0],
    }


def error(figure, true, name):
    if figure.value is None:
        return np.nan
    off = figure.value - true
    return float(off if name in LENGTHS else wrap_deg(np.array(off)))


def one_camera(path, camera):
    clip = read_clip(path)
    found = find_release(clip, Settings())
    if isinstance(found, str):
        return None
    close, release = found
    stand = Stand(camera=camera)
    fitted = fit_throw(clip, close, release, (), stand)
    return measured_throw(clip, close, release, fitted, None, stand).orientation.figures


def saved(camera, path):
    given = CameraFile(
        path=path, field=STICK, view=None, throws="R", numbers={}, marks=(), picture=None, solved=None
    )
    write_camera(path, given, camera, None)
    return path


def with_truth(truths, cameras, pair):
    """Errors of the pair with the truth for one input at a time; None where a clip tells the other arm."""
    looks = []
    for truth in truths:
        clip = read_clip(truth.path)
        found = find_release(clip, Settings())
        if isinstance(found, str) or found[0].hand.side != truth.side:
            return None
        looks.append((clip, *found))
    return pair_errors_with_truth(truths, looks, cameras, pair.offset.offset_s, pair.release.frame_index)


def measure_pairs(folder, most, sources):
    """Errors of one and of two cameras by figure; sync errors in frames; how many were refused.

    Prints where the errors come from, if `sources` are asked for.
    """
    names = (*JOINTS, *FIELD, *LENGTHS)
    one, two = {n: [] for n in names}, {n: [] for n in names}
    inside, sync, refused, told = [], [], [], []
    for first in sorted(folder.glob("pair_*_a.truth.json"))[:most]:
        rng = np.random.default_rng(int(first.name[5:7]))
        truths = [read_truth(first), read_truth(first.with_name(first.name.replace("_a.", "_b.")))]
        cameras = [from_wide_shot(true_camera(t, (1280, 720)), rng) for t in truths]
        true = true_values(truths[0])
        for truth, camera in zip(truths, cameras, strict=True):
            figures = one_camera(truth.path, camera)
            for n in names:
                one[n].append(np.nan if figures is None else error(figures[n], true[n], n))
        with tempfile.TemporaryDirectory() as scratch:
            files = tuple(saved(c, Path(scratch) / f"{k}.toml") for k, c in enumerate(cameras))
            pair = measure_pair((truths[0].path, truths[1].path), files)
        said = f"{first.name[:7]}: misfit {pair.misfit if pair.misfit is None else round(pair.misfit, 2)}"
        if pair.offset is not None:
            times = [
                np.interp(t.release_frame, np.arange(len(t.frame_time_s)), t.frame_time_s) for t in truths
            ]
            off = pair.offset.offset_s - (times[0] - times[1])
            sync.append(off * max(t.true_fps for t in truths))
            said += f", sync {sync[-1]:+.2f} frames (sd {pair.offset.sd_s * 240:.2f})"
        print(said if pair.refused is None else f"{said}, refused: {pair.refused}", flush=True)
        refused.append(pair.refused is not None)
        if pair.orientation is None:
            continue
        if sources:
            told.append(with_truth(truths, cameras, pair))
        for n in names:
            figure = pair.orientation.figures[n]
            two[n].append(error(figure, true[n], n))
            if figure.value is not None:
                inside.append(abs(two[n][-1]) <= 1.96 * figure.sd)
    if sources:
        print_sources([errors for errors in told if errors is not None])
    return one, two, np.array(sync), refused, inside


def median(errors):
    kept = np.abs(np.array(errors, float))
    return float(np.nanmedian(kept)) if np.isfinite(kept).any() else np.nan


def pair_goals(goals, folder, most, sources):
    one, two, sync, refused, inside = measure_pairs(folder, most, sources)
    print(
        f"\n{'figure':20s}{'one camera':>14s}{'answered':>10s}{'two':>10s}{'answered':>10s}   (median error)"
    )
    for n in one:
        counts = [int(np.isfinite(e[n]).sum()) for e in (one, two)]
        unit = "m" if n in LENGTHS else "deg"
        print(
            f"{n:20s}{median(one[n]):>10.2f} {unit:3s}{counts[0]:>10d}{median(two[n]):>10.2f}{counts[1]:>10d}"
        )
    print(f"95 % intervals of two cameras hold the truth in {100 * np.mean(inside):.0f} % of {len(inside)}")
    for n in JOINTS:
        goals.add(
            f"two phones, {n}: error against one camera's",
            f"at most {median(one[n]) / 2:.1f} deg",
            f"{median(two[n]):.1f} deg",
            median(two[n]) <= median(one[n]) / 2,
        )
    worst = float(np.max(np.abs(sync))) if len(sync) else np.nan
    typical = float(np.median(np.abs(sync))) if len(sync) else np.nan
    goals.add("two phones, sync error, median, frames", "0.25", f"{typical:.2f}", typical < 0.25)
    print(f"sync error, largest: {worst:.2f} frames")
    for n, goal, unit in (
        ("arm_angle", 3, "deg"),
        ("palm_azimuth", 6, "deg"),
        ("release_height", 0.05, "m"),
        ("release_side", 0.05, "m"),
    ):
        value = median(two[n])
        goals.add(f"two phones, {n}, median error", f"{goal} {unit}", f"{value:.2f} {unit}", value <= goal)
    goals.add("pairs of one throw refused", "0", f"{sum(refused)} of {len(refused)}", not any(refused))


def mixed_goals(goals, folder, count):
    """Clips of different throws given as a pair: first cameras of one, second of the next."""
    firsts = sorted(folder.glob("pair_*_a.truth.json"))
    seconds = [f.with_name(f.name.replace("_a.", "_b.")) for f in [*firsts[1:], firsts[0]]]
    refused, tried = 0, 0
    for first, second in list(zip(firsts, seconds, strict=True))[:count]:
        truths = [read_truth(first), read_truth(second)]
        if truths[0].side != truths[1].side:
            continue
        rng = np.random.default_rng(7)
        with tempfile.TemporaryDirectory() as scratch:
            files = tuple(
                saved(from_wide_shot(true_camera(t, (1280, 720)), rng), Path(scratch) / f"{k}.toml")
                for k, t in enumerate(truths)
            )
            pair = measure_pair((truths[0].path, truths[1].path), files)
        tried += 1
        refused += pair.refused is not None
        print(
            f"{first.name[:7]} with {second.name[:7]}: misfit {pair.misfit}, refused: {pair.refused}",
            flush=True,
        )
    if tried:
        goals.add("clips of different throws refused", f"all {tried}", str(refused), refused == tried)


def turned_deg(found, true):
    return float(np.degrees(Rotation.from_matrix(found.rotation @ true.rotation.T).magnitude()))


def one_clip(truth, rows):
    """One clip of another renderer: its camera as staff would find it, then the field figures' errors.

    Returns:
        Whether the camera found is a mirrored one; None where it was refused.
    """
    clip = read_clip(truth.path)
    camera = true_camera(truth, (clip.width_px, clip.height_px))
    rng = np.random.default_rng(sum(map(ord, truth.clip)))
    names, places, px = clicked(camera, STICK, rng)
    how = IN_FRAME if len(names) >= LEAST_MARKS else WIDE
    try:
        found = (
            solve_camera(names, places, px, Known(size_px=camera.size_px))
            if how == IN_FRAME
            else from_wide_shot(camera, rng)
        )
    except CameraRefused as why:
        print(f"{truth.clip}: {why}", flush=True)
        return None
    off_deg = turned_deg(found, camera)
    figures, true = one_camera(truth.path, found), true_values(truth)
    line = f"{truth.clip}: {how}, camera turned {off_deg:.1f} deg from truth"
    for n in (*FIELD, *LENGTHS):
        figure = None if figures is None else figures[n]
        off = np.nan if figure is None else error(figure, true[n], n)
        rows[how][n].append((off, np.nan if not np.isfinite(off) else abs(off) <= 1.96 * figure.sd))
        line += f", {n} {off:+.2f}" if n in LENGTHS else f", {n} {off:+.1f}"
    print(line, flush=True)
    return off_deg > MIRRORED_DEG


def marks_goals(goals, folder, quick):
    """Clips of another renderer by one camera: from marks if the frame shows four, else by a wide shot."""
    rows = {how: {n: [] for n in (*FIELD, *LENGTHS)} for how in (IN_FRAME, WIDE)}
    truths = [t for t in map(read_truth, sorted(folder.glob("*.truth.json"))) if t.release_frame is not None]
    found = [one_clip(truth, rows) for truth in (truths[:2] if quick else truths)]
    refused, mirrored = found.count(None), found.count(True)
    print(f"{len(found)} clips, {refused} without a camera")
    for how, by_name in rows.items():
        print(f"\n{how:24s}{'median error':>14s}{'answered':>12s}{'95 % intervals that hold':>28s}")
        for n, pairs in by_name.items():
            inside = [held for off, held in pairs if np.isfinite(off)]
            unit = "m" if n in LENGTHS else "deg"
            value = f"{median([off for off, _ in pairs]):.2f} {unit}"
            print(f"{n:24s}{value:>14s}{f'{len(inside)} of {len(pairs)}':>12s}{f'{sum(inside):.0f}':>28s}")
    for n, goal in (("arm_angle", 4), ("palm_azimuth", 8)):
        errors = [off for off, _ in rows[IN_FRAME][n]]
        value, answered = median(errors), int(np.isfinite(errors).sum())
        figure = f"other renderer's clips, {n}, median of {answered} answered"
        goals.add(figure, f"{goal} deg", f"{value:.1f} deg", value <= goal)
    goals.add("other renderer's clips, mirrored cameras accepted", "0", str(mirrored), mirrored == 0)


def camera_goals(goals, count):
    """Simulated cameras from marks: the stated uncertainty, and no mirrored camera."""
    rng = np.random.default_rng(11)
    z, mirrored, refused = [], 0, 0
    for _ in range(count):
        way, far = rng.uniform(0, 2 * np.pi), rng.uniform(4, 10)
        eye = np.array([0.8 + far * np.cos(way), far * np.sin(way), rng.uniform(0.9, 2.2)])
        towards = (np.array([0.8, 0, 1.0]) - eye) / np.linalg.norm(np.array([0.8, 0, 1.0]) - eye)
        x = np.cross(towards, [0, 0, 1.0])
        x /= np.linalg.norm(x)
        true = FieldCamera(
            rotation=np.stack([x, np.cross(towards, x), towards]),
            position_m=eye,
            focal_px=far * 240,
            size_px=(1280, 720),
            covariance=np.zeros((7, 7)),
            reprojection_px=0.0,
            source="marks",
        )
        field = STICK if rng.random() < 0.5 else Field()
        try:
            found = solve_camera(*clicked(true, field, rng), Known(size_px=(1280, 720)))
        except CameraRefused:
            refused += 1
            continue
        mirrored += turned_deg(found, true) > MIRRORED_DEG
        z += list((found.position_m - eye) / np.sqrt(np.diag(found.covariance)[3:6]))
    inside = float(np.mean(np.abs(z) < 1.96))
    print(f"{count} simulated cameras, {refused} refused")
    goals.add("simulated marks: mirrored cameras accepted", "0", str(mirrored), mirrored == 0)
    goals.add(
        "simulated marks: 95 % intervals of the place",
        "90 to 99 %",
        f"{100 * inside:.0f} %",
        0.9 <= inside <= 0.99,
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=Path, help="rendered pairs; else they are rendered from --bodies")
    parser.add_argument("--bodies", type=Path, help="file that `render bodies` wrote")
    parser.add_argument("--clips", type=Path, help="clips with truth from another renderer")
    parser.add_argument("--sources", action="store_true", help="also fit pairs with the truth for one input")
    parser.add_argument("--quick", action="store_true", help="cameras and one pair, under a minute")
    given = parser.parse_args()
    goals = Goals()
    machine = f"{platform.platform()}, {platform.processor() or platform.machine()}"
    print(f"{machine}, Python {platform.python_version()}")
    camera_goals(goals, 40 if given.quick else 300)
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.pairs
        if folder is None and given.bodies is not None:
            folder = Path(scratch) / "pairs"
            write_pairs(given.bodies, folder, *((1, 4, 2) if given.quick else (12, 4)))
        if folder is None:
            goals.add("two phones", "", "no pairs given", None)
        else:
            pair_goals(goals, folder, 1 if given.quick else 99, given.sources)
            if not given.quick:
                mixed_goals(goals, folder, 6)
    if given.clips is not None:
        marks_goals(goals, given.clips, given.quick)
    sys.exit(0 if goals.show() else 1)


if __name__ == "__main__":
    main()
