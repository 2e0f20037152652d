"""What to say next to one pitcher: the study's slopes, what each cue did, the wanted ball, ranked options.

Glue between the stages: tables in, `Advice` out; `advise_page.py` makes the pitcher's page of it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from release.errors import ReleaseError
from release.stats.own_error import own_sd
from release.stats.relate import covariates, slope
from release.stats.result import Slope
from release.suggest.ball import ball_response, pooled_slope, with_balls
from release.suggest.cue import Cue, about, current_words
from release.suggest.next import MORE_SUPINATION, evidence, suggest
from release.suggest.read_targets import USUAL_TOLERANCE
from release.suggest.read_words import Words
from release.suggest.rename import in_use, wordings
from release.suggest.response import UNCUED, cue_priors, own_responses, throw_scatter_deg
from release.suggest.result import (
    BALL_FIGURES,
    Advice,
    BallResponse,
    CueResponses,
    Option,
    Suggestion,
    Target,
)
from release.suggest.shape import words as shape_words
from release.suggest.target import best_throws_target, distance, pitcher_share, trend_per_throw
from release.suggest.tried import grip_history, tried, usual_cue

HANDS = ("forearm_rotation_deg", "palm_turn_deg")  # the first where both are measured as often
FIGURES = (*HANDS, *BALL_FIGURES, "arm_angle_deg")
LEAST_BALLS = 3  # measured balls without which nothing is said of chances
LEAST_FREE = 3  # degrees of freedom without which nothing is said of scatter
TRIALS = 3  # cues that nobody tried, listed beside those tried
FASTBALLS = ("four-seam", "sinker")
BREAKING = ("cutter", "slider", "sweeper", "slurve", "curveball")
# Which way a cue is meant to turn the palm of a pitcher: -1 toward supination, +1 toward pronation.
MEANT_TURN = {"more beside it": -1, "more behind the ball": 1, "more in front": 1}

Floats = NDArray[np.float64]


class NoSuchThrows(ReleaseError):
    """The table holds no throw of this athlete and pitch."""

    def __init__(self, athlete: str, pitch: str, known: Sequence[str]) -> None:
        super().__init__(f"no throw of {athlete}, {pitch}; the table has: {'; '.join(known)}")


class NoHand(ReleaseError):
    """No angle of the hand to go by."""

    def __init__(self, athlete: str, pitch: str) -> None:
        super().__init__(
            f"neither forearm_rotation_deg nor palm_turn_deg is measured on {athlete}'s {pitch} throws"
        )


class TooFewBest(ReleaseError):
    """A target needs three measured throws."""

    def __init__(self, wanted: Sequence[int]) -> None:
        said = ", ".join(map(str, wanted))
        super().__init__(
            f"throws {said}: fewer than three of them have a measured ball, and two are no target"
        )


def advise(
    rows: pd.DataFrame,
    athlete: str,
    pitch: str,
    words: Words,
    *,
    target: Target | None = None,
    best_throws: Sequence[int] = (),
    usual: str | None = None,
    throws_left: int | None = None,
) -> Advice:
    """What is known of one pitcher's pitch, and what could be tried next.

    Args:
        rows: A tidy table of throws as `read_throws` or `throw_table` gives it, of this pitcher and others.
        athlete: The code.
        pitch: The pitch.
        words: The facility's cues and shapes.
        target: The wanted ball; None to take it from `best_throws`, or to rank nothing.
        best_throws: Numbers of this pitcher's throws that were as wanted, of the last session that has them.
        usual: The cue that counts as the usual; None for nothing said, or where every throw was cued the
            cue most thrown.
        throws_left: Throws left in today's plan; None where there is none.

    Raises:
        NoSuchThrows: The table has no throw of this athlete and pitch.
        NoHand: Neither angle of the hand was measured on them.
        TooFewBest: Fewer than three of the best throws have a measured ball.
    """
    rows = in_use(rows, words.renames, words.cues)
    rows = rows.assign(**{n: pd.to_numeric(rows[n], errors="coerce") for n in FIGURES if n in rows})
    of_pitch = rows[rows["pitch"] == pitch]
    own = of_pitch[of_pitch["athlete"] == athlete]
    if own.empty:
        pairs = rows[["athlete", "pitch"]].drop_duplicates().itertuples(index=False)
        raise NoSuchThrows(athlete, pitch, [f"{a} {p}" for a, p in pairs])
    hand = hand_figure(own, pitch, athlete)
    if usual is None:
        usual = usual_cue(own)
    usual = wordings(words.renames, "cue", current_words(words.cues)).get(usual, usual)
    thrown = labelled(of_pitch, hand, usual)
    own, others = thrown[thrown["athlete"] == athlete], thrown[thrown["athlete"] != athlete]
    if best_throws:
        target = target_of_best(own, best_throws)
    responses = _responses(own, others, words, usual)
    own = _levelled(own, responses)
    ball = _ball(thrown, own, responses.uncued_deg)
    seen = with_balls(own, _balls(own), ball)
    with_ball = own_responses(seen[seen["hand_deg"].notna()], responses.others)
    suggestion, why_not = _suggestion((with_ball, responses), ball, own, target, words, throws_left)
    fastball, arm = fastball_mph(rows, athlete), arm_angle_deg(own)
    speed, up, across = ball.at_uncued.tolist()
    below = float("nan") if fastball is None else fastball - speed
    away = distance(_balls(own), target) if target else np.full(len(own), np.nan)
    is_usual = (own["cue"] == UNCUED).to_numpy()
    return Advice(
        athlete=athlete,
        pitch=pitch,
        hand=hand,
        throws=len(own),
        sessions=own["session"].nunique(),
        usual=usual,
        usual_throws=int(is_usual.sum()),
        grip_changes=grip_history(own),
        mph_below_fastball=below,
        shape=shape_words(below, up, across, words.shapes, arm_angle_deg=arm),
        arm_angle_deg=arm,
        target=target,
        suggestion=suggestion,
        why_not=why_not,
        known=_known(responses),
        distances=tuple(away.tolist()),
        usual_distance=_median(away[is_usual]),
        inside=int(np.sum(away <= 1)),
        measured=int(np.isfinite(away).sum()),
        trend=trend_per_throw(away),
        own_shares=_own_shares(own, hand),
        planning=_planning(fastball, arm, pitch, words),
    )


def hand_figure(own: pd.DataFrame, pitch: str, athlete: str) -> str:
    """The angle that is measured on most of the throws."""
    seen = {name: int(own[name].notna().sum()) for name in HANDS if name in own}
    if not any(seen.values()):
        raise NoHand(athlete, pitch)
    return max(seen, key=lambda name: seen[name])


def target_of_best(own: pd.DataFrame, best_throws: Sequence[int]) -> Target:
    """The wanted ball at the median of the best throws."""
    named = own[own["throw"].isin([float(n) for n in best_throws])]
    named = named[named["session"] == named["session"].max()]
    balls = _balls(named)
    wanted = np.asarray(np.isfinite(balls).any(axis=1), np.bool_)
    try:
        return best_throws_target(balls, wanted, USUAL_TOLERANCE)
    except ValueError:
        raise TooFewBest(best_throws) from None


def labelled(rows: pd.DataFrame, hand: str, usual: str) -> pd.DataFrame:
    """The throws with what was tried as `cue`, and hand and error under plain names."""
    return rows.assign(cue=tried(rows, usual), hand_deg=rows[hand], hand_sd_deg=own_sd(rows, hand))


def _responses(own: pd.DataFrame, others: pd.DataFrame, words: Words, usual: str) -> CueResponses:
    seen, before = own[own["hand_deg"].notna()], others[others["hand_deg"].notna()]
    listed = [cue.words for cue in words.cues if cue.words != usual]
    thrown = [label for label in dict.fromkeys([*seen["cue"], *before["cue"]]) if label != UNCUED]
    cues = list(dict.fromkeys([*thrown, *listed]))
    priors = cue_priors(before, cues)
    if before.empty:  # nobody else: this pitcher's own scatter
        priors = replace(priors, throw_sd_deg=throw_scatter_deg(seen))
    return own_responses(seen, priors)


def _levelled(own: pd.DataFrame, responses: CueResponses) -> pd.DataFrame:
    """The throws with every session brought to the last one's uncued level: a camera moved is no turn."""
    turns = own["cue"].map(dict(zip(responses.cues, responses.mean_deg, strict=True))).fillna(0.0)
    level = (own["hand_deg"] - turns).groupby(own["session"]).transform("mean")
    return own.assign(hand_deg=own["hand_deg"] - level + responses.uncued_deg)


