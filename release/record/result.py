"""What the record stage hands on: one clip as measured, and the key it is stored under."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass

from release.clip.result import TimeBase
from release.instant.result import ReleaseInstant
from release.orientation.result import Orientation


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementKey:
    """What an answer depends on; where all four are the same the answer is, byte for byte."""

    clip_sha256: str
    models_sha256: str  # of all models on the machine that measured, see `digest`
    settings_sha256: str
    edits_sha256: str  # of the human decisions it had to keep to

    @property
    def text(self) -> str:
        """One hash of the four."""
        parts = (self.clip_sha256, self.models_sha256, self.settings_sha256, self.edits_sha256)
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """Everything the logbook keeps of one measuring of one clip."""

    key: MeasurementKey
    settings: Mapping[str, object]  # readable, JSON
    models: Mapping[str, str]  # name to SHA-256 of every model that took part
    throws: str | None  # R or L, as seen
    time_base: TimeBase
    release: ReleaseInstant | None
    orientation: Orientation | None
    refused: str | None  # the reason for the whole clip; None when measured
    picture_jpeg: bytes | None  # the frame nearest to release, as filmed: blur faces before it leaves
    picture_frame_index: int | None
    points_px: Mapping[str, tuple[float, float]]  # the arm in that picture
    partner: str | None = None  # hash of the clip with which it was, or was to be, fitted together
    apart: str | None = None  # why it was not


def digest(value: object) -> str:
    """SHA-256 of a JSON value, the same whatever the order of its keys."""
    return hashlib.sha256(json.dumps(value, sort_keys=True, default=str).encode()).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something in a logbook that is not as it should be."""

    what: str
    mend: str
    harmless: bool = False  # left over from a step that was cut off; nothing is lost
