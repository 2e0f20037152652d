"""Rows of a logbook as ready-to-print values: one dataclass a page, which its template prints."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import stdtrit

from release.orientation.result import ANGLES, FIELD_LENGTHS
from release.stats.result import Comparison
from release.views.words import from_both_phones, number, span, words

NO_CUE = "no cue"
FLIGHT_SHOWN = ("speed_mph", "induced_vertical_break_in", "horizontal_break_in", "spin_rpm")
FIGURES = tuple(f"{name}_deg" for name in ANGLES) + tuple(f"{name}_m" for name in FIELD_LENGTHS)
PROGRESS = {
    "waiting": "waiting to be measured",
    "reading": "reading",
    "finding release": "finding release",
    "fitting both phones": "fitting both phones",
    "measuring": "measuring",
    "measured": "done",
    "refused": "not measured",
    "set aside": "set aside",
}
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number with its unit and interval, or why there is none."""

    key: str
    label: str
    value: str
    interval: str
    refused: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One throw on the wall."""

    sha256: str
    title: str
    state: str
    why: str
    cue: str
    cue_class: str  # the style sheet's name of the cue's colour
    athlete: str
    pitch: str
    picture: str  # the address of the release frame; empty where there is none
    figures: tuple[Figure, ...]
    ball: tuple[Figure, ...]
    both: str  # from which two phones' clips the figures come; empty where from this clip alone
    flags: tuple[str, ...]
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """What a person decided of a clip."""

    words: str
    who: str
    at: str


def decided(fact: Row) -> Decided:
    """A fact in force, in words."""
    value = fact["value"] or {}
    point = str(value.get("point", "")).replace("_mcp", " knuckle")
    frame = f"frame {value['frame_index']:g}" if "frame_index" in value else ""
    said = ", ".join(word for word in (fact["kind"], frame, point, value.get("why")) if word)
    return Decided(words=said, who=fact["who"], at=f"{fact['at'][:16].replace('T', ' ')} UTC")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """All throws of one cue."""

    cue: str
    cue_class: str
    cards: tuple[Card, ...]


def figure(key: str, row: Row | None) -> Figure:
    """A figure of the orientation, ready to print."""
    label = words(key).label
    if row is None or row.get("value") is None:
        refused = (row or {}).get("refused") or "not measured"
        return Figure(key=key, label=label, value="—", interval="", refused=refused)
    low, high = row.get("low"), row.get("high")
    interval = "" if low is None or high is None else span(key, low, high)
    return Figure(key=key, label=label, value=number(key, row["value"]), interval=interval, refused="")


def figures_of(rows: Mapping[str, Row]) -> dict[str, Figure]:
    """Every figure of one answer, ready to print."""
    return {key: figure(key, rows.get(stored(key))) for key in FIGURES}


def stored(key: str) -> str:
    """The name that the logbook keeps a figure under: without its unit."""
    return key.rsplit("_", 1)[0]


def ball_figures(flight: Row | None) -> tuple[Figure, ...]:
    """What the flight unit measured of this throw."""
    rows = [(k, (flight or {}).get(k)) for k in FLIGHT_SHOWN]
    return tuple(
        Figure(key=k, label=words(k).label, value=number(k, float(v)), interval="", refused="")
        for k, v in rows
        if v is not None
    )


def card(clip: Any, cue_class: Mapping[str, str], *, step: str | None = None) -> Card:
    """One clip as a card: `clip` is a row of `read_session`, `step` what is being done with it."""
    throw = clip.throw or {}
    cue = throw.get("cue") or NO_CUE
    verdict = {"clip accepted": "accepted", "clip rejected": "rejected"}.get(
        (clip.verdict or {}).get("kind", ""), ""
    )
    return Card(
        sha256=clip.sha256,
        title=f"Throw {throw['throw']}" if throw else clip.name,
        state=PROGRESS[step or clip.state],
        why=clip.why or "",
        cue=cue,
        cue_class=cue_class.get(cue, "cue-0"),
        athlete=throw.get("athlete") or "",
        pitch=throw.get("pitch") or "",
        picture=picture_of(clip),
        figures=tuple(figure(k, row) for k in FIGURES if _shown(k, row := clip.figures.get(stored(k)))),
        ball=ball_figures(clip.flight),
        both=from_both_phones(clip.name, clip.second_clip),
        flags=tuple(clip.flagged),
        verdict=verdict,
    )


def walls(clips: Sequence[Any], step: Callable[[str], str | None] = lambda _: None) -> tuple[Wall, ...]:
    """Every clip, grouped by cue in the order in which the cues came; `step` says what is done with one."""
    classes = cue_classes(clips)
    groups: dict[str, list[Card]] = {}
    for clip in clips:
        made = card(clip, classes, step=step(clip.sha256))
        groups.setdefault(made.cue, []).append(made)
    return tuple(Wall(cue=cue, cue_class=classes[cue], cards=tuple(cards)) for cue, cards in groups.items())


def cue_classes(clips: Sequence[Any]) -> dict[str, str]:
    """The style sheet's name of each cue's colour and mark, in the order in which the cues came."""
    cues = dict.fromkeys((clip.throw or {}).get("cue") or NO_CUE for clip in clips)
    return {cue: f"cue-{i % 6}" for i, cue in enumerate(cues)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One figure of two throws or of two cues, side by side."""

    label: str
    first: str
    second: str
    difference: str
    interval: str


