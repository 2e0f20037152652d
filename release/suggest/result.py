"""What the suggest stage hands on."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BALL_FIGURES = ("speed_mph", "induced_vertical_break_in", "horizontal_break_in")
NOTHING_SAID = "nothing said"  # what throws without a cue are called


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A word for a ball's shape and its box; each bound is (low, high), infinite where open."""

    name: str
    mph_below_fastball: tuple[float, float]
    induced_vertical_break_in: tuple[float, float]
    horizontal_break_in: tuple[float, float]  # positive to the glove side


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The wanted ball of one pitcher's pitch: a box in speed and break. NaN: no wish for that figure."""

    centre: NDArray[np.float64]  # shape (3,), BALL_FIGURES
    tolerance: NDArray[np.float64]  # shape (3,), half widths, positive

    def __post_init__(self) -> None:
        wished = np.isfinite(self.centre)
        if self.centre.shape != (3,) or self.tolerance.shape != (3,) or not wished.any():
            raise ValueError(f"a target needs three figures, at least one of them given: {self}")
        if not (self.tolerance[wished] > 0).all():
            raise ValueError(f"a target needs a positive tolerance beside each wish: {self.tolerance}")


@dataclass(frozen=True, slots=True, kw_only=True)
class CuePriors:
    """What each cue did to the hands of other pitchers: the turn it adds to what the pitcher does uncued."""

    cues: tuple[str, ...]
    mean_deg: NDArray[np.float64]  # shape (c,)
    mean_sd_deg: NDArray[np.float64]  # shape (c,), how well that mean is known
    spread_deg: float  # SD of pitchers about a cue's mean
    throw_sd_deg: float  # SD of one pitcher's throws under one cue, measurement apart
    pitchers: NDArray[np.int64]  # shape (c,), how many tried it beside uncued throws
    throws: NDArray[np.int64]  # shape (c,), how many throws they made under it beside uncued ones


@dataclass(frozen=True, slots=True, kw_only=True)
class CueResponses:
    """What each cue does to this pitcher's hand, others' record and the pitcher's own together."""

    cues: tuple[str, ...]
    uncued_deg: float  # the hand when nothing is said, in the last session
    uncued_sd_deg: float
    mean_deg: NDArray[np.float64]  # shape (c,), turn added by the cue
    cov_deg2: NDArray[np.float64]  # shape (c, c)
    throws: NDArray[np.int64]  # shape (c,), this pitcher's throws under it
    throw_sd_deg: float
    others: CuePriors


@dataclass(frozen=True, slots=True, kw_only=True)
class BallResponse:
    """How this pitcher's ball follows the hand: a line per figure."""

    at_uncued: NDArray[np.float64]  # shape (3,), BALL_FIGURES when nothing is said
    per_deg: NDArray[np.float64]  # shape (3,)
    per_deg_sd: NDArray[np.float64]  # shape (3,)
    scatter_sd: NDArray[np.float64]  # shape (3,), about the line


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One thing that could be tried next. Never an order."""

    cue: str
    turn_deg: float  # expected turn of the hand against uncued
    turn_sd_deg: float  # how well that is known
    chance_inside: float  # that the next throw lands in the window
    chance_closer: float  # that it lands closer to the centre than the pitcher's usual ball
    throws_own: int
    throws_others: int
    pitchers_others: int
    is_trial: bool  # too little is known: it would teach more than it promises
    evidence: str  # one line
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """The way the hand must turn for the wanted ball, and what could be tried, best first."""

    needed_turn_deg: float  # NaN where the ball is not known to follow the hand
    needed_turn_sd_deg: float
    why: str
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Where one pitcher's pitch stands, and what could be tried next."""

    athlete: str
    pitch: str
    hand: str  # the angle it rests on
    throws: int
    sessions: int
    usual: str  # the cue that counts as the usual; "" where nothing is said
    usual_throws: int
    grip_changes: tuple[str, ...]  # from throw to throw, the newest last
    mph_below_fastball: float  # the usual ball; NaN where no fastball was measured
    shape: tuple[str, ...]  # words for the usual ball
    arm_angle_deg: float | None  # None where not measured: shape words are read without it
    target: Target | None
    suggestion: Suggestion | None
    why_not: str  # why there is no suggestion; "" where there is one
    known: tuple[str, ...]  # what each cue tried did to the hand, a line each
    distances: tuple[float, ...]  # of each throw in order, in tolerances; NaN without target or ball
    usual_distance: float  # median of the usual throws, in tolerances; NaN without target or ball
    inside: int  # throws inside the window, of `measured`
    measured: int
    trend: tuple[float, float, float]  # of the distance, per throw, with its 95 % interval
    # By figure: of its scatter under one cue the part that is the pitcher's; None where no error is stated.
    own_shares: Mapping[str, float | None]
    planning: tuple[str, ...]  # notes on speed and arm angle


def share_clauses(
    own_shares: Mapping[str, float | None], label: Callable[[str], str], percent: str
) -> list[str]:
    """Whose each figure's scatter is, the pitcher's or the measurement's, a clause each.

    Args:
        own_shares: As in `Advice`.
        label: A figure in the reader's words.
        percent: How a share ends: "%" or " %".
    """
    clauses, unknown = [], []
    for figure, share in own_shares.items():
        name = label(figure)
        if share is None:
            unknown.append(name)
        elif share < 0.01:
            clauses.append(
                f"under one cue {name} scatters no more than its stated measurement error would make it"
            )
        else:
            clauses.append(
                f"of the scatter of {name} under one cue {100 * share:.0f}{percent} is the pitcher's, the "
                "rest the measurement's"
            )
    if unknown:
        clauses.append(
            f"no measurement error is stated for {', '.join(unknown)}: their scatter cannot be told apart"
        )
    return clauses
