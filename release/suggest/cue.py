"""Cues: the words as said and what they are meant to do; one cue may be known by several wordings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

MEANT = ("more behind the ball", "more beside it", "more in front", "effort", "finger pressure")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue:
    """One cue of a facility's list."""

    words: str
    meant: str  # one of MEANT
    said_by: str = ""  # "the pitching coach"
    also: tuple[str, ...] = ()  # earlier wordings, kept so that a rename loses nothing

    def __post_init__(self) -> None:
        if not self.words or self.meant not in MEANT:
            raise ValueError(f"a cue needs words and one of {', '.join(MEANT)}: {self}")


def about(cue: Cue) -> str:
    """What it is meant to do, and who says it where that is kept."""
    return f"meant: {cue.meant}" + (f"; said by {cue.said_by}" if cue.said_by else "")


def current_words(cues: Sequence[Cue]) -> Mapping[str, str]:
    """Every wording, old or new, to the wording in use."""
    return {wording: cue.words for cue in cues for wording in (cue.words, *cue.also)}


def renamed(cues: Sequence[Cue], old: str, new: str) -> tuple[Cue, ...]:
    """The list with `old` called `new`; where `new` is on the list already, the two become one.

    Nothing is lost: every earlier wording still leads to the cue. One that is not listed changes nothing.
    """
    by_words = {cue.words: cue for cue in cues}
    if old not in by_words or old == new:
        return tuple(cues)
    source, kept = by_words[old], by_words.get(new)
    into = kept or source
    wordings = dict.fromkeys((*into.also, old, *source.also))
    merged = Cue(
        words=new,
        meant=into.meant,
        said_by=", ".join(dict.fromkeys(who for who in (into.said_by, source.said_by) if who)),
        also=tuple(w for w in wordings if w != new),
    )
    return tuple(merged if cue is into else cue for cue in cues if cue is into or cue is not source)
