"""One list of a session (clips of one camera, sheet, flight file, or several merged) as plain arrays."""

from dataclasses import dataclass, field, fields, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

MINUTE_SD_S = 17.3  # of a time written to the minute: 60 / sqrt(12)
GUESSED_SD_S = 15.0  # of a time put between its neighbours', throws being 12 to 40 s apart
CLIP_SPEED_SD_MPH = 4.0  # of an estimate that does not state its own; common practice, no source
COPIED_GAP_S = 4.0  # clips whose times lie closer were stamped while being copied

F = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """n rows in the order they happened. Text is "" where unknown, numbers NaN."""

    member: tuple[tuple[tuple[str, int], ...], ...]  # shape (n,): which (list, row) each stands for
    time_s: F  # on the list's own clock; all NaN where it has none
    time_sd_s: F  # beyond the clock's jitter
    athlete: NDArray[np.str_]
    throws: NDArray[np.str_]
    pitch: NDArray[np.str_]
    speed_mph: F  # measured
    clip_speed_mph: F  # estimated from a clip
    clip_speed_sd_mph: F  # its own standard uncertainty
    seen_by: NDArray[np.str_]  # list of clips that the estimate comes from
    notes: tuple[str, ...] = field(default=())

    def __len__(self) -> int:
        return len(self.member)

    @property
    def timed(self) -> bool:
        """Whether it has a clock at all."""
        return len(self) > 0 and bool(np.isfinite(self.time_s).all())

    def take(self, index: NDArray[np.int64]) -> "Rows":
        """These rows in this order."""
        columns = (column.name for column in fields(self) if column.name not in ("member", "notes"))
        arrays = {name: getattr(self, name)[index] for name in columns}
        return replace(self, member=tuple(self.member[i] for i in index), **arrays)


def rows_of(name: str, frame: pd.DataFrame) -> Rows:
    """A table as rows in the order they happened: by time where most rows have one, else as listed.

    Args:
        name: What the list is called; its rows are known as (name, position in the table).
        frame: Columns `time_s`, `athlete`, `throws`, `pitch`, `speed_mph`, of clips also `speed_sd_mph`; any
            of them may be missing.
    """
    n = len(frame)
    time, spread, notes = _times(frame["time_s"].to_numpy(float) if "time_s" in frame else np.full(n, np.nan))
    speed = frame["speed_mph"].to_numpy(float) if "speed_mph" in frame else np.full(n, np.nan)
    spread_mph = frame["speed_sd_mph"].to_numpy(float) if "speed_sd_mph" in frame else np.full(n, np.nan)
    blank = np.full(n, np.nan)
    is_clip = name.startswith("clips")
    seen = (speed > 0) & is_clip
    rows = Rows(
        member=tuple(((name, i),) for i in range(n)),
        time_s=time,
        time_sd_s=spread,
        athlete=_words(frame, "athlete"),
        throws=_words(frame, "throws"),
        pitch=_words(frame, "pitch"),
        speed_mph=blank if is_clip else speed,
        clip_speed_mph=np.where(seen, speed, np.nan),
        clip_speed_sd_mph=np.where(seen, np.where(spread_mph > 0, spread_mph, CLIP_SPEED_SD_MPH), np.nan),
        seen_by=np.where(seen, name, ""),
        notes=tuple(f"{name}: {note}" for note in notes),
    )
    return rows.take(np.argsort(time, kind="stable")) if rows.timed else rows


def without_clock(rows: Rows) -> Rows:
    """The same rows, known by their order only."""
    return replace(rows, time_s=np.full(len(rows), np.nan), time_sd_s=np.zeros(len(rows)))


def _times(given: F) -> tuple[F, F, list[str]]:
    known = np.isfinite(given)
    none = np.full(len(given), np.nan), np.zeros(len(given))
    if known.sum() < max(2, len(given) / 2):
        return *none, [] if not known.any() else ["too few rows have a time; only their order is used"]
    gaps = np.diff(np.sort(given[known]))
    if len(gaps) > 3 and np.median(gaps) < COPIED_GAP_S:
        return *none, ["the times look like those of copying; only their order is used"]
    spread = np.where(known, MINUTE_SD_S if (given[known] % 60 == 0).all() else 0.0, GUESSED_SD_S)
    place = np.arange(len(given))
    return np.interp(place, place[known], given[known]), spread, []


def _words(frame: pd.DataFrame, column: str) -> NDArray[np.str_]:
    if column not in frame:
        return np.full(len(frame), "", dtype=str)
    return frame[column].fillna("").astype(str).to_numpy(dtype=str)
