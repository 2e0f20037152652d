"""Writes relations of hand and ball as CSV."""

from collections.abc import Sequence
from pathlib import Path

from release.stats.relate import relation_table
from release.stats.result import Relation


def write_relations(found: Sequence[Relation], path: Path) -> None:
    """Write a row a pitch; empty cells could not be told."""
    path.parent.mkdir(parents=True, exist_ok=True)
    relation_table(found).to_csv(path, index=False, float_format="%.6g", lineterminator="\n")
