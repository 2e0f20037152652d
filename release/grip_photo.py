"""Photos of a grip: checked by what is in the file, kept without its metadata beside the logbook's decisions.

They lie in the database, so that copies, merging and forgetting an athlete reach them as they are.
"""

import base64
import hashlib
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from release.errors import NoSuchAthlete, ReleaseError
from release.jpeg import jpeg_of
from release.record import read
from release.record.write import add_fact
from release.record.write_open import Logbook

LONGEST_PX = 900  # of the longer side as kept
QUALITY = 85
MOST_BYTES = 50_000_000  # larger than any phone's photo


class NotAPhoto(ReleaseError):
    """The file is no picture that can be kept."""

    def __init__(self, file: Path, why: str) -> None:
        super().__init__(f"{file.name} cannot be kept as a photo: {why}. Give a JPEG, PNG or WebP picture")


@dataclass(frozen=True, slots=True, kw_only=True)
class GripPhoto:
    """One photo as kept."""

    name: str  # our own: the start of its SHA-256
    day: str
    pitch: str
    throw: int | None
    note: str
    jpeg: bytes


def keep_photo(
    logbook: Logbook,
    athlete: str,
    file: Path,
    *,
    pitch: str,
    throw: int | None = None,
    note: str = "",
    who: str = "coach",
) -> str:
    """Keep a photo of the grip; the same photo again changes nothing.

    Returns:
        The name that it is kept under.

    Raises:
        NoSuchAthlete: The code is not in the logbook.
        NotAPhoto: The file is missing or no picture.
    """
    if athlete not in set(read.roster(logbook)["athlete"]):
        raise NoSuchAthlete(athlete)
    jpeg = plain_jpeg(file)
    name = hashlib.sha256(jpeg).hexdigest()[:16]
    value = {"pitch": pitch, "throw": throw, "note": note, "name": name}
    value["jpeg"] = base64.b64encode(jpeg).decode("ascii")
    key = hashlib.sha256(f"{athlete} {pitch} {throw} {note} {name}".encode()).hexdigest()[:32]
    add_fact(logbook, "grip photographed", fact=key, who=who, athlete=athlete, value=value)
    return name


def plain_jpeg(file: Path) -> bytes:
    """The picture upright, not too large, and nothing of the file but its pixels.

    Raises:
        NotAPhoto: The file is missing or no picture.
    """
    try:
        if file.stat().st_size > MOST_BYTES:
            raise NotAPhoto(file, f"it is larger than {MOST_BYTES // 1_000_000} MB")
        image = cv2.imdecode(np.fromfile(file, np.uint8), cv2.IMREAD_COLOR)  # turned as its metadata says
    except OSError as error:
        raise NotAPhoto(file, error.strerror or "it cannot be read") from error
    except cv2.error as error:
        raise NotAPhoto(file, "there is nothing in it, or too many pixels") from error
    if image is None:
        raise NotAPhoto(file, "there is no picture in it")
    scale = min(LONGEST_PX / max(image.shape[:2]), 1.0)
    small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return jpeg_of(np.asarray(cv2.cvtColor(small, cv2.COLOR_BGR2RGB), np.uint8), QUALITY)


def photos_of(logbook: Logbook, athlete: str) -> list[GripPhoto]:
    """The athlete's photos, newest first."""
    facts = [f for f in read.facts(logbook, athlete=athlete) if f["kind"] == "grip photographed"]
    return [
        GripPhoto(
            name=fact["value"]["name"],
            day=str(fact["at"])[:10],
            pitch=fact["value"]["pitch"],
            throw=fact["value"]["throw"],
            note=fact["value"]["note"],
            jpeg=base64.b64decode(fact["value"]["jpeg"]),
        )
        for fact in reversed(facts)
    ]
