"""The tables of a logbook. Declarations only; `read*.py` and `write*.py` use them.

Times are ISO 8601 text in UTC, as given by `write.now_utc`; a day is `YYYY-MM-DD`. `session`, `fact` and
`note` ids are random hex, so that logbooks filled apart can be merged; clips are known by content hash.
Nothing here is updated in place but a roster entry, a clip's state and what a newer file says: whatever a
person decides is a new row in `facts`, and the newest one that is not undone holds.
"""

from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
)

from release.flight.result import FIGURES, NINE

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)
json = JSON(none_as_null=True)


def _session() -> Column[str]:
    return Column("session", Text, ForeignKey("sessions.session", ondelete="CASCADE"), nullable=False)


# The roster: a code, the throwing arm, age band, consent and how long the clips may be kept.
athletes = Table(
    "athletes",
    metadata,
    Column("athlete", Text, primary_key=True),  # the code used everywhere
    Column("throws", Text),  # R or L
    Column("age_band", Text),  # "under 13", "13 to 15", "16 to 17", "18 or over"
    Column("consent", Text),  # "guardian", "own", or empty: not given yet
    Column("consent_day", Text),
    Column("keep_until", Text),  # a day; from then on the clips are proposed for deletion
)

# Who a code is. Never exported, never sent to a page that leaves this machine.
athlete_names = Table(
    "athlete_names",
    metadata,
    Column(
        "athlete",
        Text,
        ForeignKey("athletes.athlete", ondelete="CASCADE", onupdate="CASCADE"),
        primary_key=True,
    ),
    Column("name", Text, nullable=False),
)

# One row a session: its name (by default the day), place settings and the plan its cues were drawn by.
sessions = Table(
    "sessions",
    metadata,
    Column("session", Text, primary_key=True),
    Column("name", Text, nullable=False, index=True),
    Column("day", Text, nullable=False),
    Column("settings", json),  # where it was thrown and with what ball: the fields of flight.result.Setting
    Column("plan", Text),  # plan.toml as it was
)

# One row a video file, whose bytes lie in clips/<sha256><ext> of the logbook.
clips = Table(
    "clips",
    metadata,
    Column("sha256", Text, primary_key=True),
    _session(),
    Column("name", Text, nullable=False),  # as it was called when taken in
    Column("ext", Text, nullable=False),  # with the dot, lower case
    Column("bytes", BigInteger, nullable=False),
    Column("camera", Text, nullable=False),  # which phone; "" where there is one only
    Column(
        "athlete", Text, ForeignKey("athletes.athlete", onupdate="CASCADE")
    ),  # only where told on taking in
    Column("created", Text),  # by the phone's own clock
    Column("taken_in", Text, nullable=False),
    Column("state", Text, nullable=False),  # "waiting", "measured", "refused", "set aside"
    Column("why", Text),  # of "refused" and "set aside"
    Column("measurement", Text),  # the measurement in force
    Index("ix_clips_session_created", "session", "created"),
    Index("ix_clips_session_state", "session", "state"),
    Index("ix_clips_state", "state"),
)

# One row of a throw sheet, in the order thrown.
throws = Table(
    "throws",
    metadata,
    Column("session", Text, ForeignKey("sessions.session", ondelete="CASCADE"), primary_key=True),
    Column("throw", Integer, primary_key=True),
    Column("time", Text),
    Column("athlete", Text, ForeignKey("athletes.athlete", onupdate="CASCADE")),
    Column("throws", Text),
    Column("pitch", Text),
    Column("cue", Text),
    Column("block", Integer),
    Column("grip_seams", Text),
    Column("grip_offset", Text),
    Column("grip_index", Text),
    Column("grip_thumb", Text),
    Column("grip_ball", Text),
    Column("grip_pressure", Text),
    Column("intent_percent", Float),
    Column("target", Text),
    Column("location", Text),
    Column("ball", Text),
    Column("note", Text),
    Column("extra", json),  # columns of the sheet that are not ours
    Index("ix_throws_athlete_pitch_cue", "athlete", "pitch", "cue"),
    Index("ix_throws_pitch", "pitch"),
    Index("ix_throws_cue", "cue"),
    sqlite_with_rowid=False,
)

FLIGHT_FIGURES = (*FIGURES, *NINE)

# One row a ball measured by a flight unit, in our own units and signs.
flights = Table(
    "flights",
    metadata,
    Column("session", Text, ForeignKey("sessions.session", ondelete="CASCADE"), primary_key=True),
    Column("flight", Text, primary_key=True),  # the row's id in the export
    Column("time", Text),  # by the unit's own clock
    Column("athlete", Text),
    Column("pitch", Text),
    *(Column(name, Float) for name in FLIGHT_FIGURES),
    Column("break_window", Text),  # "full flight" or "last 40 ft"; never pooled
    Column("flags", Text),  # what a baseball cannot do, in words
    Column("extra", json),
    sqlite_with_rowid=False,
)

# One row a measuring of a clip; the key is the hash of clip, models, settings and edits together.
measurements = Table(
    "measurements",
    metadata,
    Column("measurement", Text, primary_key=True),
    Column("clip", Text, ForeignKey("clips.sha256", ondelete="CASCADE"), nullable=False, index=True),
    Column("models_sha256", Text, nullable=False),
    Column("settings_sha256", Text, nullable=False),
    Column("edits_sha256", Text, nullable=False),  # of the facts it had to keep to; "" where none
    Column("measured_at", Text, nullable=False),
    Column("throws", Text),  # R or L, the throwing arm as seen
    Column("refused", Text),  # why there is no release or no orientation
    Column("time_base", json, nullable=False),  # slowdown, source, why; the ball's speed where seen
    Column("limits", json, nullable=False),  # what limits this throw, in words
    Column("flagged", json, nullable=False),  # reasons to look at the frame
    Column("settings", json, nullable=False),  # what was asked for, readable
    Column("models", json, nullable=False),  # name to SHA-256 of every model that took part
    Column("points_px", json, nullable=False),  # the arm in the picture frames/<measurement>.jpg
    Column("picture_frame_index", Integer),  # the frame of that picture; empty where there is none
    Column("partner", Text),  # the other phone's clip that was to be fitted together with this one
    Column("apart", Text),  # why it was not; empty where the figures are those of both clips
)

