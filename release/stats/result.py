"""What the stats stage hands on. Differences are the second cue minus the first, in the figure's own unit."""

from dataclasses import dataclass, replace
from typing import Literal

Answer = Literal["changed", "no meaningful change", "cannot tell yet", "design too small"]
Unit = Literal["throw", "block"]

MANY = 1000  # more throws than this are no plan


def more_throws_words(more: int) -> str:
    """How many more throws would likely settle it; of thousands only that they are many."""
    return f"about {more} more throws" if more <= MANY else f"more than {MANY} more throws"


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """How one athlete's throws scatter when nothing is changed.

    It sharpens a comparison and scales a plan; the re-randomisation test holds whatever it says.
    """

    throw_sd: float | None  # figure's unit; None where not known beforehand
    lag_correlation: float  # between one throw and the next
    drift_sd: float  # of the change over a whole session about `drift`, in throw SDs
    drift: float = 0.0  # the usual change over a whole session, in throw SDs
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

    def turned(self) -> "Comparison":
        """The same comparison with the other cue taken from this one."""

        def less(value: float | None) -> float | None:
            return None if value is None else -value

        return replace(
            self,
            cue_a=self.cue_b,
            cue_b=self.cue_a,
            n_a=self.n_b,
            n_b=self.n_a,
            difference=less(self.difference),
            low=less(self.high),
            high=less(self.low),
            low90=less(self.high90),
            high90=less(self.low90),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveStep:
    """What was known after some throws of a live session."""

    throws: int
    estimate: float  # median of the pairs' differences, second cue minus first
    low: float  # 95 % confidence sequence: holds the truth at every step at once; -inf where open
    high: float
    evidence: float  # against "no change"; 20 and more at any time: changed
    answer: Answer


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """How often an effect would be found, by simulation."""

    effect: float
    throws: int
    found: float  # share of simulated sessions with p at or below 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """Ball figure per unit of the hand figure."""

    slope: float
    low: float  # 95 %
    high: float
    plain: float  # ordinary least squares, shrunken by the noise in the angle
    reliability: float  # share of the angle's spread that is not measurement error


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """One hand figure against one ball figure, for one pitch."""

    pitch: str
    hand: str
    ball: str
    throws: int
    athletes: int
    r: float | None  # repeated-measures correlation, within athletes
    r_low: float | None
    r_high: float | None
    p: float | None
    within: Slope | None  # None where it cannot be told; `why` says why
    own: tuple[
        tuple[str, float, float, float], ...
    ]  # athlete, mean hand, mean ball, own corrected slope or NaN
    between_r: float | None  # of the athletes' means: another question than `r`
    between_p: float | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Cue -> hand -> ball: the ball's change and how much of it goes through the measured hand."""

    hand_per_cue: float  # figure's unit
    ball_per_hand: float  # with the cue held
    total: float  # of the cue on the ball
    direct: float  # not through the measured hand
    through: float  # NaN where the angle scatters no more than it is measured, the cue held
    through_low: float  # 95 %, percentile bootstrap
    through_high: float
    share: float | None  # through / total; None where the total is not distinct from 0
    throws: int
    assumption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """What a cue does over athletes, and for each."""

    athletes: tuple[str, ...]
    own: tuple[float, ...]  # each athlete's own estimate
    own_se: tuple[float, ...]
    shrunk: tuple[float, ...]  # drawn toward the pooled one as far as the athlete's own is uncertain
    pooled: float
    low: float  # 95 %, small-sample
    high: float
    between_sd: float  # of athletes' true effects
    per_throw: float  # fatigue: change from one throw to the next
    carry_over: float | None  # of the cue of the throw before
    carry_over_p: float | None
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsOfAgreement:
    """First minus second reading."""

    bias: float
    sd: float
    low: float  # bias less 1.96 SD
    high: float
    bias_low: float  # 95 % interval of the bias
    bias_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Repeated readings of the same throws."""

    readings: int
    throws: int
    icc: dict[str, tuple[float, float, float]]  # six forms (Shrout and Fleiss 1979): value, 95 % interval
    sem: float  # root of the residual mean square, readers' own levels taken out
    detectable: float  # 1.96 * sqrt(2) * SEM
    limits: LimitsOfAgreement | None  # of two readings


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionMean:
    """One session's throws under one cue."""

    session: int  # from 0, in order
    cue: str  # "" for throws made as usual
    mean: float
    low: float  # 95 %, from the scatter of throws; NaN with one throw
    high: float
    throws: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Retention:
    """Whether a cue's change shows in later throws without the cue being said. Described, not drawn."""

    figure: str
    cue: str
    said: float  # what the cue did while it was said: cued minus usual within sessions; NaN if never both
    lasted: float  # usual throws of later sessions minus usual throws before the cue was first said
    low: float  # 95 %, sessions as the unit; -inf and inf where there are too few sessions
    high: float
    sessions_before: int
    sessions_after: int
    throws_before: int
    throws_after: int
    answer: Literal["has lasted", "has not lasted", "cannot tell yet"]
    why: str
