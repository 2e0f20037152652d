"""What was said and decided about one athlete, and the balls wanted, as a logbook keeps them."""

from collections.abc import Mapping
from math import isnan
from typing import Literal

from sqlalchemy import select

from release.errors import NoSuchAthlete
from release.record import read, schema
from release.record.write import add_fact, add_note
from release.record.write_open import Logbook
from release.suggest.read_targets import target_of
from release.suggest.result import BALL_FIGURES, Target

Kind = Literal["words", "decision", "next"]
KINDS: Mapping[Kind, str] = {"words": "athlete's words", "decision": "decision", "next": "next time"}


def keep_note(
    logbook: Logbook,
    athlete: str,
    text: str,
    *,
    kind: Kind,
    who: str,
    session: str | None = None,
    throw: int | None = None,
) -> None:
    """Keep the athlete's words for a cue, the coach's decision, or the note for next time.

    Args:
        logbook: Where.
        athlete: The code.
        text: As said.
        kind: Whose words or what they are for.
        who: Who writes it down.
        session: Its name or id; None for the newest.
        throw: The throw that it is about, if one.

    Raises:
        NoSuchAthlete: The code is not in the logbook.
        NoSuchSession: There is no such session.
    """
    if athlete not in set(read.roster(logbook)["athlete"]):
        raise NoSuchAthlete(athlete)
    known = session is not None or len(read.sessions(logbook)) > 0
    where = read.session_id(logbook, session) if known else None
    add_note(logbook, text, who=who, kind=KINDS[kind], athlete=athlete, session=where, throw=throw)


def notes_of(logbook: Logbook, athlete: str) -> list[tuple[str, str, str]]:
    """When, kind and text of the athlete's notes, newest first."""
    query = select(schema.notes).where(schema.notes.c.athlete == athlete)
    rows = read.table(logbook, query.order_by(schema.notes.c.at.desc())).to_dict("records")
    return [(str(row["at"])[:10], f"{row['kind']} ({row['who']})", str(row["text"])) for row in rows]


def keep_target(logbook: Logbook, athlete: str, pitch: str, target: Target, *, who: str) -> None:
    """Keep the wanted ball of one pitcher's pitch; what is in force already is not kept again."""
    known = wanted_balls(logbook, athlete).get(pitch)
    wishes = _wishes(target)
    if known is None or _wishes(known) != wishes:
        add_fact(logbook, "target set", who=who, athlete=athlete, value={"pitch": pitch, **wishes})


def _wishes(target: Target) -> dict[str, list[float]]:
    pairs = zip(BALL_FIGURES, target.centre.tolist(), target.tolerance.tolist(), strict=True)
    return {name: [centre, give] for name, centre, give in pairs if not isnan(centre)}


def wanted_balls(logbook: Logbook, athlete: str) -> dict[str, Target]:
    """The targets in force, by pitch: of each pitch the last one set."""
    found: dict[str, Target] = {}
    for fact in read.facts(logbook, athlete=athlete):
        value = fact["value"] or {}
        if fact["kind"] == "target set" and "pitch" in value:
            wishes = {name: value[name] for name in BALL_FIGURES if value.get(name) is not None}
            found |= {str(value["pitch"]): target_of(wishes)} if wishes else {}
    return found
