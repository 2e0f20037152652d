"""The orders of cues that a plan could have drawn instead of the one it drew.

In:   the cue of each unit (a throw or a block), its stratum, and the longest run that was allowed.
Out:  orders of the two compared cues, the observed one first; units with other cues stay where they are.
Why:  a test is exact only where it re-draws precisely what was drawn.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from math import comb, prod

import numpy as np
from numpy.typing import NDArray

ALL_UP_TO = 5000  # as many orders are listed one by one; of more, a seeded sample is taken
SAMPLED = 999

OTHER = -1

_State = tuple[int, tuple[int, ...], int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Orders of two cues over the units."""

    orders: NDArray[np.int8]  # shape (m, units): 0 first cue, 1 second cue, -1 another cue; row 0 observed
    possible: int  # how many orders the rule allows
    listed: bool  # every one of them is in `orders`


def redraw(order: Sequence[int], stratum: Sequence[int], longest_run: int | None, *, seed: int = 0) -> Draws:
    """Re-draw the two cues over their units, within strata, keeping the run rule.

    Args:
        order: 0 or 1 for the two cues, another number for any other cue, one a unit in the order thrown.
        stratum: The stratum of each unit.
        longest_run: The most units in a row that may have one cue; None for no bound.
        seed: Of the sample, where there are too many orders to list.

    Raises:
        ValueError: The observed order breaks the run rule, so it cannot have been drawn so.
    """
    paths = _Paths(tuple(order), tuple(stratum), longest_run)
    if longest_run is not None and _run(order) > longest_run:
        raise ValueError(f"the order has more than {longest_run} units of one cue in a row")
    possible = paths.count()
    observed = np.array([o if o in (0, 1) else OTHER for o in order], np.int8)
    if possible <= ALL_UP_TO:
        orders = np.array(paths.listed(), np.int8)
        first = np.flatnonzero((orders == observed).all(axis=1))[0]
        orders[[0, first]] = orders[[first, 0]]
        return Draws(orders=orders, possible=possible, listed=True)
    rng = np.random.default_rng(seed)
    sample = paths.sampled(rng) if longest_run else _shuffled(observed, tuple(stratum), seed)
    return Draws(orders=np.vstack([observed, sample]), possible=possible, listed=False)


def _run(order: Sequence[int]) -> int:
    return max(len(list(run)) for _, run in groupby(order))


def _shuffled(observed: NDArray[np.int8], stratum: tuple[int, ...], seed: int) -> NDArray[np.int8]:
    groups = tuple(s if o != OTHER else OTHER for s, o in zip(stratum, observed, strict=True))
    return observed[_shuffles(groups, seed)]


@lru_cache(maxsize=8)  # athletes with the same layout share the shuffles of positions
def _shuffles(groups: tuple[int, ...], seed: int) -> NDArray[np.int32]:
    rng, group = np.random.default_rng(seed), np.array(groups)
    places = np.tile(np.arange(len(group), dtype=np.int32), (SAMPLED, 1))
    for g in set(groups) - {OTHER}:
        where = np.flatnonzero(group == g)
        places[:, where] = where[np.argsort(rng.random((SAMPLED, len(where))), axis=1)]
    return places


class _Paths:
    """Orders as paths through states (unit, second cues left per stratum, last cue, its run so far)."""

    def __init__(self, order: tuple[int, ...], stratum: tuple[int, ...], longest_run: int | None) -> None:
        names = sorted(set(stratum))
        self.order, self.stratum = order, [names.index(s) for s in stratum]
        self.longest_run = longest_run
        self.free_from = np.zeros((len(order) + 1, len(names)), int)
        for i in reversed(range(len(order))):
            self.free_from[i] = self.free_from[i + 1]
            self.free_from[i, self.stratum[i]] += order[i] in (0, 1)
        seconds = np.bincount(
            self.stratum, weights=[o == 1 for o in order], minlength=len(names)
        )  # of the second cue, a stratum
        self.start: _State = (0, tuple(int(s) for s in seconds), OTHER, 0)
        self.ways = self._ways() if longest_run is not None or self.count() <= ALL_UP_TO else {}

    def count(self) -> int:
        if self.longest_run is None:
            return prod(comb(int(f), s) for f, s in zip(self.free_from[0], self.start[1], strict=True))
        return self.ways[self.start]

    def steps(self, state: "_State") -> list[tuple[int, "_State"]]:
        """The cues that may come next, each with the state it leads to."""
        i, left, last, run = state
        k, given, found = self.stratum[i], self.order[i], []
        for cue in (0, 1) if given in (0, 1) else (given,):
            after = (*left[:k], left[k] - (cue == 1), *left[k + 1 :]) if given in (0, 1) else left
            length = run + 1 if cue == last else 1
            too_long = self.longest_run is not None and length > self.longest_run
            if not too_long and 0 <= after[k] <= self.free_from[i + 1, k]:
                kept = (cue, length) if self.longest_run is not None else (OTHER, 0)
                found.append((cue, (i + 1, after, *kept)))
        return found

    def _ways(self) -> "dict[_State, int]":
        """How many allowed ways lead from each state to the end."""
        levels = [{self.start}]
        for _ in self.order:
            levels.append({after for state in levels[-1] for _, after in self.steps(state)})
        ways = dict.fromkeys(levels.pop(), 1)
        for level in reversed(levels):
            for state in level:
                ways[state] = sum(ways[after] for _, after in self.steps(state))
        return ways

    def listed(self) -> list[list[int]]:
        """Every allowed order."""
        paths: list[tuple[list[int], _State]] = [([], self.start)]
        for _ in self.order:
            paths = [
                ([*path, cue if cue in (0, 1) else OTHER], after)
                for path, state in paths
                for cue, after in self.steps(state)
                if self.ways[after]
            ]
        return [path for path, _ in paths]

    def sampled(self, rng: np.random.Generator) -> NDArray[np.int8]:
        """Orders drawn with equal chance among the allowed ones, shape (SAMPLED, units)."""
        chance = rng.random((SAMPLED, len(self.order)))
        sample = np.full(chance.shape, OTHER, np.int8)
        for row, chances in zip(sample, chance, strict=True):
            state = self.start
            for i, at in enumerate(chances):
                steps = self.steps(state)
                second = len(steps) > 1 and at >= self.ways[steps[0][1]] / self.ways[state]
                cue, state = steps[int(second)]
                row[i] = cue if cue in (0, 1) else OTHER
        return sample
