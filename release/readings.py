"""How far readings of the same clips agree, from a logbook's own records.

A reading is the answer in force ("in force"), or a person's blind one ("A.B. 1", "A.B. 2": first, second
time). Figures: release frame, each landmark's place, and where asked the angles of an arm fitted to them.
"""

from collections import Counter
from collections.abc import Callable, Mapping
from itertools import combinations
from typing import Any

import pandas as pd

from release.clip_settings import settings_for
from release.errors import ReleaseError
from release.measured_again import measured_again
from release.orientation.result import JOINT_ANGLES
from release.record import read
from release.record.write_open import Logbook
from release.settings import PinnedPoint, Settings
from release.stats.readings import LEAST_CLIPS, agreement_table

IN_FORCE = "in force"
Fact = Mapping[str, Any]


class NotReadTwice(ReleaseError):
    """Too few clips were read by two."""

    def __init__(self, readings: Mapping[str, int]) -> None:
        told = ", ".join(f"{name} {n}" for name, n in readings.items())
        super().__init__(
            f"no two readings share {LEAST_CLIPS} clips ({told}). Read clips blind on the review page: "
            "`release review LOGBOOK`, open the session, Read clips again"
        )


def agreements(
    logbook: Logbook,
    session: str | None = None,
    *,
    angles: bool = False,
    workers: int = 2,
    progress: Callable[[int], None] = lambda _of: None,
) -> pd.DataFrame:
    """Six ICCs, SEM and limits of every figure, for every two readings that share enough clips.

    Args:
        logbook: Where.
        session: Its id; None for all.
        angles: Also fit the arm to each blind reading and compare the angles; seconds a clip.
        workers: Clips measured at once.
        progress: Called after each measured clip with how many there are.

    Returns:
        `first`, `second` (readings; differences are first minus second), then as `agreement_table`.

    Raises:
        NotReadTwice: No two readings share five clips.
    """
    named = _blind(logbook, session)
    tables = {IN_FORCE: _in_force(logbook, {clip for facts in named.values() for clip in facts}, angles)}
    for name, facts in named.items():
        rows = pd.DataFrame.from_dict(
            {clip: _figures(fact["value"]) for clip, fact in facts.items()}, "index"
        )
        if angles:
            rows = rows.join(_angles(logbook, facts, workers, progress))
        tables[name] = rows
    found = []
    for first, second in combinations(tables, 2):
        table = agreement_table(tables[first], tables[second])
        found += [table.assign(first=first, second=second)] if len(table) else []
    if not found:
        raise NotReadTwice({name: len(table) for name, table in tables.items()})
    whole = pd.concat(found, ignore_index=True)
    return whole[["first", "second", *(c for c in whole.columns if c not in ("first", "second"))]]


def _blind(logbook: Logbook, session: str | None) -> dict[str, dict[str, Fact]]:
    """Blind readings by name, then by clip."""
    times: Counter[tuple[str, str]] = Counter()
    named: dict[str, dict[str, Fact]] = {}
    for fact in read.facts(logbook, session=session):
        if fact["kind"] == "read again":
            times[fact["who"], fact["clip"]] += 1
            named.setdefault(f"{fact['who']} {times[fact['who'], fact['clip']]}", {})[fact["clip"]] = fact
    return named


def _figures(value: Mapping[str, Any]) -> dict[str, float]:
    places = {
        f"{name}_{axis}": place[axis] for name, place in value["points"].items() for axis in ("x_px", "y_px")
    }
    return {"release_frame": value["frame_index"], **places}


def _in_force(logbook: Logbook, clips: set[str], angles: bool) -> pd.DataFrame:
    rows = {}
    for clip in sorted(clips):
        answer = read.measurement(logbook, clip)
        if answer is None or answer["release"] is None:
            continue
        points = {name: {"x_px": x, "y_px": y} for name, (x, y) in answer["points_px"].items()}
        rows[clip] = _figures({"frame_index": answer["release"]["frame_index"], "points": points})
        if angles:
            rows[clip] |= {f"{name}_deg": answer["figures"][name]["value"] for name in JOINT_ANGLES}
    return pd.DataFrame.from_dict(rows, "index")


def _angles(
    logbook: Logbook, facts: Mapping[str, Fact], workers: int, progress: Callable[[int], None]
) -> pd.DataFrame:
    """The joint angles at release of arms fitted with one reading's release and points; a row a clip."""
    asked = {clip: _as_read(logbook, clip, fact) for clip, fact in facts.items()}
    rows = {}
    for clip, measured in measured_again(logbook, asked, workers, progress):
        if measured.orientation is not None:
            figures = measured.orientation.figures
            rows[clip] = {f"{name}_deg": figures[name].value for name in JOINT_ANGLES}
    return pd.DataFrame.from_dict(rows, "index", columns=[f"{name}_deg" for name in JOINT_ANGLES])


def _as_read(logbook: Logbook, clip: str, fact: Fact) -> Settings:
    """The clip's own clock and camera, with this reading's release and points in place of anyone else's."""
    kept, _ = settings_for(logbook, fact["session"], clip)
    frame = int(fact["value"]["frame_index"])
    pins = tuple(
        PinnedPoint(frame_index=frame, point=name, **place) for name, place in fact["value"]["points"].items()
    )
    return Settings(
        capture_fps=kept.capture_fps, camera=kept.camera, view=kept.view, release_frame=frame, pins=pins
    )
