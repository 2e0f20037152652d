"""Plans a session: draws the order of cues, and says beforehand what it can show.

A unit is one throw or a block of throws. Each cue gets the same number of units; an order is drawn with
equal chance among those that keep the run rule, and the analysis re-draws exactly that.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from release.errors import ReleaseError
from release.session.result import Plan
from release.stats.change import USUAL_NOISE, Throws, randomisation_p
from release.stats.compare import LEAST_BLOCKS
from release.stats.draws import Draws, redraw
from release.stats.result import Noise, Power, Unit

TRIES = 100_000
NO_ORDER = "no order with at most {} in a row was found; allow longer runs"
SIMULATED = 200  # sessions a power; its standard error is then 3.5 % at most
TAILS = 4  # degrees of freedom of the simulated throws' scatter: heavier tails than normal

Floats = NDArray[np.float64]


class CannotPlan(ReleaseError):
    """No order keeps to what was asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSession:
    """A drawn plan and what it can reach for one athlete and pitch."""

    plan: Plan  # a stratum for each athlete and pitch, one after the other
    unit_of_throw: NDArray[np.int64]  # shape (throws,), from 0, over the whole plan
    possible: int  # orders that could have been drawn for one of them, for the first two cues
    best_p: float

    @property
    def alone(self) -> Plan:
        """The plan of the first athlete and pitch."""
        n = self.plan.stratum.count(0)
        return replace(self.plan, order=self.plan.order[:n], stratum=(0,) * n)


