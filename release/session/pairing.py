"""Two lists paired: the probability of every pair, over matchings, clock offsets and what else is known."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp
from scipy.stats import norm

from release.session.clocks import MOST_DRIFT, likely_offsets, told_by_gaps
from release.session.evidence import speed_log_ratio, words_log_ratio
from release.session.matching import Band, match_probability, whole_band
from release.session.rows import Rows

LONE = 0.15  # share of a list's rows that the other lacks, before it is learnt; common practice, no source
JITTER_SD_S = 2.83  # of a difference of two clocks, 2 s each, before it is learnt
JITTER_WEIGHT = 8.0
REACH_SD = 6.0  # no link beyond this many standard deviations
STRAY_SHARE = 0.002  # differences three times as wide
EXTRA_SHARE = 1 / 3  # of the lone rows, those that are no throw of the session; common practice, no source
LONE_WEIGHT = 20.0
# Two balls are not thrown closer together, whoever throws: common practice, no source; so long as few gaps of
# the session itself are seen to tell.
BALL_BACK_S, BALL_BACK_WEIGHT = 8.0, 100.0
CLOSE_S = 2.0  # rows of one list closer than this show that it has stray rows: no ball at all
ROUNDS = 3
MOST_KNOWN = 8.0  # log odds; no pair speaks for a clock more than this, were it confirmed
HOPELESS = 35.0  # log evidence behind the best at which an offset is dropped
DENSE_ROWS = 300  # rows by order only may be this far out of step
# How much of each list the other lacks, where there is no clock to tell: marginalised over.
ORDER_LONE = (0.003, 0.01, 0.03, 0.08, 0.2)
FORCED_LOG_ODDS = 200.0  # beyond any evidence

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741
Pairs = frozenset[tuple[int, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """How b's clock stands to a's: b = a + offset + drift (a - origin), give or take the jitter."""

    offset_s: float
    drift: float
    origin_s: float
    jitter_sd_s: float
    weight: float  # probability among the offsets tried


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Every pair of rows that may be one throw, with its probability and what speaks for it."""

    i: I  # shape (pairs,), row of a
    j: I  # shape (pairs,), row of b
    chance: F  # shape (pairs,)
    clocks: tuple[Clock, ...]  # likeliest first; empty where only order is known
    reasons: dict[str, F]  # log likelihood ratios under the likeliest clock; `apart_s`, SEEN_OFF: differences


def pair(
    a: Rows,
    b: Rows,
    forced: Pairs = frozenset(),
    barred: Pairs = frozenset(),
    clocks: tuple[Clock, ...] = (),
) -> Pairing:
    """Pair two lists.

    Args:
        a: One list, in order.
        b: The other, in order.
        forced: Pairs that a person confirmed; they do not cross.
        barred: Pairs that a person rejected.
        clocks: How the clocks stand, where that is known: the likeliest is refined, no other is tried.
    """
    if not len(a) or not len(b):
        none = np.zeros(0, np.int64)
        return Pairing(i=none, j=none, chance=np.zeros(0), clocks=(), reasons={})
    if not (a.timed and b.timed):
        return _by_order(a, b, forced, barred)
    if clocks:
        return _under_clock(a, b, clocks[0], forced, barred, rounds=2)[0]
    offsets = likely_offsets(a.time_s, b.time_s)
    if forced:
        apart = [b.time_s[j] - a.time_s[i] for i, j in forced]
        offsets = [(float(np.median(apart)), 0.0), *offsets]
    start = [
        Clock(offset_s=o, drift=d, origin_s=a.time_s[0], jitter_sd_s=JITTER_SD_S, weight=1)
        for o, d in offsets
    ]
    if len(start) > 1:
        tried = [_under_clock(a, b, clock, forced, barred, rounds=1) for clock in start]
        best = max(sum(logs) for _, logs in tried)
        start = [pairing.clocks[0] for pairing, logs in tried if sum(logs) > best - HOPELESS]
    tried = _distinct([_under_clock(a, b, clock, forced, barred, rounds=ROUNDS) for clock in start])
    jitter_sd_s = tried[0][0].clocks[0].jitter_sd_s
    told = told_by_gaps((a.time_s, b.time_s), (a.time_sd_s, b.time_sd_s), jitter_sd_s)
    logs = np.array([told * time + known for _, (time, known) in tried])
    return _mixed([pairing for pairing, _ in tried], logs, len(b), forced)


