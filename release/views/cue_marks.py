"""One colour and one mark for each cue, the same on every chart and page.

The colours step in lightness as well as hue, so that they stay apart in grey, in print and for the
colour-blind; the shape of the mark says the same again.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CueMark:
    """How a cue is drawn."""

    colour: str
    marker: str  # matplotlib's marker
    filled: bool


_MARKS = (
    CueMark(colour="#12355b", marker="o", filled=True),
    CueMark(colour="#c8790a", marker="s", filled=False),
    CueMark(colour="#8c2f52", marker="^", filled=True),
    CueMark(colour="#7fa6c9", marker="D", filled=False),
    CueMark(colour="#1f5c3f", marker="v", filled=True),
    CueMark(colour="#979797", marker="P", filled=False),
)


def cue_marks(cues: Iterable[str]) -> dict[str, CueMark]:
    """A mark for each cue in the order given; after six they come round again."""
    return {cue: _MARKS[i % len(_MARKS)] for i, cue in enumerate(dict.fromkeys(cues))}