def plan_session(
    cues: Sequence[str],
    throws: int,
    *,
    unit: Unit = "block",
    block_throws: int = 2,
    longest_run: int | None = None,
    seed: int = 0,
    main_outcome: str | None = None,
    worth: Mapping[str, float] | None = None,
    groups: int = 1,
) -> PlannedSession:
    """Draw the order of cues, apart for each athlete and pitch.

    Args:
        cues: Two or more; the first is the one others are compared with.
        throws: The budget of each athlete and pitch; what does not share out evenly over the cues is left
            unthrown.
        unit: What is drawn: each throw's cue, or each block's.
        block_throws: Throws a block.
        longest_run: The most units in a row with one cue; None for no bound.
        seed: Of the draw.
        main_outcome: The one figure named beforehand.
        worth: By figure, the smallest change worth having, where it is not the usual.
        groups: How many athletes and pitches there are.

    Raises:
        CannotPlan: The budget gives no cue a unit, or no order keeps the run rule.
    """
    size = block_throws if unit == "block" else 1
    each = throws // (size * len(cues))
    if len(set(cues)) < 2 or each < 1:
        raise CannotPlan(
            f"{throws} throws give no {unit} of {size} to each of {len(set(cues))} different cues"
        )
    order = _drawn(np.repeat(np.arange(len(cues)), each), groups, longest_run, seed)
    plan = Plan(
        unit=unit,
        cues=tuple(cues),
        order=tuple(str(cues[int(i)]) for i in order),
        stratum=tuple(i * groups // len(order) for i in range(len(order))),
        within=(),
        longest_run=longest_run,
        seed=seed,
        main_outcome=main_outcome,
        worth=worth or {},
    )
    planned = PlannedSession(
        plan=plan, unit_of_throw=np.repeat(np.arange(len(order)), size), possible=1, best_p=1.0
    )
    possible, units = _draws(planned.alone).possible, 2 * each
    best = 1.0 if unit == "block" and units < LEAST_BLOCKS else min(2 / possible, 1.0)
    return replace(planned, possible=possible, best_p=best)


def _drawn(codes: NDArray[np.int64], groups: int, longest_run: int | None, seed: int) -> NDArray[np.int64]:
    """An order for each group; all are drawn again where a run goes on too long from one into the next."""
    rng = np.random.default_rng(seed)
    for _ in range(TRIES):
        order = np.concatenate([_one_drawn(codes, longest_run, rng) for _ in range(groups)])
        if longest_run is None or _longest(order) <= longest_run:
            return order
    raise CannotPlan(NO_ORDER.format(longest_run))


def _one_drawn(
    codes: NDArray[np.int64], longest_run: int | None, rng: np.random.Generator
) -> NDArray[np.int64]:
    for _ in range(TRIES):
        order = rng.permutation(codes)
        if longest_run is None or _longest(order) <= longest_run:
            return order
    raise CannotPlan(NO_ORDER.format(longest_run))


def _longest(order: NDArray[np.int64]) -> int:
    ends = np.flatnonzero(np.diff(order)) + 1
    return int(np.max(np.diff(np.concatenate([[0], ends, [len(order)]]))))


def _draws(plan: Plan) -> Draws:
    codes = [plan.cues.index(cue) for cue in plan.order]
    return redraw(codes, plan.stratum, plan.longest_run, seed=plan.seed or 0)


def power(
    planned: PlannedSession,
    effects: Sequence[float],
    throw_sd: float,
    noise: Noise = USUAL_NOISE,
    *,
    seed: int = 0,
) -> list[Power]:
    """How often each effect would be found at 0.05, by simulated sessions.

    Args:
        planned: The plan; its first two cues are compared.
        effects: In the figure's unit.
        throw_sd: SD from throw to throw, measurement included.
        noise: Correlation and drift of the simulated throws.
        seed: Of the simulation.
    """
    alone = planned.alone
    orders = _draws(alone).orders[:, planned.unit_of_throw[planned.unit_of_throw < len(alone.order)]]
    orders = orders[:, orders[0] >= 0]
    found = np.zeros(len(effects), int)
    rng = np.random.default_rng(seed)
    for _ in range(SIMULATED if planned.best_p <= 0.05 else 0):
        k = int(rng.integers(len(orders)))
        thrown = orders.copy()
        thrown[[0, k]] = thrown[[k, 0]]
        scatter = throw_sd * simulated_scatter(rng, orders.shape[1], noise)
        for i, effect in enumerate(effects):
            found[i] += randomisation_p(_throws(scatter + effect * thrown[0]), thrown, noise) <= 0.05
    return [
        Power(effect=float(e), throws=orders.shape[1], found=n / SIMULATED)
        for e, n in zip(effects, found, strict=True)
    ]


def throws_needed(
    cues: Sequence[str],
    effects: Sequence[float],
    throw_sd: float,
    noise: Noise = USUAL_NOISE,
    *,
    unit: Unit = "block",
    block_throws: int = 2,
    wanted: float = 0.8,
    budgets: Sequence[int] = (16, 24, 32, 48, 64),
) -> Mapping[float, int | None]:
    """The least of `budgets` with which each effect is found `wanted` of the time; None where none does."""
    needed: dict[float, int | None] = {float(e): None for e in effects}
    for budget in budgets:
        left = [e for e, n in needed.items() if n is None]
        if left:
            planned = plan_session(cues, budget, unit=unit, block_throws=block_throws)
            for one in power(planned, left, throw_sd, noise):
                if one.found >= wanted:
                    needed[one.effect] = budget
    return needed


def simulated_scatter(rng: np.random.Generator, n: int, noise: Noise) -> Floats:
    """Throws without any cue, SD 1 about a straight drift: AR(1), heavy-tailed innovations. Shape (n,)."""
    lag = noise.lag_correlation
    innovation = rng.standard_t(TAILS, n + 30) / np.sqrt(TAILS / (TAILS - 2)) * np.sqrt(1 - lag**2)
    series = np.empty(n + 30)
    series[0] = innovation[0]
    for i in range(1, n + 30):
        series[i] = lag * series[i - 1] + innovation[i]
    return series[30:] + noise.drift_sd * np.linspace(-0.5, 0.5, n)


def _throws(value: Floats) -> Throws:
    n = len(value)
    return Throws(value=value, sd=np.zeros(n), number=np.arange(1.0, n + 1), session=np.zeros(n, np.int64))
