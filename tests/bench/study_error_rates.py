"""Measures how often the study's answers are wrong, how often they find what is there, and how fast.

The noise is that of the goals: AR(1) 0.4 between throws, a drift of 1 SD over the session, heavy tails
(Student's t with 4 degrees of freedom), throw SD 5 degrees. Run from a checkout:

    .venv/bin/python tests/bench/study_error_rates.py [--quick]

"99 % lower bound" is Clopper and Pearson's bound of the simulated rate.
"""

import argparse
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import beta

from release.stats.change import USUAL_NOISE, Throws, difference, randomisation_p
from release.stats.compare import compare
from release.stats.draws import redraw
from release.stats.earlier import noise_of
from release.stats.equivalence import judge
from release.stats.live import drawn_cues, pair_differences, so_far
from release.stats.plan import plan_session, simulated_scatter
from release.stats.read_throws import read_throws
from release.stats.relate import relate, slope
from release.stats.result import Noise

SD, WORTH = 5.0, 5.0
TRUE_NOISE = Noise(throw_sd=SD, lag_correlation=0.4, drift_sd=1.0, sessions=0)
Goal = tuple[str, str, str, bool]


def lower_bound(hits: int, of: int) -> float:
    return float(beta.ppf(0.01, hits, of - hits + 1)) if hits else 0.0


def session(rng: np.random.Generator, n: int) -> np.ndarray:
    return SD * simulated_scatter(rng, n, TRUE_NOISE)


def throws_of(value: np.ndarray) -> Throws:
    n = len(value)
    return Throws(value=value, sd=np.zeros(n), number=np.arange(1.0, n + 1), session=np.zeros(n, np.int64))


def planned(quick: bool) -> Iterator[Goal]:
    """False changes and coverage for the designs that the planner offers."""
    designs = [
        ("8 free blocks of 2", 16, "block", 2, None),
        ("12 free blocks of 2", 24, "block", 2, None),
        ("10 free blocks of 4", 40, "block", 4, None),
        ("12 blocks of 2, runs of 2 at most", 24, "block", 2, 2),
        ("16 throws drawn one by one", 16, "throw", 2, None),
        ("40 throws, runs of 3 at most", 40, "throw", 2, 3),
    ]
    for label, n, unit, size, run in designs:
        drawn = plan_session(["a", "b"], n, unit=unit, block_throws=size, longest_run=run, seed=1)
        codes = [drawn.plan.cues.index(c) for c in drawn.plan.order]
        draws = redraw(codes, drawn.plan.stratum, run)
        orders = draws.orders[:, drawn.unit_of_throw]
        rng = np.random.default_rng(11)
        times, times_interval = (150, 60) if quick else (3000 if draws.listed else 1500, 500)
        false = inside = 0
        for i in range(times):
            k = int(rng.integers(len(orders)))
            thrown = orders if k == 0 else np.vstack([orders[k], orders[:k], orders[k + 1 :]])
            scatter = throws_of(session(rng, n) + 8 * thrown[0] * (i < times_interval))
            if i < times_interval:
                found = difference(scatter, thrown)
                inside += found.low <= 8 <= found.high
                scatter = throws_of(scatter.value - 8 * thrown[0])
            false += randomisation_p(scatter, thrown) <= 0.05
        bound = lower_bound(false, times)
        text = f"{false / times:.1%} of {times} (bound {bound:.1%}; attainable {found.level:.1%})"
        yield f"false change, {label}", "99 % lower bound <= 5 %", text, bound <= 0.05
        missed = lower_bound(times_interval - inside, times_interval)
        text = f"{inside / times_interval:.1%} of {times_interval} (attainable {1 - found.level:.1%})"
        yield f"interval coverage, {label}", ">= 95 % (same bound)", text, missed <= 0.05


def power(quick: bool) -> Iterator[Goal]:
    """16 throws in 8 free blocks of 2, without and with ten earlier sessions."""
    orders = redraw([0, 1] * 4, [0] * 8, None).orders[:, np.repeat(np.arange(8), 2)]
    times = 200 if quick else 3000
    for earlier, goals in ((0, {12: 0.75, 8: 0.45}), (10, {12: 0.85, 8: 0.60})):
        rng = np.random.default_rng(12)
        found = dict.fromkeys(goals, 0)
        for i in range(times):
            if earlier and i % 20 == 0:
                noise = noise_of(earlier_sessions(rng, earlier), "x")
            k = int(rng.integers(70))
            thrown = np.vstack([orders[k], orders[:k], orders[k + 1 :]])
            scatter = session(rng, 16)
            for effect in goals:
                value = throws_of(scatter + effect * thrown[0])
                found[effect] += randomisation_p(value, thrown, noise if earlier else USUAL_NOISE) <= 0.05
        for effect, goal in goals.items():
            label = f"{effect} degrees found, {earlier} earlier sessions"
            yield (
                label,
                f">= {goal:.0%}",
                f"{found[effect] / times:.1%} of {times}",
                found[effect] / times >= goal,
            )


def earlier_sessions(rng: np.random.Generator, count: int) -> pd.DataFrame:
    rows = [
        pd.DataFrame({"session": s, "throw": range(1, 17), "cue": "usual", "x": session(rng, 16)})
        for s in range(count)
    ]
    return pd.concat(rows, ignore_index=True)


