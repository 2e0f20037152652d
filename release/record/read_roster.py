"""Reads a roster file, and lists the clips that are due to be deleted."""

from datetime import date
from pathlib import Path

import pandas as pd
import pandera.pandas as pa
from sqlalchemy import select

from release.read_table import SetAside, Table, checked, read_text_table
from release.record import schema as t
from release.record.read import roster, table
from release.record.read_traces import traces
from release.record.write_open import Logbook, reading

AGE_BANDS = ("under 13", "13 to 15", "16 to 17", "18 or over")
CONSENTS = ("guardian", "own")
COLUMNS = ("athlete", "throws", "age_band", "consent", "consent_day", "keep_until", "name")


def read_roster(path: Path) -> Table:
    """Read a roster: a row an athlete, columns as `COLUMNS`, all but the code optional; "" missing.

    An athlete under 18 whose consent is given as their own is set aside: it takes a guardian's.

    Raises:
        TableUnreadable, ColumnsMissing: It is no table, or has no column `athlete`.
    """
    rules = {
        "athlete": pa.Column(object, pa.Check(lambda cells: cells != "", error="is empty", ignore_na=False)),
        "throws": _one_of("throws", ("R", "L")),
        "age_band": _one_of("age_band", AGE_BANDS),
        "consent": _one_of("consent", CONSENTS),
        "consent_day": _day(),
        "keep_until": _day(),
    }
    found = checked(read_text_table(path, COLUMNS), path, rules, ())
    rows, wrong = found.rows, list(found.set_aside)
    twice = rows["athlete"].duplicated(keep="first")
    minor = pd.Series(False, index=rows.index)
    if {"age_band", "consent"} <= set(rows.columns):
        minor = rows["age_band"].isin(AGE_BANDS[:-1]) & (rows["consent"] == "own")
    for out, why in (
        (twice, "stands in the file twice"),
        (minor & ~twice, "is under 18: it takes a guardian's consent"),
    ):
        wrong += [SetAside(row=int(i), key=str(rows["athlete"][i]), why=why) for i in rows.index[out]]
    kept = rows[~(twice | minor)]
    return Table(rows=kept[[c for c in COLUMNS if c in kept]], set_aside=tuple(wrong), notes=found.notes)


def due(logbook: Logbook, today: date | None = None) -> pd.DataFrame:
    """The clips of athletes whose `keep_until` has come: proposed for deletion, never deleted by themselves.

    Args:
        logbook: Where.
        today: The day to count from; None for today.

    Returns:
        A row a clip: athlete, keep_until, session_name, day, clip (its name), sha256.
    """
    listed = roster(logbook, today=today)
    late = listed[listed["due"]].set_index("athlete")["keep_until"]
    with reading(logbook) as connection:
        whose = {sha256: code for code in late.index for sha256 in traces(connection, str(code)).clips}
    of_session = (t.sessions.c.name.label("session_name"), t.sessions.c.day)
    query = select(t.clips.c.sha256, t.clips.c.name.label("clip"), *of_session).join(t.sessions)
    clips = table(logbook, query.order_by(t.sessions.c.day, t.clips.c.created, t.clips.c.name))
    clips = clips[clips["sha256"].isin(set(whose))]
    clips = clips.assign(athlete=clips["sha256"].map(whose))
    clips = clips.assign(keep_until=clips["athlete"].map(late))
    columns = ["athlete", "keep_until", "session_name", "day", "clip", "sha256"]
    return clips.sort_values("athlete", kind="stable", ignore_index=True)[columns]


def _one_of(column: str, words: tuple[str, ...]) -> pa.Column:
    error = f"is none of {', '.join(words)}"
    check = pa.Check(lambda cells: cells.isin(["", *words]), error=error, ignore_na=False)
    return pa.Column(object, check, required=False)


def _day() -> pa.Column:
    check = pa.Check(lambda cells: cells.map(_is_day), error="is not a day like 2027-08-31", ignore_na=False)
    return pa.Column(object, check, required=False)


def _is_day(cell: str) -> bool:
    try:
        return cell == "" or date.fromisoformat(cell).isoformat() == cell
    except ValueError:
        return False