def _ball(thrown: pd.DataFrame, own: pd.DataFrame, uncued_deg: float) -> BallResponse:
    athlete = str(own["athlete"].iloc[0])
    slopes = [_pooled(thrown, athlete, figure) for figure in BALL_FIGURES]
    return ball_response(
        own["hand_deg"].to_numpy(float),
        own["hand_sd_deg"].to_numpy(float),
        _balls(own),
        (own["cue"] == UNCUED).to_numpy(),
        uncued_deg,
        slopes,
    )


def _pooled(thrown: pd.DataFrame, athlete: str, figure: str) -> tuple[float, float]:
    if figure not in thrown:
        return 0.0, 0.0
    found = {str(a): _slope(part, figure) for a, part in thrown.groupby("athlete", sort=False)}
    others = [s for a, s in found.items() if a != athlete and s is not None]
    return pooled_slope(found[athlete], others)


def _slope(rows: pd.DataFrame, figure: str) -> Slope | None:
    """One pitcher's slope of a ball figure on the hand, each session about its own level."""
    rows = rows[np.isfinite(rows["hand_deg"]) & np.isfinite(rows[figure])]
    if len(rows) < 5 or rows["hand_deg"].std() == 0:
        return None
    return slope(
        rows["hand_deg"].to_numpy(float),
        rows[figure].to_numpy(float),
        rows["hand_sd_deg"].to_numpy(float),
        pd.factorize(rows["session"])[0],
        covariates(rows),
    )


