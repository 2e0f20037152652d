"""What is known so far, valid after every throw and whenever one stops.

In:   throws in pairs, each pair one of either cue in an order drawn by a fair coin.
Out:  evidence against "no change", a confidence sequence, one of three answers.

Under "the cue shifts every throw by exactly s", a pair's difference less s keeps its size whatever the coin
showed, and has either sign with equal chance, however throws drift, depend on one another, or scatter.
So a bet on the sign at even odds is fair: capital multiplies by 1 + tanh(b (D - s)), which is what a normal
likelihood ratio becomes given |D - s|. Capital that starts at 1 ever reaches 1/alpha with chance at most
alpha (Ville 1939); shifts at which it never did make a confidence sequence. The size b of the bet may use
all that was known before the pair: the prior is an equal mixture of effects of STEPS SDs of a pair's
difference, that SD from the athlete's earlier sessions or, without them, from the pairs before.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import logsumexp

from release.stats.result import LiveStep, Noise

ALPHA = 0.05
STEPS = (1.0, 2.5)  # effects that the bets are made for, in SDs of a pair's difference
PRIOR_PAIRS = 2.0  # weight of the first guess at that SD against the pairs seen

Floats = NDArray[np.float64]


def drawn_cues(cues: tuple[str, str], throws: int, seed: int) -> list[str]:
    """The cue of each throw: both cues once in every two throws, in an order drawn by a fair coin.

    The coin of a pair depends on the seed and the pair alone, so that drawing more changes none before.
    """
    order: list[str] = []
    for pair in range((throws + 1) // 2):
        first = int(np.random.default_rng([seed, pair]).integers(2))
        order += [cues[first], cues[1 - first]]
    return order[:throws]


def pair_differences(value: Sequence[float], cue: Sequence[str], cues: tuple[str, str]) -> Floats:
    """Second cue minus first of each whole pair that was thrown as drawn; NaN where a value is missing.

    Args:
        value: The figure of each throw from the first on; NaN where missing.
        cue: The cue of each throw.
        cues: First and second cue.
    """
    found = []
    for i in range(0, len(value) - 1, 2):
        pair = dict(zip(cue[i : i + 2], value[i : i + 2], strict=True))
        found.append(pair[cues[1]] - pair[cues[0]] if set(pair) == set(cues) else np.nan)
    return np.array(found, float)


def so_far(differences: Floats, worth: float, noise: Noise | None = None) -> list[LiveStep]:
    """What was known after each pair.

    Args:
        differences: Shape (pairs,), second cue minus first; NaN for a pair that is not complete.
        worth: The smallest change worth having.
        noise: The athlete's own scatter, where earlier sessions tell it.

    Returns:
        A step a complete pair; `evidence` is the largest capital so far against "no change".
    """
    d = differences[np.isfinite(differences)]
    bets = _bets(d, worth, noise)
    low, high, evidence, steps = -np.inf, np.inf, 1.0, []
    rules_out_more, rules_out_less = 0.0, 0.0
    for n in range(1, len(d) + 1):
        seen, bet = d[:n], bets[:n]
        evidence = max(evidence, float(np.exp(_log_two_sided(seen, bet, 0.0))))
        low = max(low, -_upper(-seen, bet, ALPHA / 2))
        high = min(high, _upper(seen, bet, ALPHA / 2))
        rules_out_more = max(rules_out_more, _log_capital(worth - seen, bet))
        rules_out_less = max(rules_out_less, _log_capital(seen + worth, bet))
        ruled_out = min(rules_out_more, rules_out_less) >= np.log(1 / ALPHA)
        answer = "cannot tell yet"
        if evidence >= 1 / ALPHA:
            answer = "changed"
        if ruled_out:
            answer = "no meaningful change"
        steps.append(
            LiveStep(
                throws=2 * n,
                estimate=float(np.median(seen)),
                low=low,
                high=high,
                evidence=evidence,
                answer=answer,
            )
        )
    return steps


def _bets(d: Floats, worth: float, noise: Noise | None) -> Floats:
    """1 over the SD of a pair's difference as known before each pair, shape (pairs,)."""
    if noise is not None and noise.throw_sd:
        sd = noise.throw_sd * np.sqrt(2 * (1 - noise.lag_correlation))
        return np.full(len(d), 1 / max(sd, 1e-9))
    squares = [0.0] + [float(np.sum((d[:k] - d[:k].mean()) ** 2)) for k in range(1, len(d))]
    free = np.maximum(np.arange(len(d)) - 1, 0)
    return 1 / np.sqrt((PRIOR_PAIRS * worth**2 + np.array(squares[: len(d)])) / (PRIOR_PAIRS + free))


def _log_capital(d: Floats, bet: Floats) -> float:
    """Log capital of bets that the differences are positive. log(1 + tanh x) = log 2 - log(1 + e^(-2x))."""
    x = np.outer(STEPS, bet * d)
    return float(logsumexp(np.sum(np.log(2) - np.logaddexp(0, -2 * x), axis=1)) - np.log(len(STEPS)))


def _log_two_sided(d: Floats, bet: Floats, shift: float) -> float:
    return float(np.logaddexp(_log_capital(d - shift, bet), _log_capital(shift - d, bet)) - np.log(2))


def _upper(d: Floats, bet: Floats, alpha: float) -> float:
    """The least shift above which capital bet on "less" has reached 1/alpha; inf where none has."""

    def excess(shift: float) -> float:
        return _log_capital(shift - d, bet) - np.log(1 / alpha)

    far = float(d.max() + 50 / bet.min())
    if excess(far) < 0:
        return float("inf")
    return float(brentq(excess, float(d.min() - 50 / bet.min()), far))