def _by_order(a: Rows, b: Rows, forced: Pairs, barred: Pairs) -> Pairing:
    n, m = len(a), len(b)
    if n * m <= 4_000_000:
        band = whole_band(n, m)
    else:
        middle = np.arange(n) * m // n
        band = Band(start=np.maximum(middle - DENSE_ROWS, 0), stop=np.minimum(middle + DENSE_ROWS, m))
    i, j = band.row, band.column
    words = words_log_ratio(a, b, i, j)
    fixed = _fixed(i, j, forced, barred) + sum(words.values())
    chance, reasons = np.zeros(len(i)), words
    for _ in range(ROUNDS):
        speeds, told = speed_log_ratio(a, b, i, j, chance)
        reasons = words | speeds | told
        known = fixed + sum(speeds.values())
        tried = []
        for lone in ORDER_LONE:
            p, log = match_probability(band, np.exp(known + np.log((1 - lone) ** 2 / lone**2)), m)
            # Of all rows together, the share paired by the model's own odds.
            tried.append((p, log + (n + m) * np.log(lone)))
        weight = np.exp([log for _, log in tried] - logsumexp([log for _, log in tried]))
        chance = np.sum([w * p for w, (p, _) in zip(weight, tried, strict=True)], axis=0)
    return Pairing(i=i, j=j, chance=chance, clocks=(), reasons=reasons)


def _under_clock(
    a: Rows, b: Rows, clock: Clock, forced: Pairs, barred: Pairs, *, rounds: int
) -> tuple[Pairing, tuple[float, float]]:
    """The pairing if the clocks stand about so, the clock refined, and the log evidence for it.

    The evidence is that of the times, and that of all else.
    """
    stray_1_s = _stray_rate(a, b)
    gaps = np.concatenate([np.diff(a.time_s), np.diff(b.time_s)])
    mean_gap_s, least_gap_s = float(np.median(gaps)), float(np.percentile(gaps, 2))
    seen = len(gaps) / (len(gaps) + BALL_BACK_WEIGHT)
    ball_back_s = seen * least_gap_s + (1 - seen) * BALL_BACK_S
    pairing, logs, lone = None, (0.0, 0.0), LONE
    for _ in range(rounds):
        expected = a.time_s + clock.offset_s + clock.drift * (a.time_s - clock.origin_s)
        reach = REACH_SD * float(np.hypot(clock.jitter_sd_s, np.hypot(a.time_sd_s.max(), b.time_sd_s.max())))
        band = Band(
            start=np.searchsorted(b.time_s, expected - reach),
            stop=np.searchsorted(b.time_s, expected + reach),
        )
        i, j = band.row, band.column
        apart = b.time_s[j] - expected[i]
        sd = np.sqrt(clock.jitter_sd_s**2 + a.time_sd_s[i] ** 2 + b.time_sd_s[j] ** 2)
        density = (1 - STRAY_SHARE) * norm.pdf(apart, 0, sd) + STRAY_SHARE * norm.pdf(apart, 0, 3 * sd)
        # Two rows so far apart that are not one throw: a lone throw, and another, an extra or a stray row.
        missed, extra = (1 - EXTRA_SHARE) * lone, EXTRA_SHARE * lone
        other = missed / mean_gap_s * norm.cdf((np.abs(apart) - least_gap_s) / sd)
        other += 2 * extra / mean_gap_s * norm.cdf((np.abs(apart) - ball_back_s) / sd)
        crowd = missed * (other + 2 * stray_1_s)
        words = words_log_ratio(a, b, i, j)
        speeds, told = speed_log_ratio(a, b, i, j, _so_far(pairing, i, j, len(b)))
        known = sum((words | speeds).values()) + _fixed(i, j, forced, barred)
        odds = np.log((1 - lone) ** 2 * density / crowd) + known
        chance, _ = match_probability(band, np.exp(np.clip(odds, -700, 300)), len(b))
        # Evidence for the clock: how close the pairs lie, not how many there are. Where throws come evenly
        # every shift by one pairs about as many, and each pair more leaves a throw more that neither saw.
        by_else = np.sum(chance * np.clip(known, -MOST_KNOWN, MOST_KNOWN))
        # Of how many rows one list has before the other begins or after it ends nothing is known, not even
        # the scale: a chance that falls as one over it.
        outside = _outside(expected, b.time_s, reach)
        logs = float(np.sum(chance * np.log(density * mean_gap_s))), float(by_else - np.log1p(outside))
        pairing = Pairing(
            i=i, j=j, chance=chance, clocks=(clock,), reasons={"apart_s": apart, **words, **speeds, **told}
        )
        clock = _refined(a, clock, i, apart, chance, sd)
        inside = len(a) + len(b) - outside
        lone = (max(inside - 2 * chance.sum(), 0) + LONE * LONE_WEIGHT) / (inside + LONE_WEIGHT)
    assert pairing is not None
    return replace(pairing, clocks=(clock,)), logs


