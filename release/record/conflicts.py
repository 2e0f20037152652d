"""Which decisions of two people, made apart, cannot both hold.

In:   rows of `schema.facts` as mappings, each with the kinds of `schema.FACT_KINDS`.
Out:  pairs of them, and what each pair is about, in words.
Why:  where the later of two decisions was made without knowledge of the earlier one, the clock must not
      choose between them unseen.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

Row = Mapping[str, Any]
LINKING = ("link confirmed", "link rejected", "marked extra")
JUDGING = ("clip accepted", "clip rejected")


def contradictions(ours: Sequence[Row], theirs: Sequence[Row]) -> Iterator[tuple[Row, Row, str]]:
    """Pairs that say different things of the same; of several of one side on the same thing only the last.

    Args:
        ours: Decisions in force here that the other side does not know, oldest first.
        theirs: The same the other way round.
    """
    said, say = _last_said(ours), _last_said(theirs)
    for about, (row, value) in say.items():
        if about in said and said[about][1] != value:
            yield said[about][0], row, " ".join(str(part) for part in about if part is not None)
    linked = [row for row in ours if row["kind"] in LINKING]
    for row in (row for row in theirs if row["kind"] in LINKING):
        for other in linked:
            if other["session"] == row["session"] and _cannot_both_link(other, row):
                yield other, row, "what belongs together"


def in_words(value: Mapping[str, Any], session_names: Mapping[str, str]) -> str:
    """The value of a "merge conflict", as a line to show.

    Args:
        session_names: Id of a session to its name.
    """
    key = " ".join(_short(part, session_names) for part in value["key"])
    ours, theirs = value["ours"], value["theirs"]
    if value["table"] == "athlete_names":
        return f"{key} has another name there; the roster holds both. Are they one person?"
    if value["table"] == "facts":
        return f"{key}: here {_told(ours)}; there {_told(theirs)}. The later one holds"
    pairs = "; ".join(f"{name} {ours[name]!r} here, {theirs[name]!r} there" for name in ours)
    return f"{value['table']} {key}: {pairs}. What stands here holds"


def _told(row: Row) -> str:
    said = ", ".join(f"{name} {value}" for name, value in (row["value"] or {}).items())
    return f"{row['kind']} {said}".strip() + f" ({row['who']}, {row['at'][:16].replace('T', ' ')})"


def _short(part: object, session_names: Mapping[str, str]) -> str:
    """A part of a key, with sessions by name and the hash of a clip cut to what tells clips apart."""
    words = (word[:12] if len(word) == 64 else word for word in str(part).split(" "))
    return " ".join(session_names.get(word, word) for word in words)


def _last_said(rows: Iterable[Row]) -> dict[tuple[object, ...], tuple[Row, object]]:
    """What each decision is about, to the last one and what it says."""
    said: dict[tuple[object, ...], tuple[Row, object]] = {}
    for row in rows:
        for about, value in _says(row):
            said[about] = (row, value)
    return said


def _says(row: Row) -> Iterator[tuple[tuple[object, ...], object]]:
    kind, value = row["kind"], dict(row["value"] or {})
    if kind in JUDGING:
        yield ("clip judged", row["clip"]), kind
    elif kind == "throw tagged":
        for field, tag in value.items():
            yield ("throw tagged", row["session"], row["throw"], field), tag
    elif kind == "landmark pinned":
        place = (value.pop("frame_index", None), value.pop("point", None))
        yield ("landmark pinned", row["clip"], *place), value
    elif kind == "target set":
        yield ("target set", row["athlete"], value.get("pitch")), value
    elif kind == "camera marked":
        yield ("camera marked", row["clip"] or row["session"], value.get("camera")), value
    elif kind in ("release set", "time base set"):
        yield (kind, row["clip"] or row["session"]), value


def _cannot_both_link(a: Row, b: Row) -> bool:
    kinds = {a["kind"], b["kind"]}
    shared = [what for what in ("clip", "throw", "flight") if a[what] is not None and a[what] == b[what]]
    if kinds == {"link confirmed"}:
        # Two cameras may film one throw, so a throw may have two clips; nothing else has two of another.
        differ = [w for w in ("throw", "flight") if None not in (a[w], b[w]) and a[w] != b[w]]
        return bool(shared and differ)
    if kinds == {"link confirmed", "link rejected"}:
        return len(shared) >= 2
    return "marked extra" in kinds and len(kinds) == 2 and "link rejected" not in kinds and bool(shared)
