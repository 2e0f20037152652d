"""Does following the first suggestion bring invented pitchers to their target sooner?

200 invented pitchers, six cues. What a cue does to a hand is normal about the cue's mean over pitchers; the
ball follows the hand by flight with drag and lift, its spin axis fixed in the hand. Each pitcher throws until
a ball lands in the target window. Compared: the first suggestion, the cues in random order, and a coach who
knows which cue is best on average for the wanted turn and repeats it.

Run: .venv/bin/python tests/bench/suggest_pitchers.py [--quick]
"""

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.flight.fly import fly
from release.suggest.ball import with_balls
from release.suggest.next import suggest
from release.suggest.response import cue_priors, own_responses
from release.suggest.result import BALL_FIGURES, BallResponse, CuePriors, Target
from release.views.figures import INK, STYLE, blank_chart, legend_above, svg_of

CUE_MEANS_DEG = np.linspace(-15, 15, 6)
CUES = tuple(f"cue {i + 1}" for i in range(6))
THROW_SD_DEG, MEASUREMENT_SD_DEG, BALL_SD = 5.0, 4.0, np.array([0.7, 0.3, 0.3])
TARGET_AWAY_DEG = (8.0, 20.0)
WINDOW_IN = 1.5  # half width of the window: the smallest change of break worth having
OTHERS, LONGEST = 40, 60
CHART = Path("reports/stated_chance.svg")
ONE_RECORD = 50  # pitchers advised from the same record of others
SPEED_M_S, SPIN_RPM = 36.0, 2500.0
FOREARM = np.array([0.64, 0.0, 0.77])  # up and forward at release
SPIN_AXIS = np.array([0.94, -0.1, 0.33])  # of the usual ball: bullet spin with some side spin and backspin


@dataclass(frozen=True, slots=True, kw_only=True)
class Balls:
    """Break against the turn of the hand, by flight."""

    turn_deg: NDArray[np.float64]
    ball: NDArray[np.float64]  # shape (n, 3), BALL_FIGURES

    def at(self, turn_deg: NDArray[np.float64] | float) -> NDArray[np.float64]:
        return np.stack([np.interp(turn_deg, self.turn_deg, self.ball[:, i]) for i in range(3)], axis=-1)


def fly_balls() -> Balls:
    turns = np.arange(-70.0, 71.0, 5.0)
    rows = []
    for turn in turns:
        axis = Rotation.from_rotvec(np.radians(turn) * FOREARM / np.linalg.norm(FOREARM)).apply(SPIN_AXIS)
        flown = fly([1.8, -0.5, 1.8], [SPEED_M_S, 0.0, -0.5], axis, SPIN_RPM)
        rows.append(
            [
                SPEED_M_S / 0.44704,
                flown.induced_vertical_break_m / 0.0254,
                flown.induced_side_break_m / 0.0254,
            ]
        )
    return Balls(turn_deg=turns, ball=np.array(rows))


def throw_row(athlete: str, cue: str, hand_deg: float, rng: np.random.Generator) -> dict[str, object]:
    measured = hand_deg + MEASUREMENT_SD_DEG * rng.standard_normal()
    return {"athlete": athlete, "cue": cue, "hand_deg": measured, "hand_sd_deg": MEASUREMENT_SD_DEG}