def throw_differences(first: Any, second: Any, own: Mapping[str, float]) -> tuple[Difference, ...]:
    """Second less first, with the 95 % interval that the two throws' uncertainties leave.

    Args:
        first, second: Clips that were measured.
        own: By angle, the fraction of its uncertainty that two throws of one athlete before one camera do not
            share, for two such; 1 where it is missing.
    """
    rows = []
    for key in FIGURES:
        a, b = first.figures.get(stored(key)), second.figures.get(stored(key))
        if not a or not b or a["value"] is None or b["value"] is None:
            continue
        sd = own.get(stored(key), 1.0) * math.hypot(a["sd"] or math.nan, b["sd"] or math.nan)
        rows.append(_difference(key, a["value"], b["value"], 1.96 * sd))
    for key in FLIGHT_SHOWN:
        a, b = (first.flight or {}).get(key), (second.flight or {}).get(key)
        if a is not None and b is not None:
            rows.append(_difference(key, a, b, math.nan))
    return tuple(rows)


def cue_means(clips: Sequence[Any], cue: str) -> tuple[Figure, ...]:
    """Means of the measured throws of a cue, each with its 95 % interval (Student's t) over the throws."""
    found, own = [], of_cue(clips, cue)
    for key in FIGURES + FLIGHT_SHOWN:
        values = values_of(own, key)
        if not values:
            continue
        mean, half = float(np.mean(values)), _half_width(values)
        told = "one throw" if half is None else span(key, mean - half, mean + half)
        label = words(key).label
        found.append(Figure(key=key, label=label, value=number(key, mean), interval=told, refused=""))
    return tuple(found)


def _half_width(values: Sequence[float]) -> float | None:
    """Half the width of the mean's 95 % interval; None for one value."""
    n = len(values)
    return float(stdtrit(n - 1, 0.975) * np.std(values, ddof=1) / np.sqrt(n)) if n > 1 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One figure of two cues as the analysis answers it."""

    who: str
    label: str
    throws: str
    difference: str
    interval: str
    answer: str


def compared(one: Comparison) -> Compared:
    """A comparison, ready to print."""
    low, high = (math.nan if end is None else end for end in (one.low, one.high))
    return Compared(
        who=f"{one.athlete} {one.pitch}",
        label=words(one.figure).label,
        throws=f"{one.n_a} and {one.n_b}",
        difference=number(one.figure, math.nan if one.difference is None else one.difference, signed=True),
        interval=span(one.figure, low, high, signed=True),
        answer=one.answer,
    )


def of_cue(clips: Sequence[Any], cue: str) -> list[Any]:
    """The clips of a cue that no person rejected."""
    kept = [c for c in clips if (c.verdict or {}).get("kind") != "clip rejected"]
    return [c for c in kept if ((c.throw or {}).get("cue") or NO_CUE) == cue]


def values_of(clips: Sequence[Any], key: str) -> list[float]:
    """A figure of the hand or the ball, of those clips that have it."""
    hand = [(c.figures.get(stored(key)) or {}).get("value") for c in clips]
    ball = [(c.flight or {}).get(key) for c in clips]
    return [float(v) for v in (ball if key in FLIGHT_SHOWN else hand) if v is not None]


def _difference(key: str, first: float, second: float, half_width: float) -> Difference:
    apart = second - first
    told = span(key, apart - half_width, apart + half_width, signed=True) if math.isfinite(half_width) else ""
    return Difference(
        label=words(key).label,
        first=number(key, first),
        second=number(key, second),
        difference=number(key, apart, signed=True),
        interval=told,
    )


def picture_of(clip: Any) -> str:
    """The address of a clip's release frame; empty where there is none."""
    if clip.measurement is None or clip.picture_frame_index is None:
        return ""
    return f"/clip/{clip.sha256}/release.jpg?m={clip.measurement[:12]}"


def clock(stamp: str | None) -> str:
    """A time of the logbook as people read it; empty where there is none."""
    return "" if not stamp else stamp[:19].replace("T", " ") + (" UTC" if "+00:00" in stamp else "")


def _shown(key: str, row: Row | None) -> bool:
    """Figures that need the field are left out of cards where they were not measured."""
    return bool(row) and (row["value"] is not None or key in FIGURES[:4])
