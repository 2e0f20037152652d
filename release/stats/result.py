"""What the stats stage hands on. Differences are the second cue minus the first, in the figure's own unit."""

from dataclasses import dataclass
from typing import Literal

Answer = Literal["changed", "no meaningful change", "cannot tell yet", "design too small"]
Unit = Literal["throw", "block"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """How one athlete's throws scatter when nothing is changed.

    It sharpens a comparison and scales a plan; the re-randomisation test holds whatever it says.
    """

    throw_sd: float | None  # figure's unit; None where not known beforehand
    lag_correlation: float  # between one throw and the next
    drift_sd: float  # of the change over a whole session, in throw SDs
    sessions: int  # how many earlier sessions it rests on; 0 for the usual values


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Two cues compared in one figure by re-randomisation."""

    estimate: float
    se: float  # of the estimate, from the scatter about cue and trend
    low: float  # 95 % interval by inverting the test; -inf where it has no end
    high: float
    low90: float  # 90 % interval: two one-sided tests at 0.05
    high90: float
    p: float
    best_p: float  # the least p this design can reach, two-sided
    level: float  # the attainable level at or below 0.05
    n_a: int
    n_b: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One athlete, pitch, figure and pair of cues, with the answer."""

    athlete: str
    pitch: str
    figure: str
    cue_a: str
    cue_b: str  # empty where there is only one cue
    n_a: int
    n_b: int
    difference: float | None = None  # cue_b minus cue_a
    low: float | None = None  # 95 % interval; None where it has no end
    high: float | None = None
    p: float | None = None  # None where the design is too small to be tested
    answer: Answer
    more_throws: int | None = None  # that would likely settle it; 0 when settled, None where unknown
    main: bool = False  # the one figure named before the session
    q: float | None = None  # p after false-discovery control over the group; the main outcome's own p
    worth: float | None = None  # the smallest change worth having, set by staff
    detectable: float | None = None  # 1.96 * sqrt(2) * standard error of measurement of a cue's mean
    low90: float | None = None  # 90 % interval, which must lie inside the worth for "no meaningful change"
    high90: float | None = None
    unit: Unit  # what was drawn
    units: int = 0  # how many of them carry the figure
    best_p: float | None = None  # the least p the design can reach
    level: float | None = None  # the attainable level at or below 0.05
    why: str  # what was assumed, and what stands in the way
