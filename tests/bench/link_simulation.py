"""Simulated sessions for the linking bench: the truth, and the three lists that see parts of it.

Each list misses rows, adds rows of its own (warm-up throws, catch play), and keeps a clock with its own
offset, drift and jitter, as `Regime` says.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

PITCHES = {"four-seam": 1.0, "slider": 0.9, "changeup": 0.88, "curveball": 0.83}
LISTS = ("clip", "throw", "flight")


@dataclass(frozen=True, kw_only=True)
class Regime:
    throws: tuple[int, int] = (20, 120)
    pitchers: tuple[int, int] = (1, 4)
    missing: tuple[float, float] = (0.0, 0.20)
    extra: tuple[float, float] = (0.0, 0.10)
    jitter_sd_s: float = 2.0
    gap_s: tuple[float, float] = (12.0, 40.0)
    gap_cv: float | None = None  # metronomic: gaps of 26 s, equal within this share
    sheet_timed: bool = True
    stray: bool = False  # extra rows fall anywhere, even beside a throw
    speeds_seen: bool = False  # clips show the ball's speed, most of them


def simulate(rng: np.random.Generator, regime: Regime = Regime()) -> dict[str, pd.DataFrame]:
    """Three tables with a column `truth`: the throw's number, or -1 for a row that is no throw."""
    n = int(rng.integers(regime.throws[0], regime.throws[1] + 1))
    share = {name: rng.uniform(*regime.extra) for name in LISTS}
    # Every ball comes a gap after the one before, be it a throw of the session or an extra of one list.
    balls = ["session"] * n + [
        name for name in LISTS if not regime.stray for _ in range(round(n * share[name]))
    ]
    balls = np.array(balls)[rng.permutation(len(balls))]
    if regime.gap_cv is None:
        gaps = rng.uniform(*regime.gap_s, len(balls))
    else:
        gaps = 26 * (1 + regime.gap_cv * rng.uniform(-1, 1, len(balls)))
    when = np.cumsum(gaps)
    time = when[balls == "session"]
    extras = {name: when[balls == name] for name in LISTS}
    if regime.stray:
        extras = {name: rng.uniform(0, time[-1], round(n * share[name])) for name in LISTS}
    k = int(rng.integers(regime.pitchers[0], regime.pitchers[1] + 1))
    turn = int(rng.integers(1, 6))
    who = (np.arange(n) // turn) % k
    hand = rng.choice(["R", "L"], k, p=[0.7, 0.3])
    fastest = rng.uniform(72, 94, k)
    pitch = rng.choice(list(PITCHES), n, p=[0.5, 0.25, 0.15, 0.1])
    speed = fastest[who] * [PITCHES[p] for p in pitch] + rng.normal(0, 1.5, n)
    truth = pd.DataFrame(
        {
            "time_s": time,
            "athlete": np.char.add("P", who.astype(str)),
            "throws": hand[who],
            "pitch": pitch,
            "speed_mph": speed,
            "truth": np.arange(n),
        }
    )
    lists = {name: _seen(rng, truth, extras[name], regime, name) for name in LISTS}
    clips = lists["clip"].drop(columns=["athlete", "pitch", "speed_mph"])
    if regime.speeds_seen:
        clips = clips.assign(**_speeds_seen(rng, lists["clip"]["speed_mph"].to_numpy()))
    sheet = lists["throw"].drop(columns=["speed_mph"] + ([] if regime.sheet_timed else ["time_s"]))
    return {
        "clips": clips,
        "sheet": sheet,
        "flight": lists["flight"].drop(columns=["athlete", "pitch", "throws"]),
    }


def _speeds_seen(rng: np.random.Generator, true_mph: np.ndarray) -> dict[str, np.ndarray]:
    """The speed that each clip shows: one factor for the camera, each its own error, some quite astray."""
    n = len(true_mph)
    sd = rng.uniform(0.03, 0.10, n)
    seen = true_mph * np.exp(rng.normal(0, 0.1) + sd * rng.standard_normal(n))
    seen = np.where(rng.random(n) < 0.05, true_mph.mean() * rng.uniform(0.5, 1.5, n), seen)
    seen[rng.random(n) < 0.2] = np.nan
    return {"speed_mph": seen, "speed_sd_mph": sd * seen}


def _seen(
    rng: np.random.Generator, truth: pd.DataFrame, extra_s: np.ndarray, regime: Regime, name: str
) -> pd.DataFrame:
    kept = truth[rng.random(len(truth)) >= rng.uniform(*regime.missing)]
    extra = truth.sample(len(extra_s), replace=True, random_state=int(rng.integers(2**31)))
    rows = pd.concat([kept, extra.assign(time_s=extra_s, truth=-1)]).sort_values("time_s", kind="stable")
    drift = rng.uniform(-100e-6, 100e-6)
    offset = rng.uniform(-12, 12) * 3600
    clock = rows["time_s"] * (1 + drift) + offset + rng.normal(0, regime.jitter_sd_s, len(rows))
    rows = rows.assign(time_s=clock)
    if name != "throw":  # the sheet keeps the order thrown whatever time is written
        rows = rows.sort_values("time_s")
    return rows.assign(**{name: [str(i + 1) for i in range(len(rows))]}).reset_index(drop=True)
