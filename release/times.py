"""Times as files give them: ISO 8601 with an offset, or local with the zone declared once."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
WRITTEN = re.compile(
    r"(?:(?P<first>\d{1,2})(?P<mark>[/.])(?P<second>\d{1,2})(?P=mark)(?P<year>\d{4}|\d{2}),? )?"
    r"(?P<hour>\d{1,2}):(?P<minute>\d\d)(?::(?P<second_s>\d\d))?(?P<half> ?[ap]m)?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Times of n rows; where no zone is known they count on a clock of their own."""

    utc_s: NDArray[np.float64]  # shape (n,), seconds since 1970; NaN where the row has no time
    doubts: tuple[str, ...]  # shape (n,), "" or what is doubtful about the time
    zoned: bool  # false where some row's zone is unknown: it was read as if it were UTC


def zone_named(name: str) -> tzinfo:
    """The time zone of this name (`Europe/Berlin`, `Etc/GMT+5`), or of an offset like `-05:00`.

    Raises:
        ValueError: There is no such zone.
    """
    if name.upper() in ("UTC", "Z"):
        return UTC
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        pass
    try:
        offset = datetime.strptime(name, "%z").tzinfo
    except ValueError:
        offset = None
    if offset is None:
        raise ValueError(f"{name!r} is no time zone (write one like 'America/Chicago', or '-05:00')")
    return offset


def clock_time(text: str, form: str | None = None) -> datetime | None:
    """The time a cell shows, with its offset if it has one; None where it shows none.

    A time of day alone (14:05 on a hand-filled sheet) falls on the first day of 1970.
    """
    try:
        if form is not None:
            return datetime.strptime(text, form)
        return datetime.fromisoformat(text if len(text) > 8 or "-" in text else f"1970-01-01T{text.zfill(5)}")
    except ValueError:
        return None


def from_spreadsheet(cells: Sequence[str]) -> tuple[list[str], bool]:
    """Times as a spreadsheet rewrites them (5/13/2026 2:05 PM, 13.05.2026 14:05, 2:05 PM) in ISO 8601.

    The column as a whole tells which of 5/6/2026 is the month.

    Returns:
        The cells, those that are no such time as they were; and whether the month could not be told: then
        only the times of day are kept.
    """
    found = [WRITTEN.fullmatch(cell.strip()) for cell in cells]
    slashed = [match for match in found if match and match["mark"] == "/"]
    day_first = any(int(match["first"]) > 12 for match in slashed)
    unclear = bool(slashed) and day_first == any(int(match["second"]) > 12 for match in slashed)
    told = [
        cell if match is None else _iso(match, day_first or match["mark"] == ".", unclear) or cell
        for cell, match in zip(cells, found, strict=True)
    ]
    return told, unclear


def _iso(match: re.Match[str], day_first: bool, unclear: bool) -> str | None:
    half = (match["half"] or "").strip().lower()
    hour = int(match["hour"]) % 12 + 12 * (half == "pm") if half else int(match["hour"])
    try:
        at = time(hour, int(match["minute"]), int(match["second_s"] or 0)).isoformat()
        if match["mark"] is None or (match["mark"] == "/" and unclear):
            return at
        day, month = ("first", "second") if day_first else ("second", "first")
        year = int(match["year"]) + (2000 if len(match["year"]) == 2 else 0)
        return f"{date(year, int(match[month]), int(match[day])).isoformat()}T{at}"
    except ValueError:
        return None


def to_utc(read: Sequence[datetime | None], zone: tzinfo | None) -> Times:
    """Put the times of one file on one axis.

    In the hour that a clock runs through twice, the rows' order tells which pass is meant: times never run
    back (never forward, in a file that lists the last row first). A local time that the clock skipped is
    taken as the device's clock not yet changed. Both are named in `doubts`.
    """
    utc = np.full(len(read), np.nan)
    doubts = [""] * len(read)
    zoned = True
    rows = [i for i, time in enumerate(read) if time is not None]
    naive = [read[i].replace(tzinfo=None) for i in rows]  # type: ignore[union-attr]
    if sum(b < a for a, b in pairwise(naive)) > sum(b > a for a, b in pairwise(naive)):
        rows.reverse()
    before_s = -np.inf
    for i in rows:
        time = read[i]
        assert time is not None
        if time.tzinfo is None:
            zoned &= zone is not None
            utc[i], doubts[i] = _placed(time, zone or UTC, before_s)
        else:
            utc[i] = _seconds(time)
        before_s = utc[i]
    return Times(utc_s=utc, doubts=tuple(doubts), zoned=zoned)


def _placed(time: datetime, zone: tzinfo, before_s: float) -> tuple[float, str]:
    first, second = (_seconds(time.replace(tzinfo=zone, fold=fold)) for fold in (0, 1))
    if first == second:
        return first, ""
    if first > second:
        return first, "the clock skipped this time of day; taken as not yet put forward"
    return (
        first if first >= before_s else second
    ), "the clock ran through this hour twice; placed by row order"


def _seconds(time: datetime) -> float:
    return (time - EPOCH) / timedelta(seconds=1)
