"""Where the throws to advise on come from: a table of one's own, or a logbook with its notes and targets."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from release.errors import SettingUnknown
from release.stats.read_throws import ThrowTable, read_throws
from release.suggest.result import Target
from release.views.result import Photo

if TYPE_CHECKING:
    from release.grip_photo import GripPhoto


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """The throws, and what was said and wished about one athlete."""

    throws: ThrowTable
    notes: tuple[tuple[str, str, str], ...]  # when, kind, text; newest first
    targets: Mapping[str, Target]  # by pitch
    photos: tuple[Photo, ...]  # of the grip; newest first


def read_source(table: Path | None, logbook: Path | None, athlete: str) -> Source:
    """Read a table or a logbook.

    Raises:
        SettingUnknown: Both or neither are given.
        ReleaseError: It cannot be read.
    """
    if (table is None) == (logbook is None):
        raise SettingUnknown("name a table of throws (--table) or a logbook (--logbook), one of the two")
    if table is not None:
        return Source(throws=read_throws(table), notes=(), targets={}, photos=())
    assert logbook is not None
    from release.grip_photo import photos_of
    from release.record.write_open import open_logbook
    from release.session_report import session_throws
    from release.talk import notes_of, wanted_balls

    book = open_logbook(logbook)
    return Source(
        throws=session_throws(book, None),
        notes=tuple(notes_of(book, athlete)),
        targets=wanted_balls(book, athlete),
        photos=tuple(_photo(one) for one in photos_of(book, athlete)),
    )


def _photo(one: "GripPhoto") -> Photo:
    of = f"throw {one.throw}, {one.day}" if one.throw is not None else one.day
    return Photo(pitch=one.pitch, caption=f"Grip, {of}{': ' if one.note else ''}{one.note}", jpeg=one.jpeg)