def live(quick: bool) -> Iterator[Goal]:
    """A look after every throw up to 40."""
    times = 150 if quick else 2000
    rng = np.random.default_rng(13)
    false, covered, stops = 0, 0, []
    for i in range(times):
        cue = drawn_cues(("a", "b"), 40, i)
        second, scatter = np.array([c == "b" for c in cue]), session(rng, 40)
        steps = so_far(pair_differences(list(scatter), cue, ("a", "b")), WORTH)
        false += any(s.answer == "changed" for s in steps)
        covered += all(s.low <= 0 <= s.high for s in steps)
        steps = so_far(pair_differences(list(scatter + 12 * second), cue, ("a", "b")), WORTH)
        stops.append(next((s.throws for s in steps if s.answer == "changed"), 99))
    bound = lower_bound(false, times)
    text = f"{false / times:.1%} of {times} (bound {bound:.1%})"
    yield "live: false change, 20 looks", "99 % lower bound <= 5 %", text, bound <= 0.05
    missed = lower_bound(times - covered, times)
    yield (
        "live: sequence covers at every look",
        ">= 95 % (same bound)",
        f"{covered / times:.1%}",
        missed <= 0.05,
    )
    median = float(np.median(stops))
    yield "live: median throws to a verdict on 12 degrees", "<= 14", f"{median:.0f}", median <= 14


def equivalence(quick: bool) -> Iterator[Goal]:
    """A change just worth having, called not meaningful: planned (24 throws) and live."""
    times = 90 if quick else 1500
    rng = np.random.default_rng(14)
    orders = redraw([0, 1] * 6, [0] * 12, None).orders[:, np.repeat(np.arange(12), 2)]
    called = called_live = 0
    worth = 8.0  # wide enough for the answer to be in reach with so few throws
    for i in range(times):
        k = int(rng.integers(len(orders)))
        thrown = np.vstack([orders[k], orders[:k], orders[k + 1 :]])
        found = difference(throws_of(session(rng, 24) + worth * thrown[0]), thrown)
        called += judge(found.low90, found.high90, found.p, worth) == "no meaningful change"
        if i % 3 == 0:
            cue = drawn_cues(("a", "b"), 40, i)
            value = session(rng, 40) + worth * np.array([c == "b" for c in cue])
            steps = so_far(pair_differences(list(value), cue, ("a", "b")), worth)
            called_live += any(s.answer == "no meaningful change" for s in steps)
    for label, hits, of in (("planned", called, times), ("live", called_live, (times + 2) // 3)):
        bound = lower_bound(hits, of)
        text = f"{hits / of:.1%} of {of} (bound {bound:.1%})"
        yield f"false 'no meaningful change', {label}", "99 % lower bound <= 5 %", text, bound <= 0.05


def slopes(quick: bool) -> Iterator[Goal]:
    """0.3 in per degree; the angle's noise makes least squares lose 30 %."""
    rng = np.random.default_rng(15)
    spread, true = 6.0, 0.3
    sd = spread * np.sqrt(0.3 / 0.7)
    corrected, plain, covered = [], [], 0
    for _ in range(100 if quick else 1000):
        athlete = np.repeat(np.arange(12), 20)
        angle = rng.normal(0, 15, 12)[athlete] + rng.normal(0, spread, 240)
        ball = rng.normal(0, 4, 12)[athlete] + true * angle + rng.normal(0, 1.5, 240)
        measured = angle + rng.normal(0, sd, 240)
        one = slope(measured, ball, np.full(240, sd), athlete, np.empty((240, 0)))
        assert one is not None
        corrected.append(one.slope)
        plain.append(one.plain)
        covered += one.low <= true <= one.high
    bias, lost = np.mean(corrected) / true - 1, 1 - np.mean(plain) / true
    text = f"{bias:+.1%} (least squares loses {lost:.0%}; interval covers {covered / len(plain):.0%})"
    yield "slope: bias with noise in the angle", "< 3 %", text, abs(bias) < 0.03


def speed(quick: bool) -> Iterator[Goal]:
    """100,000 throws of 300 athletes through compare and relate, reading included."""
    throws = 10_000 if quick else 100_000
    rng = np.random.default_rng(16)
    each = throws // 300
    n = each * 300
    table = pd.DataFrame({"athlete": np.repeat([f"A-{i:03d}" for i in range(300)], each), "pitch": "slider"})
    table["throw"] = np.tile(np.arange(1, each + 1), 300)
    table["cue"] = rng.choice(["usual", "thumb under"], n)
    table["block"] = ""
    table["palm_turn_deg"] = rng.normal(-30, 6, n).round(2)
    table["palm_turn_deg_sd"] = 3.0
    table["speed_mph"] = rng.normal(82, 1, n).round(1)
    table["horizontal_break_in"] = (0.3 * table["palm_turn_deg"] + rng.normal(12, 1.5, n)).round(1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "throws.csv"
        table.to_csv(path, index=False)
        for label in ("compare", "relate"):
            start = time.perf_counter()
            read = read_throws(path)
            if label == "compare":
                compare(read.rows, read.figures)
            else:
                relate(read.rows, "palm_turn_deg", "horizontal_break_in")
            took = time.perf_counter() - start
            gigabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
            text = f"{took:.1f} s, {gigabytes:.2f} GB at most so far"
            yield (
                f"{label}: {n:,} throws of 300 athletes",
                "< 20 s, < 2 GB",
                text,
                took < 20 and gigabytes < 2,
            )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="under a minute, wider chance")
    quick = parser.parse_args().quick
    met = total = 0
    print(f"{'figure':58} {'goal':26} result")
    for part in (planned, power, live, equivalence, slopes, speed):
        for figure, goal, result, reached in part(quick):
            met, total = met + reached, total + 1
            print(f"{figure:58} {goal:26} {result}{'' if reached else '   MISSED'}", flush=True)
    print(f"{met} of {total} goals met")
    return 0 if met == total else 1


if __name__ == "__main__":
    sys.exit(main())