# The instant of release of one measuring.
releases = Table(
    "releases",
    metadata,
    Column(
        "measurement",
        Text,
        ForeignKey("measurements.measurement", ondelete="CASCADE"),
        primary_key=True,
    ),
    Column("frame_index", Float, nullable=False),  # 0-based
    Column("time_s", Float),
    Column("sd_frames", Float, nullable=False),
    Column("source", Text, nullable=False),
)

# The figures at release of one measuring, a row a figure (names as in orientation/result.py).
orientations = Table(
    "orientations",
    metadata,
    Column(
        "measurement",
        Text,
        ForeignKey("measurements.measurement", ondelete="CASCADE"),
        primary_key=True,
    ),
    Column("figure", Text, primary_key=True),
    Column("value", Float),
    Column("sd", Float),
    Column("low", Float),
    Column("high", Float),
    Column("refused", Text),
    sqlite_with_rowid=False,
)

# What belongs together, as last aligned: replaced as a whole for a session, never edited.
links = Table(
    "links",
    metadata,
    Column("session", Text, ForeignKey("sessions.session", ondelete="CASCADE"), primary_key=True),
    Column("row", Integer, primary_key=True),
    Column("clip", Text, ForeignKey("clips.sha256", ondelete="CASCADE"), index=True),
    Column("throw", Integer),
    Column("flight", Text),
    Column("probability", Float),
    Column("state", Text, nullable=False),  # "linked", "asked", "alone"
    Column("why", Text),
    ForeignKeyConstraint(["session", "throw"], ["throws.session", "throws.throw"], ondelete="CASCADE"),
    ForeignKeyConstraint(["session", "flight"], ["flights.session", "flights.flight"], ondelete="CASCADE"),
    Index("ix_links_session_throw", "session", "throw"),
    sqlite_with_rowid=False,
)

# What a person decided: append-only, with who and when; `undoes` names the fact it takes back.
facts = Table(
    "facts",
    metadata,
    Column("fact", Text, primary_key=True),
    Column("at", Text, nullable=False, index=True),
    Column("who", Text, nullable=False),
    Column("kind", Text, nullable=False),  # see FACT_KINDS
    Column("session", Text, ForeignKey("sessions.session", ondelete="CASCADE"), index=True),
    Column("clip", Text, ForeignKey("clips.sha256", ondelete="CASCADE"), index=True),
    Column("throw", Integer),
    Column("flight", Text),
    Column(
        "athlete", Text, ForeignKey("athletes.athlete", ondelete="CASCADE", onupdate="CASCADE"), index=True
    ),
    Column("value", json),
    Column("undoes", Text, index=True),
)

FACT_KINDS = {
    "release set": "clip; value {frame_index}",
    "landmark pinned": "clip; value {frame_index, point, x_px, y_px}",
    "read again": "clip; value {frame_index, points {NAME {x_px, y_px}}}: a blind reading, changes no answer",
    "clip accepted": "clip",
    "clip rejected": "clip; value {why}: its figures are left out of tables",
    "time base set": "clip or session; value {capture_fps}",
    "link confirmed": "session and two or three of clip, throw, flight: belong together",
    "link rejected": "session and two of clip, throw, flight: do not belong together",
    "marked extra": "session and one of clip, flight: belongs to no throw",
    "throw tagged": "session, throw; value {cue, pitch, grip_...}: holds over the sheet",
    "camera marked": "session, maybe clip; value {camera, ...camera.toml as a table}",
    "grip photographed": "athlete; value {pitch, throw, note, name, jpeg (base64)}",
    "live drawn": "session, athlete; value {pitch, cues, seed}: what `release live` draws each next cue by",
    "target set": "athlete; value {pitch, ...the wanted window}",
    "merge conflict": "what another logbook said of the same thing; value {table, key, ours, theirs}",
}

# What was said and decided: the athlete's own words, the coach's decision, the note for next time.
notes = Table(
    "notes",
    metadata,
    Column("note", Text, primary_key=True),
    Column("at", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("kind", Text, nullable=False),  # "athlete's words", "decision", "next time"
    Column(
        "athlete", Text, ForeignKey("athletes.athlete", ondelete="CASCADE", onupdate="CASCADE"), index=True
    ),
    Column("session", Text, ForeignKey("sessions.session", ondelete="CASCADE"), index=True),
    Column("throw", Integer),
    Column("text", Text, nullable=False),
)

# Which files were read into which session, so that the same file again changes nothing.
imports = Table(
    "imports",
    metadata,
    Column("sha256", Text, primary_key=True),
    _session(),
    Column("kind", Text, nullable=False),  # "sheet", "flight", "plan"
    Column("name", Text, nullable=False),
    Column("at", Text, nullable=False),
)

# Hashes of what was forgotten on request, so that a merge does not bring it back.
forgotten = Table("forgotten", metadata, Column("digest", Text, primary_key=True))

# Where copies of this logbook went, so that forgetting can name the copies it does not reach.
backups = Table(
    "backups",
    metadata,
    Column("machine", Text, primary_key=True),
    Column("path", Text, primary_key=True),
    Column("at", Text, nullable=False),
)
