"""A person's word on which clip, throw and ball belong together, written down and the session aligned again.

The facts are those that the page writes: append-only, with who and when.
"""

from collections.abc import Mapping, Sequence
from typing import Literal

from release.errors import WordUnclear
from release.logbook import clip_names, link_logbook
from release.record import read
from release.record.write import add_fact
from release.record.write_open import Logbook
from release.session.result import LinkedRow, Session

Said = Literal["together", "apart", "extra", "swap"]
KIND = {
    "together": "link confirmed",
    "swap": "link confirmed",
    "apart": "link rejected",
    "extra": "marked extra",
}


def settle(
    logbook: Logbook,
    session: str,
    said: Said,
    *,
    who: str,
    clips: Sequence[str] = (),
    throws: Sequence[int] = (),
    flights: Sequence[str] = (),
) -> list[LinkedRow]:
    """Write down what a person says of a link, and align the session round it.

    Args:
        logbook: Where.
        session: Its id.
        said: "together": one of each of two or three kinds are one throw, whatever was said before.
            "apart": they are not. "extra": the one named belongs to no throw. "swap": the two of one kind
            that are named change places.
        who: Who says so.
        clips: By file name, as `release link` names them.
        throws: Numbers on the sheet.
        flights: Rows of the flight file.

    Returns:
        What was named, as it is linked now.

    Raises:
        WordUnclear: The session has no such row, or the word needs more or fewer of them.
    """
    names = {name: sha256 for sha256, name in clip_names(read.clips(logbook, session)).items()}
    named = {"clip": list(clips), "throw": [str(number) for number in throws], "flight": list(flights)}
    _check(logbook, session, said, named, names)
    if said == "swap":
        subjects = _swapped(link_logbook(logbook, session), named)
    else:
        subjects = [{kind: values[0] for kind, values in named.items() if values}]
    for subject in subjects:
        add_fact(
            logbook,
            KIND[said],
            who=who,
            session=session,
            clip=names[subject["clip"]] if "clip" in subject else None,
            throw=int(subject["throw"]) if "throw" in subject else None,
            flight=subject.get("flight"),
        )
    rows = link_logbook(logbook, session).rows
    return [row for row in rows if any(getattr(row, kind) in values for kind, values in named.items())]


def _check(
    logbook: Logbook, session: str, said: Said, named: Mapping[str, list[str]], names: Mapping[str, str]
) -> None:
    known = {
        "clip": set(names),
        "throw": set(read.throws(logbook, session=session, limit=1_000_000)["throw"].astype(str)),
        "flight": set(read.flights(logbook, session)["flight"]),
    }
    for kind, values in named.items():
        for value in values:
            if value not in known[kind]:
                raise WordUnclear(f"this session has no {kind} {value!r}")
    counts = sorted(len(set(values)) for values in named.values() if values)
    wanted = {
        "together": ("one each of two or three of clip, throw and flight", ([1, 1], [1, 1, 1])),
        "apart": ("one each of two of clip, throw and flight", ([1, 1],)),
        "extra": ("one clip, throw or flight", ([1],)),
        "swap": ("two clips, two throws or two flights", ([2],)),
    }
    what, allowed = wanted[said]
    if counts not in allowed:
        raise WordUnclear(f"{said!r} needs {what}")


def _swapped(linked: Session, named: Mapping[str, list[str]]) -> list[dict[str, str]]:
    """Each of the two with what the other is linked to."""
    kind, (one, other) = next((kind, values) for kind, values in named.items() if values)
    subjects = []
    for mine, theirs in ((one, other), (other, one)):
        for row in linked.rows:
            if getattr(row, kind) == theirs and row.state == "linked":
                rest = {k: getattr(row, k) for k in named if k != kind and getattr(row, k) is not None}
                subjects.append({kind: mine, **rest})
    if not subjects:
        raise WordUnclear(f"neither {kind} {one!r} nor {kind} {other!r} is linked to anything")
    return subjects
