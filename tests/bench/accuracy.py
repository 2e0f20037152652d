"""How exact releases and angles are, against the goals: run with --help.

Every clip is measured once; MediaPipe raw and smoothed, the hand model alone and the fit read the same
frames at the same release. `palm_turn` is given the true heading of the camera, as marks would give it.
Clips are measured on all cores, one each.
"""

import argparse
import csv
import os
import platform
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[threads] = "1"  # before anything that counts cores is loaded

import numpy as np  # noqa: E402

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from baselines import hand_model_alone, mediapipe  # noqa: E402
from error_sources import errors_with_truth, print_sources  # noqa: E402
from fit_alone import coverage_goals, held_intervals  # noqa: E402

from release.accuracy import scored, view_bound_deg  # noqa: E402
from release.clip.read import read_clip  # noqa: E402
from release.look import row_of  # noqa: E402
from release.orientation.angles import wrap_deg  # noqa: E402
from release.orientation.measure import Heading  # noqa: E402
from release.orientation.read_truth import read_truth_folder  # noqa: E402
from release.orientation.score_text import score_lines  # noqa: E402
from release.orientation.write_look import write_look_csv  # noqa: E402
from release.pipeline import find_release, fit_throw, measured_throw, refused_clip  # noqa: E402
from release.settings import Settings  # noqa: E402
from release.workshop.errors import filmed  # noqa: E402

JOINTS = ("wrist_flexion", "wrist_deviation", "forearm_rotation", "elbow_flexion")
SHOWN = (*JOINTS, "palm_turn")
ZONE_PX = 50.0  # wrist to middle knuckle at release: larger is a release-zone clip, smaller whole-body
GOALS_DEG = {"release zone": (3, 2, 4, 3, 4), "whole body": (6, 4, 8, 4, 7)}
REPEAT_DEG = (2, 2, 3, 2)
METHODS = ("MediaPipe raw", "MediaPipe smoothed", "hand model alone", "this method")
QUICK = ("clip_01", "clip_02", "clip_10", "clip_13", "clip_16")


class Goals:
    def __init__(self):
        self.rows = []

    def add(self, figure, goal, result, met):
        self.rows.append((figure, goal, result, met))

    def not_run(self, figures, why):
        self.rows += [(figure, goal, why, None) for figure, goal in figures]

    def belong_to(self, title, first):
        """Names the set before the rows added since the first."""
        self.rows[first:] = [(f"{title}: {figure}", *rest) for figure, *rest in self.rows[first:]]

    def show(self):
        for figure, goal, result, met in self.rows:
            mark = "not run" if met is None else "met" if met else "MISSED"
            print(f"{figure:84s} {goal:>14s} {result:>16s}  {mark}")
        run = [met for *_, met in self.rows if met is not None]
        print(f"\n{sum(run)} of {len(run)} goals met")
        return all(run)


def measure(truth, baselines, blame):
    """One clip: the measurement, what each method says, its own seconds, its errors with the truth given."""
    heading = None
    if truth.frames is not None:
        at = int(np.argmin(np.abs(truth.frames.frame_index - truth.release_frame)))
        heading = Heading(to_field=truth.frames.rotation[at].T, covariance_rad2=np.zeros((3, 3)))
    begun = time.perf_counter()
    clip = read_clip(truth.path)
    found = find_release(clip, Settings())
    if isinstance(found, str):
        return refused_clip(clip, found), {}, time.perf_counter() - begun, {}
    close, release = found
    measured = measured_throw(clip, close, release, fit_throw(clip, close, release), heading)
    seconds = time.perf_counter() - begun
    said = {
        "this method": {n: f.value for n, f in measured.orientation.figures.items() if f.value is not None}
    }
    if baselines and heading is not None:
        said["hand model alone"] = hand_model_alone(clip, close, release, heading.to_field)
        said["MediaPipe raw"], said["MediaPipe smoothed"] = mediapipe(clip, close, release, heading.to_field)
    told = blame and heading is not None and close.hand.side == truth.side
    return measured, said, seconds, errors_with_truth(truth, clip, close, release) if told else {}


