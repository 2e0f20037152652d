"""What the session stage hands on."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import groupby
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How the cues of a session were drawn, before it was thrown.

    A unit is one throw or one block of throws. The draw shuffles `order` within each stratum and keeps a
    shuffle only where no cue comes more than `longest_run` times in a row.
    """

    unit: Literal["throw", "block"]
    cues: tuple[str, ...]
    order: tuple[str, ...]  # the cue of each unit as drawn
    stratum: tuple[int, ...]  # the stratum of each unit, from 0; all 0 where drawn freely
    within: tuple[str, ...]  # columns (athlete, pitch) for each value of which the same plan was drawn
    longest_run: int | None  # None: no bound
    seed: int | None
    main_outcome: str | None  # the one figure named before the session
    # By figure, the smallest change worth having where it is not the usual.
    worth: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len(self.stratum) != len(self.order) or not set(self.order) <= set(self.cues):
            raise ValueError(f"not a plan: {self}")

    @property
    def run_in_order(self) -> int:
        """The longest run of one cue in the order as drawn."""
        return max((len(list(run)) for _, run in groupby(self.order)), default=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A person's word on what belongs together; final."""

    kind: Literal["link confirmed", "link rejected", "marked extra"]
    clip: str | None = None
    throw: str | None = None
    flight: str | None = None
    who: str = ""
    at: str = ""  # ISO 8601


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """What an undecided row may belong to."""

    clip: str | None
    throw: str | None
    flight: str | None
    probability: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkedRow:
    """One throw as the lists have it: what belongs together, or a row that stands alone."""

    clip: str | None
    throw: str | None
    flight: str | None
    probability: float  # that all of the row belongs together; of the likeliest candidate where asked
    state: Literal["linked", "asked", "alone"]
    why: str
    candidates: tuple[
        Candidate, ...
    ]  # likeliest first: where asked, what to choose from; else the runners-up


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFound:
    """How one list's clock stands to the first list's."""

    name: str
    against: str
    offset_s: float  # positive: this clock is ahead
    drift_ppm: float
    jitter_sd_s: float
    probability: float  # of this offset among those that the times allow


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """The lists of one session, linked."""

    rows: tuple[LinkedRow, ...]  # in the order thrown, as well as it is known
    # Seconds since the first row on one clock, by column (clip, throw, flight) and name; else the order.
    axis_s: Mapping[tuple[str, str], float]
    clocks: tuple[ClockFound, ...]
    notes: tuple[str, ...]
