"""Loose clips, one after the other: what `release look` prints and writes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from release.clock_check import ball_line
from release.errors import ReleaseError
from release.orientation.score_text import figure_lines
from release.orientation.write_look import look_row
from release.pipeline import ThrowMeasurement, measure_clip
from release.settings import Settings
from release.store import at_hand, name_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One clip as shown."""

    row: dict[str, str]  # of the CSV
    lines: list[str]
    read: bool  # the file could be read, whatever was then measured or refused


def looked_at(clips: Sequence[Path | str], settings: Settings) -> Iterator[Look]:
    """Measure each clip, a string being an address; one that cannot be read is told and the next goes on."""
    for clip in clips:
        try:
            with at_hand(clip) as file:
                measured = measure_clip(file, settings)
        except ReleaseError as error:
            row = look_row(name_of(clip), None, None, str(error))
            yield Look(row=row, lines=[str(error)], read=False)
        else:
            yield Look(row=row_of(measured), lines=_lines(measured), read=True)


def row_of(measured: ThrowMeasurement) -> dict[str, str]:
    """The row of the CSV for one measured clip."""
    name = measured.clip.path.name
    return look_row(name, measured.release, measured.orientation, measured.refused)


def _lines(measured: ThrowMeasurement) -> list[str]:
    name, release = measured.clip.path.name, measured.release
    if release is None or measured.orientation is None:
        return [f"{name}: refused, {measured.refused}"]
    arm = "right" if measured.throws == "R" else "left"
    when = "" if release.time_s is None else f" at {release.time_s:.4f} s"
    head = (
        f"{name}: {arm} arm, release in frame {release.frame_index:.2f} (sd {release.sd_frames:.2f}){when}, "
        f"from the {release.source}"
    )
    return [head, *figure_lines(measured.orientation), *ball_line(measured.clip.time_base)]
