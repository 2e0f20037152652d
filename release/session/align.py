"""Links the lists of one session: clips of any cameras, throw sheet, flight file; any may be missing.

The two lists that pair best are joined, then one list after another; a list whose clock could stand in
several ways is not joined at all. Then each list is taken out again and paired with the rest: a row is
linked by itself where its probability is at least 0.99, everything else is asked with its candidates. A
person's word is final and the rest is aligned round it.
"""

from collections.abc import Sequence

import pandas as pd

from release.session.join import join, settle
from release.session.result import ClockFound, Fact, Session
from release.session.rows import rows_of
from release.session.spoken import ID, Words
from release.session.told import rows_told


def link(
    clips: pd.DataFrame | None,
    sheet: pd.DataFrame | None,
    flight: pd.DataFrame | None,
    facts: Sequence[Fact] = (),
) -> Session:
    """Link clips, sheet rows and flight rows of one session.

    Args:
        clips: `clip`, and where known `camera`, `time_s`, `throws`, `athlete`, `speed_mph` (as the clip
            shows it) with its standard uncertainty `speed_sd_mph`.
        sheet: `throw`, and where known `time_s`, `athlete`, `throws`, `pitch`; in the order thrown.
        flight: `flight`, and where known `time_s`, `athlete`, `throws`, `pitch`, `speed_mph`.
        facts: What people said of these rows.

    Returns:
        Every row of every list, once, linked or not; one row per clip where several cameras saw a throw.
    """
    tables = _tables(clips, sheet, flight)
    words = Words(tables, facts)
    lists = {name: words.without_extras(rows_of(name, table)) for name, table in tables.items()}
    joined = join(lists, words)
    rows = rows_told(joined, {name: settle(joined, name, words) for name in joined.placed}, words)
    clocks = tuple(
        ClockFound(
            name=name,
            against=joined.first,
            offset_s=clock.offset_s,
            drift_ppm=clock.drift * 1e6,
            jitter_sd_s=clock.jitter_sd_s,
            probability=clock.weight,
        )
        for name, clock in joined.clocks.items()
    )
    notes = [note for rows_ in lists.values() for note in rows_.notes]
    notes += [
        f"{name}: its clock could stand in several ways, so nothing is linked to it"
        for name in joined.unplaced
    ]
    first_s = min(joined.axis.values(), default=0.0)
    axis_s = {(ID[key[0].split()[0]], words.ids[key]): at - first_s for key, at in joined.axis.items()}
    return Session(rows=rows, axis_s=axis_s, clocks=clocks, notes=tuple(notes))


def _tables(
    clips: pd.DataFrame | None, sheet: pd.DataFrame | None, flight: pd.DataFrame | None
) -> dict[str, pd.DataFrame]:
    tables: dict[str, pd.DataFrame] = {}
    if clips is not None and len(clips):
        camera = clips["camera"].fillna("").astype(str) if "camera" in clips else pd.Series("", clips.index)
        tables |= {
            f"clips {name}".strip(): part.reset_index(drop=True) for name, part in clips.groupby(camera)
        }
    for name, table in (("sheet", sheet), ("flight", flight)):
        if table is not None and len(table):
            tables[name] = table.reset_index(drop=True)
    return tables