def errors(rows, method, name):
    pairs = [(s.get(method, {}).get(name), t.angles_deg.get(name)) for t, _, s, *_ in rows]
    return np.array([float(wrap_deg(np.array(v - t))) for v, t in pairs if v is not None and t is not None])


def compare_methods(title, rows):
    print(f"\n{title}, {len(rows)} clips: median absolute error in degrees (90 %), answered")
    print(f"{'':20s}" + "".join(f"{n:>24s}" for n in SHOWN))
    for method in METHODS:
        cells = []
        for name in SHOWN:
            e = np.abs(errors(rows, method, name))
            cells.append(f"{np.median(e):.1f} ({np.quantile(e, 0.9):.1f}) {len(e)}" if len(e) else "-")
        print(f"{method:20s}" + "".join(f"{c:>24s}" for c in cells))
    bounds = [view_bound_deg(t) for t, *_ in rows]
    print(
        f"{'bound at 2 px (SD)':20s}" + "".join(f"{np.median([b[n] for b in bounds]):>24.1f}" for n in SHOWN)
    )


RELEASE_GOALS = (
    ("release at 240 fps, median error, frames", "0.3"),
    ("  within 1 frame", "95 %"),
    ("  within 2 frames", "100 %"),
)


def release_goals(goals, rows):
    clips = [(t, m) for t, m, *_ in rows if t.release_frame is not None and round(t.true_fps) == 240]
    if not clips:
        goals.not_run(RELEASE_GOALS, "no such clips")
        return
    score = scored(clips).release
    goals.add("release at 240 fps, median error, frames", "0.3", f"{score.median:.2f}", score.median <= 0.3)
    for frames, least in ((1, 0.95), (2, 1.0)):
        share = score.within(frames)
        goals.add(
            f"  within {frames} of {score.n} clips",
            f"{100 * least:.0f} %",
            f"{100 * share:.0f} %",
            share >= least,
        )


def angle_figures(part):
    return [(f"{part}, {n}, median error", f"{g} deg") for n, g in zip(SHOWN, GOALS_DEG[part], strict=True)]


def angle_goals(goals, rows):
    seen = [r for r in rows if r[0].release_frame is not None]
    for part, larger in (("release zone", True), ("whole body", False)):
        some = [r for r in seen if (filmed(r[0], r[0].frames)["hand_px"] > ZONE_PX) == larger]
        if not some:
            goals.not_run(angle_figures(part), "no such clips")
            continue
        compare_methods(part, some)
        for name, goal in zip(SHOWN, GOALS_DEG[part], strict=True):
            e = np.abs(errors(some, "this method", name))
            median = float(np.median(e)) if len(e) else np.nan
            figure = f"{part}, {len(e)} of {len(some)} clips, {name}, median error"
            goals.add(figure, f"{goal} deg", f"{median:.1f} deg", median <= goal)


REFUSAL_GOALS = (
    ("refused among usable throws", "at most 5 %"),
    ("angles refused that the view could carry", "0"),
    ("no throw or no release in view: refused", "all"),
)
WIDER_GOALS = [
    (f"{name}: {figure}", goal)
    for name in SHOWN
    for figure, goal in (
        ("error against the best constant's", "at most half"),
        ("slope of measured on true", "0.9 to 1.1"),
    )
]


def refusal_goals(goals, scores):
    n, missed = scores.release.n, scores.release.refused
    goals.add("refused among usable throws", "at most 5 %", f"{missed} of {n}", missed <= 0.05 * n)
    unexcused = sum(a.unexcused for a in scores.angles if a.name in SHOWN)
    goals.add("angles refused that the view could carry", "0", str(unexcused), unexcused == 0)
    right, of = scores.refused_rightly, scores.without_release
    if of:
        goals.add("no throw or no release in view: refused", f"all {of}", str(right), right == of)


