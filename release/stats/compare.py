"""Compares every pair of cues in every figure of a table of throws, as the throws were drawn.

In:   a tidy table (`athlete, pitch, throw, cue, block`, figures, `FIGURE_sd`), and the plan if there is one.
Out:  one `Comparison` for each athlete, pitch, figure and pair of cues.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from release.orientation.result import ANGLES
from release.session.result import Plan
from release.stats.change import USUAL_NOISE, Throws, difference
from release.stats.draws import redraw
from release.stats.equivalence import (
    detectable_change,
    false_discoveries,
    judge,
    more_throws,
    smallest_worth,
)
from release.stats.layout import Layout, layout
from release.stats.own_error import own_sd
from release.stats.read_throws import BreaksDiffer, break_windows
from release.stats.result import Comparison, Noise

CONSTANT = "every throw has the same value"
LARGE = 5_000  # throws of a table beyond which intervals keep their closed form
LEAST_BLOCKS = 8  # drawn freely: 70 orders, best p 2/70; six blocks reach 2/20 only


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What staff set, and what is known beforehand."""

    plan: Plan | None = None
    main: str | None = None  # the main outcome; None: the plan's, else the table's first figure
    worth: Mapping[str, float] | None = None  # by figure, where it is neither the plan's nor the usual
    noise: Mapping[tuple[str, str, str], Noise] | None = None  # by athlete, pitch and figure
    seed: int = 0
    refine: bool = True  # refine the intervals of short sessions; tens of milliseconds each


def compare(table: pd.DataFrame, figures: Sequence[str], settings: Settings = Settings()) -> list[Comparison]:
    """Compare the cues of every athlete and pitch.

    Args:
        table: As `read_throws` gives it: rows in the order thrown, a `session` number.
        figures: Columns to compare.
        settings: Plan, main outcome, smallest changes worth having.
    """
    main = settings.main or (settings.plan.main_outcome if settings.plan else None)
    main = main if main in figures else (figures[0] if main is None and figures else main)
    settings = replace(settings, refine=settings.refine and len(table) <= LARGE)
    found: list[Comparison] = []
    for (athlete, pitch), rows in table.groupby(["athlete", "pitch"], sort=False):
        group = _group(str(athlete), str(pitch), rows, figures, main, settings)
        found.extend(_controlled(group))
    return found


def _group(
    athlete: str, pitch: str, rows: pd.DataFrame, figures: Sequence[str], main: str | None, settings: Settings
) -> list[Comparison]:
    cues = list(dict.fromkeys(c for c in rows["cue"] if c))
    if settings.plan is not None:  # the plan says which cue is the first
        planned = settings.plan.cues
        cues = [c for c in planned if c in cues] + [c for c in cues if c not in planned]
    if settings.plan is not None and settings.plan.unit == "block" and _a_block_is_a_session(rows):
        rows = rows.assign(session=0)  # a grip planned over sessions: their levels are what is compared
    drawn = layout(rows, settings.plan)
    blank = Comparison(
        athlete=athlete,
        pitch=pitch,
        figure="",
        cue_a=cues[0] if cues else "",
        cue_b="",
        n_a=0,
        n_b=0,
        answer="design too small",
        unit=drawn.unit,
        why="only one cue" if cues else "no cue",
    )
    if len(cues) < 2:
        return [
            replace(blank, figure=name, n_a=int(rows[name].notna().sum()), main=name == main)
            for name in figures
        ]
    found = []
    planned = settings.plan.worth if settings.plan else {}
    stated = {**planned, **(settings.worth or {})}
    for cue_a, cue_b in combinations(cues, 2):
        orders, possible = _orders(drawn, cue_a, cue_b, settings.seed)
        for name in figures:
            one = replace(blank, figure=name, cue_a=cue_a, cue_b=cue_b, main=name == main)
            if len(windows := break_windows(rows, name)) > 1:
                found.append(replace(one, why=str(BreaksDiffer(windows))))
                continue
            noise = (settings.noise or {}).get((athlete, pitch, name), USUAL_NOISE)
            worth = smallest_worth(name, stated)
            found.append(
                _compared(
                    replace(one, worth=worth, why=""), rows, drawn, orders, possible, noise, settings.refine
                )
            )
    return found


def _a_block_is_a_session(rows: pd.DataFrame) -> bool:
    pairs = rows[["session", "block"]].drop_duplicates()
    return len(pairs) > 1 and pairs["session"].is_unique and pairs["block"].is_unique


def _orders(drawn: Layout, cue_a: str, cue_b: str, seed: int) -> tuple[NDArray[np.int8], int]:
    """Orders of the pair over the throws, shape (m, throws); and how many orders of units there are."""
    names = {cue_a: 0, cue_b: 1}
    others = {cue: 2 + i for i, cue in enumerate(dict.fromkeys(drawn.order)) if cue not in names}
    code = [({**names, **others})[cue] for cue in drawn.order]
    draws = redraw(code, drawn.stratum, drawn.longest_run, seed=seed)
    return draws.orders[:, drawn.unit_of_throw], draws.possible


