"""Clips of a logbook measured again, without keeping the answers: what a logbook does not hold is got so."""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from release.batch import measure_many
from release.pipeline import ThrowMeasurement
from release.record import read
from release.record.write_open import Logbook
from release.settings import Settings


def measured_again(
    logbook: Logbook, asked: Mapping[str, Settings], workers: int, progress: Callable[[int], None]
) -> Iterator[tuple[str, ThrowMeasurement]]:
    """Measure some clips.

    Args:
        logbook: Where.
        asked: Each clip's hash, and with what settings.
        workers: Clips measured at once.
        progress: Called after each clip with how many there are.

    Yields:
        Hash and answer; a clip that cannot be measured is passed over.
    """
    ext = read.clips(logbook).set_index("sha256")["ext"]
    by_path: dict[Path | str, Settings] = {
        logbook.clips / f"{clip}{ext[clip]}": settings for clip, settings in asked.items()
    }
    for one in measure_many(list(by_path), by_path, workers=workers):
        progress(len(by_path))
        if one.measured is not None:
            yield Path(one.path).stem, one.measured
