"""The answers in words, one line each, for the command line."""

from collections import Counter
from collections.abc import Mapping, Sequence

from release.errors import ReleaseError
from release.stats.result import Comparison

LINES = 60  # more would scroll past; the CSV holds them all

UNITS = {"_deg": "°", "_mph": " mph", "_in": " in", "_rpm": " rpm", "_ft": " ft", "_m": " m"}


class NotANumberByName(ReleaseError):
    """An option that should read NAME=NUMBER does not."""

    def __init__(self, text: str) -> None:
        super().__init__(f"write FIGURE=NUMBER, as in palm_turn_deg=4, not {text!r}")


def numbers_by_name(options: Sequence[str]) -> dict[str, float]:
    """`["palm_turn_deg=4"]` to `{"palm_turn_deg": 4.0}`.

    Raises:
        NotANumberByName: An option does not read so.
    """
    found = {}
    for text in options:
        name, _, number = text.partition("=")
        try:
            found[name.strip()] = float(number)
        except ValueError:
            raise NotANumberByName(text) from None
    return found


def comparison_lines(found: Sequence[Comparison], notes: Mapping[str, str]) -> list[str]:
    """What was found, a line a comparison, and how the tests were controlled."""
    lines = [_line(one) for one in found[:LINES]]
    if len(found) > LINES:
        counts = Counter(one.answer for one in found)
        lines.append("... " + ", ".join(f"{n} {answer}" for answer, n in counts.most_common()))
    lines += [f"{name}: {note}" for name, note in notes.items()]
    mains = dict.fromkeys(one.figure for one in found if one.main)
    if mains and len({one.figure for one in found}) > 1:
        lines.append(
            f"main outcome, tested at 0.05: {', '.join(mains)}; false discoveries controlled over the rest"
        )
    lines += list(dict.fromkeys(one.why for one in found[:LINES] if one.why))
    return lines


def _line(one: Comparison) -> str:
    where = f"{one.athlete} {one.pitch}, {one.figure}"
    if one.difference is None:
        return f"{where}: {one.answer} ({one.why})"
    unit = next((word for end, word in UNITS.items() if one.figure.endswith(end)), "")
    ends = [f"{end:+.1f}" if end is not None else "no end" for end in (one.low, one.high)]
    test = f", p {one.p:.3f}" if one.p is not None else ""
    test += f", q {one.q:.3f}" if one.q is not None and not one.main and one.q != one.p else ""
    more = f", about {one.more_throws} more throws" if one.more_throws else ""
    worth = f"; worth having {one.worth:g}{unit}" if one.worth is not None else ""
    if one.detectable is not None:
        worth += f", detectable {one.detectable:.1f}{unit}"
        if one.worth is not None and one.detectable > one.worth:
            worth += ": the session is too coarse for the question"
    if one.answer == "no meaningful change":
        test += f", 90 % interval {one.low90:+.1f} to {one.high90:+.1f}"
    return (
        f"{where}, {one.cue_b} against {one.cue_a}: {one.answer}{more}. "
        f"{one.difference:+.1f}{unit} [{ends[0]} to {ends[1]}]{test}, {one.n_a} and {one.n_b} throws{worth}"
    )
