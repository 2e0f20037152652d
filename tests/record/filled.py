"""Fills a logbook with an invented session: two athletes, clips, sheet, flights, links, decisions."""

import cv2
import numpy as np
import pandas as pd

from release.clip.result import TimeBase
from release.instant.result import ReleaseInstant
from release.orientation.result import ANGLES, FIELD_LENGTHS, Estimate, Orientation
from release.record import read, write
from release.record.result import Measurement, MeasurementKey
from release.record.write_clips import add_clips

PICTURE = cv2.imencode(".jpg", np.full((8, 8, 3), 128, np.uint8))[1].tobytes()


def measured(clip_sha256, models="m", picture=PICTURE):
    estimate = Estimate(value=1.0, sd=2.0, low=-3.0, high=5.0, refused=None)
    return Measurement(
        key=MeasurementKey(
            clip_sha256=clip_sha256, models_sha256=models, settings_sha256="s", edits_sha256=""
        ),
        settings={},
        models={},
        throws="R",
        time_base=TimeBase(slowdown=1.0, source="stated", why="said so"),
        release=ReleaseInstant(frame_index=3.5, time_s=0.1, sd_frames=0.3, source="ball"),
        orientation=Orientation(
            figures=dict.fromkeys(ANGLES + FIELD_LENGTHS, estimate), limits=(), flagged=()
        ),
        refused=None,
        picture_jpeg=picture,
        picture_frame_index=3,
        points_px={"wrist": (1.0, 2.0)},
    )


def fill(book, folder, *, name="barn", athletes=("A1", "B2"), n=3, salt=""):
    """`n` throws an athlete, alternating; returns the session's id and the clips' hashes in throw order."""
    session = write.session_for(book, name)
    thrower = [athletes[i % len(athletes)] for i in range(n * len(athletes))]
    throw = range(1, len(thrower) + 1)
    cues = ["long arm", "short arm"]
    sheet = pd.DataFrame({"throw": throw, "athlete": thrower, "throws": "R", "pitch": "slider"})
    sheet["cue"], sheet["note"] = [cues[i % 2] for i in throw], [f"felt by {code}" for code in thrower]
    write.add_sheet(book, session, sheet, sha256=f"sheet {name}{salt}", name="sheet.csv")
    balls = pd.DataFrame({"flight": [str(i) for i in throw], "speed_mph": [80.0 + i for i in throw]})
    write.add_flights(book, session, balls, sha256=f"flight {name}{salt}", name="flight.csv")
    clips = []
    for i in throw:
        path = folder / f"{name}{salt}_{i}.mp4"
        path.write_bytes(f"clip {name}{salt} {i}: {thrower[i - 1]}".encode() * 50)
        (taken,) = add_clips(book, [path], session)
        write.save_measurement(book, measured(taken.sha256))
        clips.append(taken.sha256)
    rows = zip(throw, clips, strict=True)
    fixed = {"probability": 0.999, "state": "linked", "why": "time"}
    write.save_links(book, session, [{"clip": c, "throw": i, "flight": str(i), **fixed} for i, c in rows])
    for code in athletes:
        write.set_athlete(book, code, name=f"Name of {code}", age_band="18 or over", consent="own")
        write.add_note(book, f"{code} was tired", who="coach", kind="decision", athlete=code)
        write.add_fact(book, "target set", who="coach", athlete=code, value={"pitch": "slider", "for": code})
    frame = {"frame_index": 4.0}
    write.add_fact(book, "release set", who="coach", session=session, clip=clips[0], value=frame)
    tag = write.add_fact(book, "throw tagged", who="coach", session=session, throw=2, value={"cue": "slow"})
    write.add_fact(book, "undone", who="coach", undoes=tag)
    return session, clips


def rows(book):
    """Every row of every table, in order, without the times of writing: what must be there exactly once."""
    from release.record.schema import metadata

    times = {"at", "taken_in", "measured_at", "day"}
    kept = {}
    for table in metadata.sorted_tables:
        frame = read.table(book, table.select()).drop(columns=list(times), errors="ignore")
        kept[table.name] = sorted(map(repr, frame.astype(object).where(frame.notna(), None).values.tolist()))
    return kept