def _suggestion(
    responses: tuple[CueResponses, CueResponses],
    ball: BallResponse,
    own: pd.DataFrame,
    target: Target | None,
    words: Words,
    throws_left: int | None,
) -> tuple[Suggestion | None, str]:
    if target is None:
        return None, "no wanted ball; type one into a file (--target), or name three throws (--best-throw)"
    wished = np.isfinite(target.centre)
    if int(np.isfinite(_balls(own)[:, wished]).all(axis=1).sum()) < LEAST_BALLS:
        return None, f"fewer than {LEAST_BALLS} of these throws have a measured ball"
    with_ball, by_hand = responses
    found = suggest(with_ball, ball, target, throws_left=throws_left, by_hand=by_hand)
    return _short(found, words), ""


def _short(found: Suggestion, words: Words) -> Suggestion:
    """Every cue that was tried, and a few that nobody tried: first those meant to turn the hand as needed.

    Beside the evidence stands what the facility's list has of the cue.
    """
    meant = {cue.words: MEANT_TURN.get(cue.meant, 0) for cue in words.cues}
    untried = [o for o in found.options if not o.throws_own and not o.throws_others]
    needed = np.sign(np.nan_to_num(found.needed_turn_deg))
    untried = [o for o in untried if not needed or meant.get(o.cue, 0) in (0, needed)]
    untried.sort(key=lambda o: -meant.get(o.cue, 0) * needed)
    kept = untried[:TRIALS]
    listed = {cue.words: cue for cue in words.cues}
    options = tuple(
        _as_listed(o, listed[o.cue]) if o.cue in listed else o
        for o in found.options
        if o.throws_own or o.throws_others or o in kept
    )
    return replace(found, options=options)


def _as_listed(option: Option, cue: Cue) -> Option:
    """With what the list has of the cue; one that this pitcher never tried is warned of by its meaning."""
    asks = not option.throws_own and MEANT_TURN.get(cue.meant) == -1
    warned = (MORE_SUPINATION,) if asks and MORE_SUPINATION not in option.warnings else ()
    return replace(option, evidence=f"{option.evidence}; {about(cue)}", warnings=(*warned, *option.warnings))


def _known(responses: CueResponses) -> tuple[str, ...]:
    sd, others = np.sqrt(np.diag(responses.cov_deg2)), responses.others
    return tuple(
        f"{cue}: "
        + evidence(
            float(responses.mean_deg[i]),
            float(sd[i]),
            int(responses.throws[i]),
            int(others.throws[i]),
            int(others.pitchers[i]),
        )
        for i, cue in enumerate(responses.cues)
        if responses.throws[i] or others.throws[i]
    )


def fastball_mph(rows: pd.DataFrame, athlete: str) -> float | None:
    """The mean speed of the pitcher's fastballs; None where none was measured."""
    if "speed_mph" not in rows:
        return None
    speed = rows[(rows["athlete"] == athlete) & rows["pitch"].isin(FASTBALLS)]["speed_mph"].dropna()
    return float(speed.mean()) if len(speed) else None


def arm_angle_deg(own: pd.DataFrame) -> float | None:
    """The pitcher's mean arm angle on these throws; None where it was not measured."""
    angle = own["arm_angle_deg"].dropna() if "arm_angle_deg" in own else pd.Series(dtype=float)
    return float(angle.mean()) if len(angle) else None


def _balls(rows: pd.DataFrame) -> Floats:
    return rows.reindex(columns=list(BALL_FIGURES)).to_numpy(float)


def _median(values: Floats) -> float:
    return float(np.nanmedian(values)) if np.isfinite(values).any() else float("nan")


def _own_shares(own: pd.DataFrame, hand: str) -> dict[str, float | None]:
    """Of each figure's scatter under one cue in one session, the share that is not its stated error.

    None where no error is stated; a figure with too few throws, or that never varies, is left out.
    """
    found = {}
    for figure in (hand, *(f for f in BALL_FIGURES if f in own)):
        seen = own[own[figure].notna()]
        level = seen.groupby(["session", "cue"])[figure]
        free = len(seen) - level.ngroups
        off = (seen[figure] - level.transform("mean")).to_numpy(float)
        if free >= LEAST_FREE and off.any():
            sd = own_sd(seen, figure)
            stated = sd[sd > 0]
            scaled = off * np.sqrt((len(seen) - 1) / free)
            found[figure] = pitcher_share(scaled, stated) if len(stated) else None
    return found


def _planning(fastball: float | None, arm: float | None, pitch: str, words: Words) -> tuple[str, ...]:
    notes, share = [], words.breaking_ball_mph_per_fastball_mph
    if fastball is not None and pitch in BREAKING:
        notes.append(
            f"planning: fastball {fastball:.1f} mph; each mph more on it usually brings about {share:g} mph "
            f"to a {pitch} (common practice, no source)"
        )
    if arm is not None:
        notes.append(
            f"planning: from an arm angle of {arm:.0f}° backspin lifts {90 - arm:.0f}° toward the arm side "
            "of straight up; shape words are read as from 45° (common practice, no source)"
        )
    return tuple(notes)