def others_record(spread_deg: float, rng: np.random.Generator) -> pd.DataFrame:
    """Forty pitchers, six throws uncued and four under each cue."""
    rows = []
    for i in range(OTHERS):
        usual, adds = 10 * rng.standard_normal(), CUE_MEANS_DEG + spread_deg * rng.standard_normal(6)
        for cue, add, n in [("", 0.0, 6), *((c, a, 4) for c, a in zip(CUES, adds, strict=True))]:
            hands = usual + add + THROW_SD_DEG * rng.standard_normal(n)
            rows += [throw_row(f"other {i}", cue, hand, rng) for hand in hands]
    return pd.DataFrame(rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pitcher:
    adds_deg: NDArray[np.float64]
    wanted_turn_deg: float
    target: Target
    response: BallResponse
    uncued: pd.DataFrame


def draw_pitcher(balls: Balls, spread_deg: float, rng: np.random.Generator) -> Pitcher:
    wanted = rng.uniform(*TARGET_AWAY_DEG) * rng.choice([-1, 1])
    centre = balls.at(wanted)
    # Speed does not follow the hand: any speed will do.
    target = Target(centre=np.array([np.nan, *centre[1:]]), tolerance=np.array([1.0, WINDOW_IN, WINDOW_IN]))
    turns = rng.normal(0, 10, 40)  # the pitcher's earlier throws give the line of ball on hand
    thrown = balls.at(turns) + BALL_SD * rng.standard_normal((40, 3))
    lines = [np.polyfit(turns, thrown[:, i], 1, cov=True) for i in range(3)]
    response = BallResponse(
        at_uncued=np.array([line[0][1] for line in lines]),
        per_deg=np.array([line[0][0] for line in lines]),
        per_deg_sd=np.sqrt([line[1][0, 0] for line in lines]),
        scatter_sd=np.array(
            [np.std(thrown[:, i] - np.polyval(lines[i][0], turns), ddof=2) for i in range(3)]
        ),
    )
    uncued = pd.DataFrame([throw_row("own", "", THROW_SD_DEG * rng.standard_normal(), rng) for _ in range(6)])
    adds = CUE_MEANS_DEG + spread_deg * rng.standard_normal(6)
    return Pitcher(adds_deg=adds, wanted_turn_deg=wanted, target=target, response=response, uncued=uncued)


def throws_needed(pitcher: Pitcher, balls: Balls, choose, rng: np.random.Generator, said: list) -> int:
    """Throws until one lands in the window; `said` collects stated chance and outcome."""
    own = pitcher.uncued
    for n in range(1, LONGEST + 1):
        i, chance = choose(own, n)
        hand = pitcher.adds_deg[i] + THROW_SD_DEG * rng.standard_normal()
        ball = balls.at(hand) + BALL_SD * rng.standard_normal(3)
        off = np.abs(ball - pitcher.target.centre)[1:] / pitcher.target.tolerance[1:]
        hit = bool(off.max() <= 1)
        if chance is not None:
            said.append((chance, hit))
        if hit:
            return n
        row = throw_row("own", CUES[i], hand, rng) | dict(zip(BALL_FIGURES, ball, strict=True))
        own = pd.concat([own, pd.DataFrame([row])], ignore_index=True)
    return LONGEST


def by_suggestion(pitcher: Pitcher, priors: CuePriors):
    def choose(own: pd.DataFrame, n: int) -> tuple[int, float]:
        seen = with_balls(own, own.reindex(columns=list(BALL_FIGURES)).to_numpy(float), pitcher.response)
        first = suggest(own_responses(seen, priors), pitcher.response, pitcher.target, seed=n).options[0]
        return CUES.index(first.cue), first.chance_inside

    return choose


def in_random_order(rng: np.random.Generator):
    order = rng.permutation(6)
    return lambda own, n: (order[(n - 1) % 6], None)


def best_on_average(pitcher: Pitcher):
    best = int(np.argmin(np.abs(CUE_MEANS_DEG - pitcher.wanted_turn_deg)))
    return lambda own, n: (best, None)


def run(spread_deg: float, pitchers: int, balls: Balls, seed: int):
    rng = np.random.default_rng(seed)
    totals, said = np.zeros(3), []
    for k in range(pitchers):
        if k % ONE_RECORD == 0:  # one record's luck is shared by all whom it advises
            priors = cue_priors(others_record(spread_deg, rng), CUES)
        pitcher = draw_pitcher(balls, spread_deg, rng)
        for j, choose in enumerate(
            (by_suggestion(pitcher, priors), in_random_order(rng), best_on_average(pitcher))
        ):
            totals[j] += throws_needed(pitcher, balls, choose, np.random.default_rng([seed, k]), said)
    return totals / pitchers, said


def reliability(said: list) -> tuple[list[tuple[str, float, float, int]], bool]:
    """Stated against seen chance in bins; true where each bin agrees within 3 standard errors."""
    stated, seen = np.array([s for s, _ in said]), np.array([h for _, h in said], float)
    rows, holds = [], True
    for low in np.arange(0, 1, 0.1):
        inside = (stated >= low) & (stated < low + 0.1)
        if inside.sum() < 20:
            continue
        mean, rate, n = stated[inside].mean(), seen[inside].mean(), int(inside.sum())
        holds &= abs(rate - mean) <= 3 * np.sqrt(mean * (1 - mean) / n)
        rows.append((f"{low:.1f}-{low + 0.1:.1f}", mean, rate, n))
    return rows, holds


def write_chart(rows: list[tuple[str, float, float, int]], path: Path) -> None:
    """Stated chance against the share seen, with 95 % bars; on the line the chance is what it says."""
    with mpl.rc_context(STYLE):
        chart, axes = blank_chart(4.6, 4.2)
        stated, seen, n = (np.array(column) for column in list(zip(*rows, strict=True))[1:])
        axes.plot([0, 1], [0, 1], color=INK, lw=0.8, ls="--", label="as stated")
        bars = 1.96 * np.sqrt(seen * (1 - seen) / n)
        axes.errorbar(stated, seen, yerr=bars, fmt="o", color="#12355b", lw=1, label="seen, with 95 % bar")
        for x, y, count in zip(stated, seen, n, strict=True):
            axes.annotate(f" {count}", (x, y), fontsize=8, va="top")
        axes.set(xlim=(0, 0.8), ylim=(0, 0.8), aspect="equal")
        axes.set_xlabel("Stated chance that the next throw is in the window")
        axes.set_ylabel("Share of throws that were (number of throws beside)")
        legend_above(axes)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(svg_of(chart), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="as long as without: half a minute")
    parser.parse_args()
    balls = fly_balls()
    pitchers = 200
    alike, _ = run(0.0, pitchers, balls, seed=1)
    differing, said = run(8.0, pitchers, balls, seed=2)
    rows, holds = reliability(said)
    goals = [
        ("throws against random order, SD 8", "<= 0.67", differing[0] / differing[1], 0.667),
        ("throws against random order, SD 0", "<= 0.67", alike[0] / alike[1], 0.667),
        ("throws against best on average, SD 0", "<= 1.05", alike[0] / alike[2], 1.05),
        ("throws against best on average, SD 8", "<= 0.90", differing[0] / differing[2], 0.90),
    ]
    print(f"{pitchers} pitchers; mean throws to the window: suggestion, random order, best on average")
    print(f"  all alike (SD 0): {alike.round(2)}   as stated (SD 8): {differing.round(2)}")
    print(f"{'figure':42s} {'goal':>8s} {'result':>8s}")
    for name, goal, value, _ in goals:
        print(f"{name:42s} {goal:>8s} {value:8.2f}")
    print(f"{'stated chance is calibrated (3 SE a bin)':42s} {'yes':>8s} {'yes' if holds else 'no':>8s}")
    write_chart(rows, CHART)
    print(f"  stated chance, mean stated, share seen, throws (drawn in {CHART})")
    for bin_name, mean, rate, n in rows:
        print(f"  {bin_name:>8s} {mean:6.2f} {rate:6.2f} {n:6d}")
    met = sum(value <= limit for *_, value, limit in goals) + holds
    print(f"{met} of {len(goals) + 1} goals met")
    sys.exit(0 if met == len(goals) + 1 else 1)


if __name__ == "__main__":
    main()
