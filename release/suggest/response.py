"""What each cue does to a pitcher's hand: other pitchers' record first, the pitcher's own throws over it.

Model: hand of a throw = what the pitcher does uncued + what the cue adds + throw-to-throw scatter +
measurement error; what a cue adds is normal about the cue's mean over pitchers. With normal scatter the
posterior is exact (Gelman et al., Bayesian Data Analysis, 3rd ed., section 5.4). Where the ball tells of the
turn too, hand and ball of a throw share its scatter and each has an error of its own.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from statsmodels.stats.meta_analysis import combine_effects

from release.suggest.result import CuePriors, CueResponses

UNCUED = ""
# Where nobody has tried a cue: how far it may turn a hand. Wide on purpose; from memory, no source.
UNKNOWN_TURN_SD_DEG = 12.0
# How pitchers are taken to differ before they are seen, and how many pitchers that guess weighs (our choice).
GUESSED_SPREAD_DEG, GUESSED_FREEDOM = 6.0, 1.0
# Taken while there are too few throws to tell: about what one pitcher's throws scatter by (from memory).
USUAL_THROW_SD_DEG = 5.0
LEAST_SD_DEG = 0.1  # no measurement of a hand is better

Floats = NDArray[np.float64]


def cue_priors(table: pd.DataFrame, cues: Sequence[str]) -> CuePriors:
    """Pool what `cues` did to the hands of many pitchers.

    Args:
        table: A row a throw: `athlete`, `cue` ("" where nothing was said), `hand_deg`, `hand_sd_deg`.
            The pitcher who is to be advised is left out by the caller.
        cues: The cues to pool.

    Returns:
        Means and spread by random-effects pooling of each pitcher's differences (iterated
        Paule-Mandel, statsmodels). Cues that nobody tried have mean 0 and a wide SD.
    """
    throw_sd = throw_scatter_deg(table)
    differences = _differences(table, throw_sd)
    told = [differences[differences["cue"] == cue] for cue in cues]
    pooled = [_pool(rows) for rows in told]
    return CuePriors(
        cues=tuple(cues),
        mean_deg=np.array([p[0] for p in pooled]),
        mean_sd_deg=np.array([p[1] for p in pooled]),
        spread_deg=_spread(pooled),
        throw_sd_deg=throw_sd,
        pitchers=np.array([p[3] for p in pooled]),
        throws=np.array([int(rows["n"].sum()) for rows in told]),
    )


def _spread(pooled: Sequence[tuple[float, float, float, int]]) -> float:
    """SD of pitchers about a cue's mean, one for all cues; a few pitchers alike do not prove that all are."""
    known = [(spread, n - 1) for _, _, spread, n in pooled if n >= 3]
    squares = sum(free * spread**2 for spread, free in known)
    free = sum(free for _, free in known)
    return float(np.sqrt((squares + GUESSED_FREEDOM * GUESSED_SPREAD_DEG**2) / (free + GUESSED_FREEDOM)))


def throw_scatter_deg(table: pd.DataFrame) -> float:
    """SD of throws of one pitcher under one cue in one session, with the measurement's share taken out."""
    groups = table.groupby([*_units(table), "cue"])["hand_deg"]
    freedom = (groups.count() - 1).sum()
    if freedom < 5:
        return USUAL_THROW_SD_DEG
    within = (groups.var(ddof=1) * (groups.count() - 1)).sum() / freedom
    return float(np.sqrt(max(within - np.square(table["hand_sd_deg"]).mean(), 1.0)))


def own_responses(own: pd.DataFrame, priors: CuePriors) -> CueResponses:
    """What each cue does to this pitcher's hand.

    Args:
        own: The pitcher's throws, columns as in `cue_priors`, in the order thrown; may be empty. Where there
            is a `session`, each session has a level of its own, so that a camera moved is no cue's doing.
            Where there are `ball_turn_deg` and `ball_turn_sd_deg` (`with_balls`), they tell of the turn too.
        priors: From everybody else.

    Returns:
        The posterior; with no throws of the pitcher it is the others' record, as wide as they differ.
    """
    known = own[own["cue"].isin((UNCUED, *priors.cues))]
    sessions = list(dict.fromkeys(known["session"])) if "session" in known else [0]
    level = known["session"].to_numpy() if "session" in known else np.zeros(len(known))
    design: Any = np.column_stack(
        [
            *((level == session).astype(float) for session in sessions or [0]),
            *((known["cue"] == cue).to_numpy(float) for cue in priors.cues),
        ]
    )
    levels = design.shape[1] - len(priors.cues)
    prior_var = np.concatenate([np.full(levels, 1e6), np.square(priors.mean_sd_deg) + priors.spread_deg**2])
    prior_mean = np.concatenate([np.zeros(levels), priors.mean_deg])
    told, pull = _told(known, design, levels, priors.throw_sd_deg)
    cov: Any = np.linalg.inv(np.diag(1 / prior_var) + told)
    mean = cov @ (prior_mean / prior_var + pull)
    last = levels - 1
    return CueResponses(
        cues=priors.cues,
        uncued_deg=float(mean[last]) if len(known) else float("nan"),
        uncued_sd_deg=float(np.sqrt(cov[last, last])) if len(known) else float("nan"),
        mean_deg=mean[levels:],
        cov_deg2=cov[levels:, levels:],
        throws=np.array([int((known["cue"] == cue).sum()) for cue in priors.cues]),
        throw_sd_deg=priors.throw_sd_deg,
        others=priors,
    )


