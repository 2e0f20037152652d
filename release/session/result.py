"""What the session stage hands on."""

from dataclasses import dataclass
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

    def __post_init__(self) -> None:
        if len(self.stratum) != len(self.order) or not set(self.order) <= set(self.cues):
            raise ValueError(f"not a plan: {self}")

    @property
    def run_in_order(self) -> int:
        """The longest run of one cue in the order as drawn."""
        return max((len(list(run)) for _, run in groupby(self.order)), default=0)
