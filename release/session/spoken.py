"""What people said of the rows, by row instead of by name."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from release.session.pairing import Pairs
from release.session.result import Fact
from release.session.rows import Rows

ID = {"clips": "clip", "sheet": "throw", "flight": "flight"}

Key = tuple[str, int]  # list and row in it


class Words:
    """A person's word, by row instead of by name."""

    def __init__(self, tables: dict[str, pd.DataFrame], facts: Sequence[Fact]) -> None:
        self.ids: dict[Key, str] = {}
        known: dict[tuple[str, str], Key] = {}
        for name, table in tables.items():
            column = ID[name.split()[0]]
            for i, value in enumerate(table[column].astype(str)):
                self.ids[name, i] = value
                known.setdefault((column, value), (name, i))
        self.together: list[frozenset[Key]] = []
        self.apart: list[frozenset[Key]] = []
        self.extras: set[Key] = set()
        for fact in facts:
            said = {c: getattr(fact, c) for c in ("clip", "throw", "flight")}
            keys = frozenset(
                known[c, str(v)] for c, v in said.items() if v is not None and (c, str(v)) in known
            )
            self._say(fact.kind, keys)

    def _say(self, kind: str, keys: frozenset[Key]) -> None:
        """The later word holds: what was said before and cannot be true beside it is dropped."""
        if kind == "marked extra":
            self.together = [said for said in self.together if not said & keys]
            self.extras |= keys
        elif len(keys) < 2:
            return
        elif kind == "link confirmed":
            self.extras -= keys
            self.apart = [said for said in self.apart if not said <= keys]
            self.together = [said for said in self.together if not _against(said, keys)]
            self.together.append(keys)
        else:
            self.together = [said for said in self.together if not keys <= said]
            self.apart.append(keys)

    def without_extras(self, rows: Rows) -> Rows:
        """These rows but for those marked as extra."""
        return rows.take(
            np.array([i for i in range(len(rows)) if rows.member[i][0] not in self.extras], np.int64)
        )

    def pairs(self, whole: Rows, added: Rows) -> tuple[Pairs, Pairs]:
        """Pairs of rows confirmed, and rejected."""
        node = {key: i for i, keys in enumerate(whole.member) for key in keys}
        row = {keys[0]: j for j, keys in enumerate(added.member)}

        def found(sets: list[frozenset[Key]]) -> Pairs:
            return frozenset(
                (node[x], row[y]) for keys in sets for x in keys & node.keys() for y in keys & row.keys()
            )

        return found(self.together), found(self.apart)

    def spoken_of(self, key: Key) -> bool:
        """Whether a person said of this row that it belongs with another."""
        return any(key in keys for keys in self.together)

    def said(self, key: Key, others: set[Key]) -> bool:
        """Whether a person said that this row belongs with one of the others."""
        return any(key in keys and keys & others for keys in self.together)

    def not_with(self, key: Key) -> tuple[Key, ...]:
        """The rows of which a person said that this one does not belong with them."""
        return tuple(sorted({other for keys in self.apart if key in keys for other in keys - {key}}))


def _against(one: frozenset[Key], other: frozenset[Key]) -> bool:
    """Whether they share a row, and together name two throws or two balls; a throw may have two clips."""
    numbered = [name for name, _ in one | other if not name.startswith("clips")]
    return bool(one & other) and len(numbered) > len(set(numbered))
