"""Checks a whole logbook: the database, every clip's bytes, every frame, and all that is named."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import cv2
import numpy as np
from sqlalchemy import Executable, exists, select

from release.errors import LogbookDamaged
from release.record import schema as t
from release.record.read import table
from release.record.result import Fault, MeasurementKey
from release.record.write_clips import file_sha256
from release.record.write_open import Logbook, reading

ADD_AGAIN = "add the clip again from the phone or a copy with `release add`"
AGAIN = "measure the clip again: `release measure --again`"
RESTORE = "bring back the newest copy with `release restore`"
CUT_OFF = "a step was cut off here; delete it, or leave it"


def faults(logbook: Logbook, told: Callable[[int], None] = lambda n_bytes: None) -> list[Fault]:
    """All that is wrong in a logbook, the gravest first; an empty list says that nothing is.

    Args:
        logbook: Where.
        told: Called with the size of each clip once it is read, to show how far the work is.
    """
    found = []
    for check in (_database(logbook), _clips(logbook, told), _frames(logbook), _references(logbook)):
        try:
            found.extend(check)
        except LogbookDamaged as error:
            found.append(Fault(what=str(error), mend=RESTORE))
    return sorted(found, key=lambda fault: fault.harmless)


def _database(logbook: Logbook) -> Iterator[Fault]:
    if logbook.database_file is None:
        return  # a server checks its own pages and keys
    with reading(logbook) as connection:
        said = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
        loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if said != ["ok"]:
        yield Fault(what=f"the database is damaged: {'; '.join(map(str, said[:3]))}", mend=RESTORE)
    for here, _, named, _ in loose:
        yield Fault(what=f"a row of {here} names a row of {named} that is not there", mend=RESTORE)


def _clips(logbook: Logbook, told: Callable[[int], None]) -> Iterator[Fault]:
    if not logbook.clips.is_dir():
        yield Fault(what=f"the clips' folder is gone: {logbook.clips}", mend="plug in the disk that holds it")
        return
    known = set()
    for row in table(logbook, select(t.clips.c.sha256, t.clips.c.ext, t.clips.c.name)).itertuples():
        path = logbook.clips / f"{row.sha256}{row.ext}"
        known.add(path.name)
        if not path.is_file():
            yield Fault(what=f"clip {row.name}: its file is gone ({path.name})", mend=ADD_AGAIN)
            continue
        try:
            whole = file_sha256(path) == row.sha256
        except OSError as error:
            yield Fault(what=f"clip {row.name}: {error}", mend=f"check the disk; then {ADD_AGAIN}")
            continue
        if not whole:
            what = f"clip {row.name}: its bytes have changed since it was taken in ({path.name})"
            yield Fault(what=what, mend=f"delete that file, then {ADD_AGAIN}")
        told(path.stat().st_size)
    for path in sorted(logbook.clips.iterdir()):
        if path.name not in known:
            yield Fault(what=f"{path} belongs to no clip", mend=CUT_OFF, harmless=True)


def _frames(logbook: Logbook) -> Iterator[Fault]:
    columns = (t.measurements.c.measurement, t.clips.c.name)
    query = select(*columns).join(t.clips, t.clips.c.sha256 == t.measurements.c.clip)
    rows = table(logbook, query.where(t.measurements.c.picture_frame_index.is_not(None)))
    known = set()
    for row in rows.itertuples():
        path = logbook.frames / f"{row.measurement}.jpg"
        known.add(path.name)
        if not path.is_file():
            yield Fault(what=f"clip {row.name}: its release frame is gone ({path.name})", mend=AGAIN)
        elif not _is_picture(path.read_bytes()):
            what = f"clip {row.name}: its release frame is damaged ({path.name})"
            yield Fault(what=what, mend=AGAIN)
    for path in sorted(logbook.frames.iterdir()) if logbook.frames.is_dir() else ():
        if path.name not in known:
            yield Fault(what=f"{path} belongs to no measurement", mend=CUT_OFF, harmless=True)


def _is_picture(content: bytes) -> bool:
    """Whether a JPEG is there from its first mark to its last, and decodes."""
    ends = content[:2] == b"\xff\xd8" and content.rstrip(b"\0")[-2:] == b"\xff\xd9"
    return ends and cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_REDUCED_GRAYSCALE_8) is not None


def _references(logbook: Logbook) -> Iterator[Fault]:
    """What the database's own keys do not watch over."""
    keys = ("models_sha256", "settings_sha256", "edits_sha256")
    query = select(*(t.measurements.c[name] for name in ("measurement", "clip", *keys)))
    clip_of = {}
    for row in table(logbook, query).to_dict("records"):
        clip_of[row["measurement"]] = row["clip"]
        key = MeasurementKey(clip_sha256=row["clip"], **{name: row[name] for name in keys})
        if key.text != row["measurement"]:
            yield Fault(what=f"measurement {row['measurement']} is not what its name says", mend=AGAIN)
    for row in table(logbook, select(t.clips).order_by(t.clips.c.name)).to_dict("records"):
        in_force = row["measurement"]
        named = isinstance(in_force, str)
        if (named and clip_of.get(in_force) != row["sha256"]) or (row["state"] == "measured" and not named):
            yield Fault(what=f"clip {row['name']}: its measurement is not there", mend=AGAIN)
    yield from _decisions(logbook)


def _decisions(logbook: Logbook) -> Iterator[Fault]:
    of_fact = t.facts.c
    for what, of in (("throw", t.throws), ("flight", t.flights)):
        # A session without a sheet has its throws from its clips: nothing to look up.
        listed = of_fact.session.in_(select(of.c.session))
        entered = exists().where(of.c.session == of_fact.session, of.c[what] == of_fact[what])
        lost = select(of_fact.fact, of_fact.kind, of_fact[what])
        for row in _rows(logbook, lost.where(of_fact[what].is_not(None), listed, ~entered)):
            text = f"decision {row.fact} ({row.kind}) is about {what} {row[2]}, which is not there"
            yield Fault(what=text, mend="enter the sheet or flight file again, or take it back")
    other = t.facts.alias()
    known = exists().where(other.c.fact == of_fact.undoes)
    for row in _rows(
        logbook, select(of_fact.fact, of_fact.undoes).where(of_fact.undoes.is_not(None), ~known)
    ):
        text = f"decision {row.fact} takes back {row.undoes}, which is not there"
        yield Fault(what=text, mend="bring it in with `release merge` from the logbook that has it")


def _rows(logbook: Logbook, query: Executable) -> Sequence[Any]:
    with reading(logbook) as connection:
        return connection.execute(query).all()
