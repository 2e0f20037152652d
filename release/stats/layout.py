"""What was drawn: the units of a group of throws, by the plan, or by the table's own `block` column."""

from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from math import comb

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from release.session.result import Plan
from release.stats.result import Unit

NOT_DRAWN = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The units of one athlete's throws of one pitch, in the order thrown."""

    unit: Unit
    order: tuple[str, ...]  # the cue of each unit; empty where none was given
    stratum: tuple[int, ...]
    longest_run: int | None
    unit_of_throw: NDArray[np.int64]  # shape (throws,)
    assumed: str  # what was taken for granted, in words; empty where the plan says it all


def layout(rows: pd.DataFrame, plan: Plan | None) -> Layout:
    """The units of one athlete and pitch.

    Args:
        rows: The throws in order, with `throw`, `cue`, `block` (text, empty where not in a block), `session`.
        plan: How the cues were drawn; None: blocks if the table names blocks, else throws.
    """
    if plan is not None:
        return _planned(rows, plan)
    if (rows["block"] != "").any():
        blocks = enumerate(zip(rows["session"], rows["block"], strict=True))
        key = [f"{s} {b}" if b else f"{s} throw {i}" for i, (s, b) in blocks]
        return _by_key(rows, key, "block", "no plan: taken as blocks drawn freely within a session")
    if _too_few_runs(rows):
        run = np.cumsum(
            [True] + [a != b for a, b in pairwise(zip(rows["session"], rows["cue"], strict=True))]
        )
        assumed = "no plan and long runs of one cue: each run taken as a block"
        return _by_key(rows, [str(r) for r in run], "block", assumed)
    return _by_key(
        rows,
        [str(i) for i in range(len(rows))],
        "throw",
        "no plan and no blocks: taken as drawn throw by throw",
    )


def _by_key(rows: pd.DataFrame, key: list[str], unit: Unit, assumed: str) -> Layout:
    """Units that share a key; a block whose throws had two cues is split at the change."""
    named = [f"{k} {cue}" for k, cue in zip(key, rows["cue"], strict=True)]
    names = list(dict.fromkeys(named))
    place = {name: i for i, name in enumerate(names)}
    unit_of_throw = np.array([place[name] for name in named], np.int64)
    first = [int(np.argmax(unit_of_throw == i)) for i in range(len(names))]
    return Layout(
        unit=unit,
        order=tuple(rows["cue"].iloc[first]),
        stratum=tuple(int(s) for s in rows["session"].iloc[first]),
        longest_run=None,
        unit_of_throw=unit_of_throw,
        assumed=assumed,
    )


def _planned(rows: pd.DataFrame, plan: Plan) -> Layout:
    """The plan's units, once for each session; units that lost their throws stay in the draw.

    After each session's units comes one without a cue: it holds throws that were not drawn, and parts the
    sessions so that no run goes on from one into the next.
    """
    sessions = list(dict.fromkeys(rows["session"]))
    place = np.concatenate([_places(rows[rows["session"] == s], plan) for s in sessions])
    plan, place = _own_strata(plan, place)
    size = len(plan.order)
    session = np.array([sessions.index(s) for s in rows["session"]])
    order, unit_of_throw = [*plan.order, NOT_DRAWN] * len(sessions), np.empty(len(rows), np.int64)
    thrown: set[int] = set()
    for i, (s, p, cue) in enumerate(zip(session, place, rows["cue"], strict=True)):
        unit = s * (size + 1) + p
        if p < size and unit not in thrown and cue:
            thrown.add(unit)
            order[unit] = cue
        unit_of_throw[i] = unit if order[unit] == cue else s * (size + 1) + size
    notes = [
        "the cues as thrown, in place of the plan's own order"
        if _differs(order, plan, len(sessions))
        else "",
        "throws that were not drawn are left out" if (unit_of_throw % (size + 1) == size).any() else "",
    ]
    run = max(len(list(group)) for cue, group in groupby(order))
    kept_rule = plan.longest_run is None or run <= plan.longest_run
    notes.append("" if kept_rule else "the order as thrown breaks the plan's run rule, which is set aside")
    strata = len(set(plan.stratum)) + 1
    return Layout(
        unit=plan.unit,
        order=tuple(order),
        stratum=tuple(k * strata + s for k in range(len(sessions)) for s in (*plan.stratum, strata - 1)),
        longest_run=plan.longest_run if kept_rule else None,
        unit_of_throw=unit_of_throw,
        assumed="; ".join(filter(None, notes)),
    )


def _own_strata(plan: Plan, place: NDArray[np.int64]) -> tuple[Plan, NDArray[np.int64]]:
    """The strata of the plan that hold throws: without a run rule the others were drawn apart from them."""
    size = len(plan.order)
    thrown = {plan.stratum[p] for p in place if p < size}
    if plan.longest_run is not None or not thrown:
        return plan, place
    kept = [i for i, s in enumerate(plan.stratum) if s in thrown]
    own = replace(
        plan, order=tuple(plan.order[i] for i in kept), stratum=tuple(plan.stratum[i] for i in kept)
    )
    at = {p: i for i, p in enumerate(kept)}
    return own, np.array([at.get(int(p), len(kept)) for p in place], np.int64)


def _differs(order: list[str], plan: Plan, sessions: int) -> bool:
    return order != [*plan.order, NOT_DRAWN] * sessions


def _places(rows: pd.DataFrame, plan: Plan) -> NDArray[np.int64]:
    """The unit of the plan that each throw of one session belongs to, from 0; the plan's length for none.

    Of the ways to read the numbers, the one under which the most cues are as drawn.
    """
    size, cue = len(plan.order), list(rows["cue"])
    rank = np.arange(len(rows), dtype=np.int64)
    if plan.unit == "throw":
        number = rows["throw"].to_numpy(np.int64)
        ways = [number - 1, number - number.min(), rank]
    else:
        block = list(rows["block"])
        names = [name for name in dict.fromkeys(block) if name]
        in_turn = np.array([names.index(b) if b else size for b in block], np.int64)
        numbered = [int(b) - 1 if b.isdigit() else size for b in block]
        ways = [np.array(numbered, np.int64), in_turn] if names else [rank * size // max(len(rows), 1)]
    ways = [np.where((way >= 0) & (way < size), way, size) for way in ways]
    drawn = [*plan.order, NOT_DRAWN]
    return max(
        ways, key=lambda way: (sum(drawn[p] == c for p, c in zip(way, cue, strict=True)), sum(way < size))
    )


def _too_few_runs(rows: pd.DataFrame) -> bool:
    """So few changes of cue as free drawing gives less than once in 20 (Wald and Wolfowitz 1940)."""
    cue = [c for c in rows["cue"] if c]
    changes = sum(a != b for a, b in pairwise(cue))
    counts = pd.Series(cue).value_counts().to_numpy()
    if len(counts) < 2 or changes + 1 == len(cue):
        return False
    return _runs_at_most(changes + 1, int(counts[0]), int(counts[1:].sum())) < 0.05


def _runs_at_most(runs: int, a: int, b: int) -> float:
    """Chance of at most so many runs among a and b units of two kinds, freely ordered."""
    ways = 0
    for r in range(2, runs + 1):
        k, odd = divmod(r, 2)
        one, other = (
            comb(a - 1, k - 1) * comb(b - 1, k - 1 + odd),
            comb(a - 1, k - 1 + odd) * comb(b - 1, k - 1),
        )
        ways += one + other
    return ways / comb(a + b, a)