def _stray_rate(a: Rows, b: Rows) -> float:
    """Rows per second that turn up beside a throw without being one: seen as rows too close together."""
    gaps = np.concatenate([np.diff(a.time_s), np.diff(b.time_s)])
    close = np.sum(gaps < CLOSE_S) if max(a.time_sd_s.max(), b.time_sd_s.max()) < CLOSE_S else 0
    return float((close + 0.02) / (len(gaps) + 50) / (2 * CLOSE_S))


def _outside(expected_s: F, b_s: F, reach_s: float) -> int:
    before = np.sum(expected_s < b_s[0] - reach_s) + np.sum(expected_s > b_s[-1] + reach_s)
    return int(before + np.sum(b_s < expected_s[0] - reach_s) + np.sum(b_s > expected_s[-1] + reach_s))


def _fixed(i: I, j: I, forced: Pairs, barred: Pairs) -> F:
    """Log odds that a person's word adds: what is rejected or stands against something confirmed is out."""
    fixed = np.zeros(len(i))
    for x, y in barred:
        fixed[(i == x) & (j == y)] = -FORCED_LOG_ODDS
    for x, y in forced:
        against = ((i <= x) & (j >= y)) | ((i >= x) & (j <= y))
        fixed[against & ~((i == x) & (j == y))] = -FORCED_LOG_ODDS
        fixed[(i == x) & (j == y)] = FORCED_LOG_ODDS
    return fixed


def _so_far(pairing: Pairing | None, i: I, j: I, m: int) -> F:
    if pairing is None:
        return np.zeros(len(i))
    key, wanted = pairing.i * m + pairing.j, i * m + j
    if not len(key):
        return np.zeros(len(i))
    at = np.searchsorted(key, wanted).clip(0, len(key) - 1)
    return np.where(key[at] == wanted, pairing.chance[at], 0.0)


def _refined(a: Rows, clock: Clock, i: I, apart: F, chance: F, sd: F) -> Clock:
    """Offset and drift by weighted least squares, the drift held near zero; then the jitter."""
    if chance.sum() < 2:
        return clock
    along = a.time_s[i] - clock.origin_s
    weight = chance / sd**2
    design = np.stack([np.ones_like(along), along])
    normal = (design * weight) @ design.T + np.diag([0.0, 1 / (MOST_DRIFT / 2) ** 2])
    step = np.linalg.solve(normal, (design * weight) @ apart - [0.0, clock.drift / (MOST_DRIFT / 2) ** 2])
    left = apart - step @ design
    own = np.maximum(left**2 - (sd**2 - clock.jitter_sd_s**2), 0.0)
    squared = (np.sum(chance * own) + JITTER_WEIGHT * JITTER_SD_S**2) / (chance.sum() + JITTER_WEIGHT)
    return replace(
        clock,
        offset_s=clock.offset_s + float(step[0]),
        drift=clock.drift + float(step[1]),
        jitter_sd_s=float(np.sqrt(squared)),
    )


def _distinct(
    tried: list[tuple[Pairing, tuple[float, float]]],
) -> list[tuple[Pairing, tuple[float, float]]]:
    """The likeliest first; two starts that ended at one offset count once."""
    kept: list[tuple[Pairing, tuple[float, float]]] = []
    for pairing, logs in sorted(tried, key=lambda each: -sum(each[1])):
        offset = pairing.clocks[0].offset_s
        if all(abs(offset - other.clocks[0].offset_s) > 3 for other, _ in kept):
            kept.append((pairing, logs))
    return kept


def _mixed(tried: list[Pairing], logs: F, m: int, forced: Pairs) -> Pairing:
    said = np.array([i * m + j for i, j in forced], np.int64)
    held = [np.isin(said, (p.i * m + p.j)[p.chance > 0.5]).sum() for p in tried]
    logs = logs + MOST_KNOWN * np.array(held)
    weights = np.exp(logs - logsumexp(logs))
    order = np.argsort(-weights, kind="stable")
    tried, weights = [tried[k] for k in order], weights[order]
    keys = np.concatenate([pairing.i * m + pairing.j for pairing in tried])
    mass = np.concatenate([w * pairing.chance for w, pairing in zip(weights, tried, strict=True)])
    key, at = np.unique(keys, return_inverse=True)
    best = tried[0]
    own = best.i * m + best.j
    reasons = {}
    for name, values in best.reasons.items():
        full = np.full(len(key), np.nan)
        full[np.searchsorted(key, own)] = values
        reasons[name] = full
    clocks = [replace(pairing.clocks[0], weight=float(w)) for w, pairing in zip(weights, tried, strict=True)]
    return Pairing(
        i=key // m,
        j=key % m,
        chance=np.bincount(at, mass, len(key)).astype(float),
        clocks=tuple(clocks),
        reasons=reasons,
    )
