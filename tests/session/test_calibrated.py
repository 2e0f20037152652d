"""What is stated as a probability comes true about as often, on lists with more jitter than assumed."""

import numpy as np
import pandas as pd

from release.session.pairing import Clock, pair
from release.session.rows import rows_of

JITTER_SD_S = 4.0  # of a difference; 2.83 are assumed


def drawn(seed):
    """Every pair of two lists under the right clock: what is stated, and whether it is one throw."""
    rng = np.random.default_rng(seed)
    when = np.cumsum(rng.uniform(12, 40, 60))
    lists = []
    for name in ("sheet", "flight"):
        kept = np.flatnonzero(rng.random(len(when)) > 0.1)
        time_s = when[kept] + rng.normal(0, JITTER_SD_S / np.sqrt(2), len(kept))
        order = np.argsort(time_s)
        lists.append((rows_of(name, pd.DataFrame({"time_s": time_s[order]})), kept[order]))
    (a, truth_a), (b, truth_b) = lists
    clock = Clock(offset_s=0, drift=0, origin_s=a.time_s[0], jitter_sd_s=2.83, weight=1)
    found = pair(a, b, clocks=(clock,))
    return found.chance, truth_a[found.i] == truth_b[found.j]


def test_stated_probabilities_come_true():
    stated, right = (np.concatenate(each) for each in zip(*map(drawn, range(150)), strict=True))
    for low, high in ((0.02, 0.2), (0.2, 0.8), (0.8, 0.99)):
        inside = (stated >= low) & (stated < high)
        error = np.sqrt(np.mean(stated[inside] * (1 - stated[inside])) / inside.sum())
        # A model of time is not the world: a tenth off where it is doubtful is near enough to choose by.
        assert abs(right[inside].mean() - stated[inside].mean()) < 0.1 + 3 * error
    assert right[stated >= 0.99].mean() > 0.998


def evenly(seed):
    """Two lists of 60 throws that come evenly, each without a tenth of them; how they are candidates."""
    rng = np.random.default_rng(seed)
    when = np.cumsum(26 * (1 + 0.03 * rng.uniform(-1, 1, 60)))
    lists = []
    for name in ("clips", "flight"):
        kept = np.flatnonzero(rng.random(len(when)) > 0.1)
        time_s = np.sort(when[kept] + rng.uniform(-9000, 9000) + rng.normal(0, 2, len(kept)))
        lists.append((rows_of(name, pd.DataFrame({"time_s": time_s})), kept))
    (a, truth_a), (b, truth_b) = lists
    found = pair(a, b)
    return found.chance, truth_a[found.i] == truth_b[found.j]


def test_of_even_throws_the_likeliest_candidates_are_those_that_begin_and_end_together():
    stated, right = (np.concatenate(each) for each in zip(*map(evenly, range(20)), strict=True))
    likely = (stated > 0.1) & (stated < 0.99)
    assert right[likely].mean() > stated[likely].mean()  # on the careful side
    assert right[stated < 0.05].mean() < 0.05
    assert not (stated > 0.99).any()
