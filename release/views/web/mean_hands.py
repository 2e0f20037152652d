"""The mean hands of two cues, and the throws that lie nearest to them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from release.stats.result import Comparison
from release.views.cue_marks import CueMark, cue_marks
from release.views.web import pages

VIEWS = {
    "wrist_flexion_deg": "Wrist, seen from the thumb's side\npalm above",
    "wrist_deviation_deg": "Wrist, seen from the back of the hand\nthumb to the left",
    "forearm_rotation_deg": "Forearm, seen from the elbow\nline: to the thumb; arrow: the palm faces",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanHand:
    """The mean of a cue's throws by one athlete of one pitch."""

    cue: str
    mark: CueMark
    mean_deg: Mapping[str, float]  # the angles of VIEWS that were measured
    sd_deg: Mapping[str, float]  # of the throws; 0 for one throw


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Two cues in one athlete's throws of one pitch."""

    athlete: str
    pitch: str
    hands: tuple[MeanHand, MeanHand]
    nearest: tuple[Any | None, Any | None]  # the clip of each cue that lies nearest to its mean
    answers: tuple[Comparison, ...]


def mean_hand(clips: Sequence[Any], cue: str, mark: CueMark) -> MeanHand:
    """The mean hand of those clips that carry this cue and are not rejected."""
    found = {key: np.array(pages.values_of(pages.of_cue(clips, cue), key)) for key in VIEWS}
    known = {key: values for key, values in found.items() if len(values)}
    return MeanHand(
        cue=cue,
        mark=mark,
        mean_deg={key: float(values.mean()) for key, values in known.items()},
        sd_deg={key: float(v.std(ddof=1)) if len(v) > 1 else 0.0 for key, v in known.items()},
    )


def nearest_mean(clips: Sequence[Any], hand: MeanHand) -> Any | None:
    """The clip of the hand's cue that lies nearest to its mean; None where no clip has all its angles."""

    def apart_deg(clip: Any) -> float:
        values = [(pages.values_of([clip], key), mean) for key, mean in hand.mean_deg.items()]
        return sum(abs(found[0] - mean) if found else np.inf for found, mean in values)

    nearest = min(pages.of_cue(clips, hand.cue), key=apart_deg, default=None)
    return nearest if nearest is not None and apart_deg(nearest) < np.inf else None


def groups(clips: Sequence[Any], cues: tuple[str, str], answers: Sequence[Comparison]) -> tuple[Group, ...]:
    """Every athlete and pitch that the two cues were compared in, with the mean hands of their throws."""
    marks, found = cue_marks(pages.cue_classes(clips)), []
    for athlete, pitch in dict.fromkeys((one.athlete, one.pitch) for one in answers):
        thrown = [c for c in clips if c.throw]
        own = [c for c in thrown if (c.throw["athlete"], c.throw["pitch"]) == (athlete, pitch)]
        first, second = (mean_hand(own, cue, marks[cue]) for cue in cues)
        found.append(
            Group(
                athlete=athlete,
                pitch=pitch,
                hands=(first, second),
                nearest=(nearest_mean(own, first), nearest_mean(own, second)),
                answers=tuple(one for one in answers if (one.athlete, one.pitch) == (athlete, pitch)),
            )
        )
    return tuple(found)
