"""What the views stage works with: pictures of a release, and the report as ready-to-print values."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmDrawing:
    """What is drawn on a picture. Pixels of that picture, (0, 0) the outer corner of the top left pixel."""

    points_px: Mapping[
        str, tuple[float, float]
    ]  # "shoulder", "elbow", "wrist", ... "ball"; absent = not seen
    points_sd_px: Mapping[str, float]  # standard uncertainty of each point, larger axis
    palm: NDArray[np.float64] | None = None  # shape (3, 3): columns r_h, d_h, p; x right, y down, z away
    head_px: tuple[tuple[float, float], ...] = ()  # points on the head, where known


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleasePicture:
    """The release frame of one throw, before anything is drawn or blurred."""

    athlete: str
    pitch: str
    throw: int
    cue: str
    image: NDArray[np.uint8]  # shape (height, width, 3), RGB
    drawing: ArmDrawing | None  # None where the arm was not found
    flags: tuple[str, ...] = ()  # reasons to look before believing


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Something that could not be measured or linked, and why."""

    what: str  # "clip IMG_0007.mp4", "throw 12, forearm rotation"
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentence:
    """The answer for one athlete, pitch and pair of cues, in words."""

    hand: str
    ball: str
    sure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrowCard:
    """One throw in the wall of release frames."""

    title: str
    alt: str  # the picture in words
    jpeg: bytes  # the face blurred, the arm drawn; empty where there is no picture
    angles: tuple[tuple[str, str], ...]  # label, value with unit and interval
    both: str  # from which two phones' clips they come; empty where from one
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CueGroup:
    """All throws of one pitch under one cue."""

    pitch: str
    cue: str
    colour: str
    cards: tuple[ThrowCard, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart as SVG with its caption."""

    svg: str
    caption: str
    square: bool = False  # as tall as wide: printed beside another
    on_paper: bool = True  # else on the screen only


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonRow:
    """One compared figure, ready to print."""

    pitch: str
    figure: str
    cues: str  # "second against first"
    throws: str  # "8 and 8"
    difference: str
    interval: str
    p: str
    answer: str
    main: bool  # the one figure named before the session


@dataclass(frozen=True, slots=True, kw_only=True)
class AthletePart:
    """Everything about one athlete."""

    athlete: str
    sentences: tuple[Sentence, ...]
    groups: tuple[CueGroup, ...]
    charts: tuple[Chart, ...]
    comparisons: tuple[ComparisonRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A session's report: the template prints these values and computes nothing."""

    title: str
    summary: str  # "26 throws of 2 athletes, ..."
    athletes: tuple[AthletePart, ...]
    session_picture: Chart | None
    refusals: tuple[Refusal, ...]
    notes: tuple[str, ...]  # what limits the whole session
    facts: tuple[tuple[str, str], ...]  # versions and settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A photo shown with a pitch."""

    pitch: str
    caption: str
    jpeg: bytes
