"""The CSV of `release look`: one row a clip, columns as in the README."""

import csv
from collections.abc import Iterable, Mapping
from pathlib import Path

from release.errors import OutputUnwritable
from release.instant.result import ReleaseInstant
from release.orientation.result import ANGLES, FIELD_LENGTHS, Estimate, Orientation
from release.spreadsheet import inert

Z95 = 1.959964
COLUMNS = [
    *("clip", "release_frame", "release_frame_low", "release_frame_high", "release_time_s"),
    *(
        f"{name}_{unit}{end}" if end != "_refused" else f"{name}_refused"
        for names, unit in ((ANGLES, "deg"), (FIELD_LENGTHS, "m"))
        for name in names
        for end in ("", "_low", "_high", "_refused")
    ),
    "refused",
]


def look_row(
    clip: str, release: ReleaseInstant | None, orientation: Orientation | None, refused: str | None
) -> dict[str, str]:
    """One row: every column, empty where there is nothing to say.

    Args:
        clip: The file's name.
        refused: Why the whole clip was refused; None when measured.
    """
    row = dict.fromkeys(COLUMNS, "") | {"clip": clip, "refused": refused or ""}
    if release is not None:
        half = Z95 * release.sd_frames
        row["release_frame"] = f"{release.frame_index:.3f}"
        row["release_frame_low"] = f"{release.frame_index - half:.3f}"
        row["release_frame_high"] = f"{release.frame_index + half:.3f}"
        row["release_time_s"] = "" if release.time_s is None else f"{release.time_s:.6f}"
    if orientation is not None:
        for names, unit, digits in ((ANGLES, "deg", 2), (FIELD_LENGTHS, "m", 3)):
            for name in names:
                row |= _cells(name, unit, digits, orientation.figures)
    return row


def _cells(name: str, unit: str, digits: int, figures: Mapping[str, Estimate]) -> dict[str, str]:
    figure = figures.get(name)
    if figure is None:
        return {}
    if figure.value is None:
        return {f"{name}_refused": figure.refused or ""}
    ends = {"": figure.value, "_low": figure.low, "_high": figure.high}
    return {f"{name}_{unit}{e}": "" if v is None else f"{v:.{digits}f}" for e, v in ends.items()}


def write_look_csv(path: Path, rows: Iterable[Mapping[str, str]]) -> None:
    """Write rows of `look_row`, in UTF-8.

    Raises:
        OutputUnwritable: The folder is missing, full or read-only.
    """
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS)
            writer.writeheader()
            writer.writerows({name: inert(cell) for name, cell in row.items()} for row in rows)
    except OSError as error:
        raise OutputUnwritable(f"cannot write {path}: {error.strerror}") from error