def wider_goals(goals, scores):
    for a in scores.angles:
        if a.name in SHOWN:
            half, slope = a.median <= a.constant_deg / 2, 0.9 <= a.slope <= 1.1
            result = f"{a.median:.1f} of {a.constant_deg:.1f}"
            goals.add(f"{a.name}: error against the best constant's", "at most half", result, half)
            goals.add(f"{a.name}: slope of measured on true", "0.9 to 1.1", f"{a.slope:.2f}", slope)


def repeat_goals(goals, scores):
    for a in scores.angles:
        if a.name in JOINTS and np.isfinite(a.repeatability_deg):
            goal = REPEAT_DEG[JOINTS.index(a.name)]
            figure = f"repeatability of {a.name} within athlete and camera (SD)"
            goals.add(figure, f"{goal} deg", f"{a.repeatability_deg:.1f} deg", a.repeatability_deg <= goal)


def independent_scorer(folder, rows):
    """The scorer that comes with the other renderer's clips, on the same answers."""
    scorer = folder / "score_clips.py"
    if not scorer.is_file():
        return
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "answers.csv"
        write_look_csv(path, [row_of(m) for _, m, *_ in rows])
        with path.open() as file:
            print(f"\n{scorer.name} on the same {sum(1 for _ in csv.DictReader(file))} answers:")
        print(subprocess.run([sys.executable, scorer, path, folder], capture_output=True, text=True).stdout)


def run_folder(goals, folders, title, pool, *, quick, blame, wide=False):
    truths = [truth for folder in folders for truth in read_truth_folder(folder)]
    if quick:
        named = [t for t in truths if Path(t.clip).stem in QUICK]
        truths = named or truths[:4]
    n = len(truths)
    found = pool.map(measure, truths, [not wide] * n, [blame] * n)
    rows = [(truth, *one) for truth, one in zip(truths, found, strict=True)]
    first = len(goals.rows)
    print(f"\n== {title}: {len(rows)} clips, {np.median([r[3] for r in rows]):.1f} s a clip")
    scores = scored([(t, m) for t, m, *_ in rows])
    print("\n".join(score_lines(scores)))
    if blame:
        print_sources([row[4] for row in rows if row[4]])
    if wide:
        wider_goals(goals, scores)
    else:
        release_goals(goals, rows)
        angle_goals(goals, rows)
        refusal_goals(goals, scores)
        repeat_goals(goals, scores)
        if not quick:
            independent_scorer(folders[0], rows)
    goals.belong_to(title, first)


def other_figures():
    return [*RELEASE_GOALS, *(row for part in GOALS_DEG for row in angle_figures(part)), *REFUSAL_GOALS]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clips", type=Path, help="clips with truth from another renderer")
    parser.add_argument("--wide", type=Path, nargs="+", help="a wider rendered set of our own, with truth")
    parser.add_argument("--quick", action="store_true", help="a named subset, under a minute")
    parser.add_argument("--blame", action="store_true", help="also with the truth for one input at a time")
    given = parser.parse_args()
    goals = Goals()
    print(
        f"{platform.platform()}, {platform.processor() or platform.machine()}, "
        f"Python {platform.python_version()}"
    )
    with ProcessPoolExecutor() as pool:
        for folders, title, wide, figures in (
            ([ROOT / "sample_clips"], "sample_clips", False, ()),
            ([given.clips] if given.clips else [], "other renderer", False, other_figures()),
            (given.wide or [], "wider set", True, WIDER_GOALS),
        ):
            if not folders:
                goals.not_run([(f"{title}: {figure}", goal) for figure, goal in figures], "no such clips")
                continue
            run_folder(goals, folders, title, pool, quick=given.quick, blame=given.blame, wide=wide)
        coverage_goals(
            goals, list(pool.map(held_intervals, range(200 if given.quick else 2000), chunksize=20))
        )
    goals.not_run([("time a clip, in bare decodes", "2.0")], "measure_cost.py")
    sys.exit(0 if goals.show() else 1)


if __name__ == "__main__":
    main()