def _told(known: pd.DataFrame, design: Floats, levels: int, throw_sd: float) -> tuple[Floats, Floats]:
    """The precision that the throws add, and what they pull toward.

    Each throw is measured by hand (level and turn) and maybe by ball (turn only); both have the throw's own
    scatter, which is taken out by the matrix inversion lemma.
    """
    rows = np.stack([design, design])
    rows[1, :, :levels] = 0.0
    unseen = pd.Series(np.nan, index=known.index)
    cells = [known.get(f"{by}_{end}", unseen) for by in ("hand", "ball_turn") for end in ("deg", "sd_deg")]
    value, sd = (
        np.array([np.asarray(cell, np.float64) for cell in cells], np.float64)
        .reshape(2, 2, -1)
        .transpose(1, 0, 2)
    )
    weight: Floats = np.nan_to_num(1 / np.square(np.maximum(sd, LEAST_SD_DEG)))
    pull = weight * np.nan_to_num(value)
    both = np.einsum("mn,mni->ni", weight, rows)
    shared = 1 / (1 / throw_sd**2 + weight.sum(axis=0))
    return (
        np.einsum("mni,mn,mnj->ij", rows, weight, rows) - both.T @ (shared[:, None] * both),
        np.einsum("mni,mn->i", rows, pull) - both.T @ (shared * pull.sum(axis=0)),
    )


def _units(table: pd.DataFrame) -> list[str]:
    return ["athlete", "session"] if "session" in table else ["athlete"]


def _differences(table: pd.DataFrame, throw_sd: float) -> pd.DataFrame:
    """Each pitcher's mean under a cue minus the uncued mean, within sessions, with its variance.

    A session without uncued throws tells nothing and is left out.
    """
    unit = table[_units(table)].astype(str).agg(" ".join, axis=1) if len(table) else table["athlete"]
    noise = throw_sd**2 + np.square(table["hand_sd_deg"])
    groups = table.assign(noise=noise, unit=unit).groupby(["unit", "cue"])
    means = groups.agg(
        hand=("hand_deg", "mean"),
        noise=("noise", "mean"),
        n=("hand_deg", "size"),
        athlete=("athlete", "first"),
    )
    means["var"] = means["noise"] / means["n"]
    means = means.reset_index()
    uncued = means[means["cue"] == UNCUED].set_index("unit")
    cued = means[(means["cue"] != UNCUED) & means["unit"].isin(uncued.index)]
    base = uncued.loc[cued["unit"]]
    weight = 1 / (cued["var"].to_numpy() + base["var"].to_numpy())
    turn = weight * (cued["hand"].to_numpy() - base["hand"].to_numpy())
    parts = cued[["athlete", "cue", "n"]].assign(weight=weight, turn=turn)
    whole = parts.groupby(["athlete", "cue"], as_index=False)[["n", "weight", "turn"]].sum()
    return whole.assign(turn=whole["turn"] / whole["weight"], var=1 / whole["weight"])


def _pool(rows: pd.DataFrame) -> tuple[float, float, float, int]:
    """Mean, its SD, spread over pitchers, number of pitchers."""
    turn: NDArray[np.float64] = rows["turn"].to_numpy(float)
    if len(turn) == 0:
        return 0.0, UNKNOWN_TURN_SD_DEG, 0.0, 0
    if len(turn) == 1:
        return float(turn[0]), float(np.hypot(np.sqrt(rows["var"].iloc[0]), UNKNOWN_TURN_SD_DEG)), 0.0, 1
    pooled: Any = combine_effects(turn, rows["var"].to_numpy(float), method_re="iterated")
    return float(pooled.mean_effect_re), float(pooled.sd_eff_w_re), float(np.sqrt(pooled.tau2)), len(turn)