def _compared(
    blank: Comparison,
    rows: pd.DataFrame,
    drawn: Layout,
    orders: NDArray[np.int8],
    possible: int,
    noise: Noise,
    refine: bool,
) -> Comparison:
    """One figure of one pair of cues. Missing values drop out of every order alike."""
    name = blank.figure
    value, sd = unwrapped_deg(name, rows[name].to_numpy(float)), own_sd(rows, name)
    used = np.isfinite(value) & (orders[0] >= 0)
    n_b, n = int(np.sum(used & (orders[0] == 1))), int(np.sum(used))
    blank = replace(blank, n_a=n - n_b, n_b=n_b)
    if not 0 < n_b < n:
        return replace(
            blank, why=f"no throw with this figure under {blank.cue_b if not n_b else blank.cue_a}"
        )
    throws = Throws(
        value=value[used],
        sd=sd[used],
        number=rows["throw"].to_numpy(float)[used],
        session=rows["session"].to_numpy(np.int64)[used],
    )
    kept = orders[:, used]
    kept = kept[kept.min(axis=1) < kept.max(axis=1)]  # with throws missing, an order may leave one cue only
    result = difference(throws, kept, noise, refine=refine)
    units = len(np.unique(drawn.unit_of_throw[used]))
    best_p = max(result.best_p, 2 / possible)
    too_small = best_p > 0.05 or (drawn.unit == "block" and units < LEAST_BLOCKS)
    constant = float(np.ptp(throws.value)) == 0
    one = replace(
        blank,
        difference=result.estimate,
        low=_end(result.low),
        high=_end(result.high),
        low90=_end(result.low90),
        high90=_end(result.high90),
        p=None if too_small else result.p,
        detectable=_detectable(throws, n - n_b, n_b),
        units=units,
        best_p=best_p,
        level=result.level,
        more_throws=None if constant else more_throws(result, blank.worth),
    )
    if too_small:
        least = (
            (LEAST_BLOCKS - units) * max(round(n / units), 1) if drawn.unit == "block" else LEAST_BLOCKS - n
        )
        return replace(
            one,
            more_throws=max(least, one.more_throws or 2, 2),
            why=f"{units} {drawn.unit}s in two cues can reach p {best_p:.2g} at best; {drawn.assumed}",
        )
    if constant:
        return replace(one, answer="cannot tell yet", why=CONSTANT)
    return replace(one, why=drawn.assumed)


def _controlled(group: list[Comparison]) -> list[Comparison]:
    """Answers, with false discoveries controlled over all but the main outcome, and over its own pairs."""
    q: dict[int, tuple[float, int]] = {}
    for main in (True, False):
        tested = [i for i, one in enumerate(group) if one.p is not None and one.main == main]
        controlled = false_discoveries([p for i in tested if (p := group[i].p) is not None])
        q.update({i: (value, len(tested)) for i, value in zip(tested, controlled, strict=True)})
    return [_answered(one, *q.get(i, (None, 0))) for i, one in enumerate(group)]


def _answered(one: Comparison, q: float | None, tests: int) -> Comparison:
    if q is None or one.p is None or one.why == CONSTANT:
        return one
    answer = judge(one.low90, one.high90, q, one.worth)
    if answer in ("changed", "no meaningful change"):
        return replace(one, q=q, answer=answer, more_throws=0)
    if one.p > 0.05:
        return replace(one, q=q, answer=answer)
    wanted = next(u for u in range(one.units + one.units % 2, 1000, 2) if 2 / comb(u, u // 2) <= 0.05 / tests)
    more = max(wanted - one.units, 1) * max(round((one.n_a + one.n_b) / one.units), 1)
    alone = f"p {one.p:.2g} alone, {q:.2g} among {tests} outcomes; {wanted} {one.unit}s can tell more"
    return replace(
        one, q=q, answer=answer, more_throws=more + more % 2, why="; ".join(filter(None, [one.why, alone]))
    )


def unwrapped_deg(name: str, value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Angles that straddle the end of the circle, brought to one side of it; other figures as they are."""
    known = value[np.isfinite(value)]
    if not (name.endswith("_deg") or name in ANGLES) or not len(known) or np.ptp(known) <= 180:
        return value
    middle = np.degrees(np.angle(np.mean(np.exp(1j * np.radians(known)))))
    return middle + (value - middle + 180) % 360 - 180


def _detectable(throws: Throws, n_a: int, n_b: int) -> float | None:
    """From the measurement error of a cue's mean; None where the measurement errors are not known."""
    if not throws.sd.any():
        return None
    per_cue = 2 / (1 / n_a + 1 / n_b)
    return detectable_change(float(np.sqrt(np.mean(throws.sd**2) / per_cue)))


def _end(value: float) -> float | None:
    return value if np.isfinite(value) else None
