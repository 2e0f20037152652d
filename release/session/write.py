"""Writes the links of a session, a row for every row that came in."""

import csv
from collections.abc import Iterable, Mapping
from pathlib import Path

from release.read_table import SetAside
from release.session.read_season import PastSession
from release.session.result import LinkedRow, Session
from release.spreadsheet import inert

COLUMNS = ("clip", "throw", "flight", "probability", "state", "why")


def write_links(session: Session, path: Path, set_aside: Mapping[str, Iterable[SetAside]]) -> None:
    """Write the links as CSV.

    Args:
        session: The links.
        path: Where to.
        set_aside: Rows that could not be read, by column (`clip`, `throw`, `flight`): they stand alone.
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for row in session.rows:
            writer.writerow(_cells(row))
        for column, rows in set_aside.items():
            for aside in rows:
                named = {name: aside.key if name == column else "" for name in COLUMNS[:3]}
                why = f"row {aside.row} was set aside: {aside.why}"
                writer.writerow([*named.values(), "", "alone", why])


def _cells(row: LinkedRow) -> list[str]:
    cells = [row.clip or "", row.throw or "", row.flight or "", f"{row.probability:.6f}", row.state, row.why]
    return [str(inert(cell)) for cell in cells]


def write_season(sessions: Iterable[PastSession], folder: Path) -> None:
    """Write the links of each session that could be linked, under its folder's name."""
    folder.mkdir(parents=True, exist_ok=True)
    for past in sessions:
        if past.linked is not None:
            name = past.name.replace("/", "-").replace("\\", "-")
            write_links(past.linked.session, folder / f"{name}.csv", past.linked.set_aside)
