"""Renames of cues and grips: the record keeps the words as said, and is read in the words now in use.

Two wordings that are given one name become one; a later rename goes over an earlier.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

RENAMED = ("cue", "grip_seams", "grip_offset")  # columns whose words a facility chooses itself


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


def in_use(rows: pd.DataFrame, renames: Sequence[Rename], cues: Mapping[str, str]) -> pd.DataFrame:
    """The throws in the words now in use.

    Args:
        rows: Columns of RENAMED, where there are some.
        renames: In the order made.
        cues: Every wording of the facility's cues to the one in use.
    """
    said = {name: rows[name].astype(object) for name in RENAMED if name in rows}
    known = {name: wordings(renames, name, cues if name == "cue" else {}) for name in said}
    return rows.assign(**{name: words.map(known[name]).fillna(words) for name, words in said.items()})
