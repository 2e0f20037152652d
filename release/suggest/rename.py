"""Renames of cues and grips: the record keeps the words as said, and is read in the words now in use.

Two wordings that are given one name become one; a later rename goes over an earlier.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from release.errors import ReleaseError
from release.session.result import Plan
from release.suggest.cue import Cue, current_words

RENAMED = ("cue", "grip_seams", "grip_offset")  # columns whose words a facility chooses itself


class PlannedCuesMerged(ReleaseError):
    """Two cues that a plan drew between are one by the renames."""

    def __init__(self, cues: Sequence[str]) -> None:
        super().__init__(
            f"the plan drew between {', '.join(f'“{cue}”' for cue in cues)}, and the renames make two of "
            "them one; nothing is left to compare there. Leave --cues out, or take that rename out"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rename:
    """One wording that is called otherwise from now on."""

    of: str  # one of RENAMED
    old: str
    new: str

    def __post_init__(self) -> None:
        if self.of not in RENAMED or not self.old or not self.new or self.old == self.new:
            raise ValueError(f"a rename needs one of {', '.join(RENAMED)} and two different wordings: {self}")


def wordings(renames: Sequence[Rename], of: str, known: Mapping[str, str]) -> dict[str, str]:
    """Every wording to the one in use.

    Args:
        renames: In the order made.
        of: The column.
        known: What leads where before any of them.
    """
    found = dict(known)
    for one in renames:
        if one.of == of:
            now = {word: one.new if used == one.old else used for word, used in found.items()}
            found = now | {one.old: one.new, one.new: one.new}
    return found


def words_in_use(renames: Sequence[Rename], cues: Sequence[Cue]) -> dict[str, dict[str, str]]:
    """Every wording of each column of RENAMED to the one in use.

    Args:
        renames: In the order made.
        cues: The facility's, as now called.
    """
    return {name: wordings(renames, name, current_words(cues) if name == "cue" else {}) for name in RENAMED}


def in_use(rows: pd.DataFrame, renames: Sequence[Rename], cues: Sequence[Cue]) -> pd.DataFrame:
    """The throws in the words now in use.

    Args:
        rows: Columns of RENAMED, where there are some.
        renames: In the order made.
        cues: The facility's, as now called.
    """
    known = {name: words for name, words in words_in_use(renames, cues).items() if name in rows}
    now = {n: pd.Series([words.get(w, w) for w in rows[n]], rows.index, object) for n, words in known.items()}
    return rows.assign(**now)


def plan_in_use(plan: Plan, renames: Sequence[Rename], cues: Sequence[Cue]) -> Plan:
    """The plan in the words now in use.

    Args:
        plan: As drawn.
        renames: In the order made.
        cues: The facility's, as now called.

    Raises:
        PlannedCuesMerged: Two of the plan's cues have become one.
    """
    known = wordings(renames, "cue", current_words(cues))
    now = tuple(known.get(cue, cue) for cue in plan.cues)
    if len(set(now)) < len(set(plan.cues)):
        raise PlannedCuesMerged(plan.cues)
    return replace(plan, cues=now, order=tuple(known.get(cue, cue) for cue in plan.order))
