"""The first tables of a logbook"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "athletes",
        sa.Column("athlete", sa.Text(), nullable=False),
        sa.Column("throws", sa.Text(), nullable=True),
        sa.Column("age_band", sa.Text(), nullable=True),
        sa.Column("consent", sa.Text(), nullable=True),
        sa.Column("consent_day", sa.Text(), nullable=True),
        sa.Column("keep_until", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("athlete", name="pk_athletes"),
    )
    op.create_table(
        "forgotten",
        sa.Column("digest", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("digest", name="pk_forgotten"),
    )
    op.create_table(
        "sessions",
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("settings", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("plan", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("session", name="pk_sessions"),
    )
    op.create_index("ix_sessions_name", "sessions", ["name"], unique=False)
    op.create_table(
        "athlete_names",
        sa.Column("athlete", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["athlete"],
            ["athletes.athlete"],
            name="fk_athlete_names_athlete",
            onupdate="CASCADE",
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("athlete", name="pk_athlete_names"),
    )
    op.create_table(
        "clips",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("ext", sa.Text(), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("camera", sa.Text(), nullable=False),
        sa.Column("athlete", sa.Text(), nullable=True),
        sa.Column("created", sa.Text(), nullable=True),
        sa.Column("taken_in", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=True),
        sa.Column("measurement", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["athlete"], ["athletes.athlete"], name="fk_clips_athlete", onupdate="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["session"], ["sessions.session"], name="fk_clips_session", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("sha256", name="pk_clips"),
    )
    op.create_index("ix_clips_session_created", "clips", ["session", "created"], unique=False)
    op.create_index("ix_clips_state", "clips", ["state"], unique=False)
    op.create_table(
        "flights",
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("flight", sa.Text(), nullable=False),
        sa.Column("time", sa.Text(), nullable=True),
        sa.Column("athlete", sa.Text(), nullable=True),
        sa.Column("pitch", sa.Text(), nullable=True),
        sa.Column("speed_mph", sa.Float(), nullable=True),
        sa.Column("induced_vertical_break_in", sa.Float(), nullable=True),
        sa.Column("horizontal_break_in", sa.Float(), nullable=True),
        sa.Column("spin_rpm", sa.Float(), nullable=True),
        sa.Column("spin_tilt_deg", sa.Float(), nullable=True),
        sa.Column("spin_efficiency", sa.Float(), nullable=True),
        sa.Column("release_height_ft", sa.Float(), nullable=True),
        sa.Column("release_side_ft", sa.Float(), nullable=True),
        sa.Column("extension_ft", sa.Float(), nullable=True),
        sa.Column("x0_ft", sa.Float(), nullable=True),
        sa.Column("y0_ft", sa.Float(), nullable=True),
        sa.Column("z0_ft", sa.Float(), nullable=True),
        sa.Column("vx0_ft_s", sa.Float(), nullable=True),
        sa.Column("vy0_ft_s", sa.Float(), nullable=True),
        sa.Column("vz0_ft_s", sa.Float(), nullable=True),
        sa.Column("ax_ft_s2", sa.Float(), nullable=True),
        sa.Column("ay_ft_s2", sa.Float(), nullable=True),
        sa.Column("az_ft_s2", sa.Float(), nullable=True),
        sa.Column("break_window", sa.Text(), nullable=True),
        sa.Column("flags", sa.Text(), nullable=True),
        sa.Column("extra", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["session"], ["sessions.session"], name="fk_flights_session", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("session", "flight", name="pk_flights"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "imports",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["session"], ["sessions.session"], name="fk_imports_session", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("sha256", name="pk_imports"),
    )
    op.create_table(
        "notes",
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("athlete", sa.Text(), nullable=True),
        sa.Column("session", sa.Text(), nullable=True),
        sa.Column("throw", sa.Integer(), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["athlete"], ["athletes.athlete"], name="fk_notes_athlete", onupdate="CASCADE", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["session"], ["sessions.session"], name="fk_notes_session", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("note", name="pk_notes"),
    )
    op.create_index("ix_notes_athlete", "notes", ["athlete"], unique=False)
    op.create_index("ix_notes_session", "notes", ["session"], unique=False)
    op.create_table(
        "throws",
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("throw", sa.Integer(), nullable=False),
        sa.Column("time", sa.Text(), nullable=True),
        sa.Column("athlete", sa.Text(), nullable=True),
        sa.Column("throws", sa.Text(), nullable=True),
        sa.Column("pitch", sa.Text(), nullable=True),
        sa.Column("cue", sa.Text(), nullable=True),
        sa.Column("block", sa.Integer(), nullable=True),
        sa.Column("grip_seams", sa.Text(), nullable=True),
        sa.Column("grip_offset", sa.Text(), nullable=True),
        sa.Column("grip_index", sa.Text(), nullable=True),
        sa.Column("grip_thumb", sa.Text(), nullable=True),
        sa.Column("grip_ball", sa.Text(), nullable=True),
        sa.Column("grip_pressure", sa.Text(), nullable=True),
        sa.Column("intent_percent", sa.Float(), nullable=True),
        sa.Column("target", sa.Text(), nullable=True),
        sa.Column("location", sa.Text(), nullable=True),
        sa.Column("ball", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("extra", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["athlete"], ["athletes.athlete"], name="fk_throws_athlete", onupdate="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["session"], ["sessions.session"], name="fk_throws_session", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("session", "throw", name="pk_throws"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_throws_athlete_pitch_cue", "throws", ["athlete", "pitch", "cue"], unique=False)
    op.create_index("ix_throws_cue", "throws", ["cue"], unique=False)
    op.create_index("ix_throws_pitch", "throws", ["pitch"], unique=False)
    op.create_table(
        "facts",
        sa.Column("fact", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("session", sa.Text(), nullable=True),
        sa.Column("clip", sa.Text(), nullable=True),
        sa.Column("throw", sa.Integer(), nullable=True),
        sa.Column("flight", sa.Text(), nullable=True),
        sa.Column("athlete", sa.Text(), nullable=True),
        sa.Column("value", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("undoes", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["athlete"], ["athletes.athlete"], name="fk_facts_athlete", onupdate="CASCADE", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["clip"], ["clips.sha256"], name="fk_facts_clip", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["session"], ["sessions.session"], name="fk_facts_session", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("fact", name="pk_facts"),
    )
    op.create_index("ix_facts_at", "facts", ["at"], unique=False)
    op.create_index("ix_facts_athlete", "facts", ["athlete"], unique=False)
    op.create_index("ix_facts_clip", "facts", ["clip"], unique=False)
    op.create_index("ix_facts_session", "facts", ["session"], unique=False)
    op.create_table(
        "links",
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("clip", sa.Text(), nullable=True),
        sa.Column("throw", sa.Integer(), nullable=True),
        sa.Column("flight", sa.Text(), nullable=True),
        sa.Column("probability", sa.Float(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["clip"], ["clips.sha256"], name="fk_links_clip", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["session", "flight"],
            ["flights.session", "flights.flight"],
            name="fk_links_session_flight",
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["session", "throw"],
            ["throws.session", "throws.throw"],
            name="fk_links_session_throw",
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["session"], ["sessions.session"], name="fk_links_session", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("session", "row", name="pk_links"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_links_clip", "links", ["clip"], unique=False)
    op.create_index("ix_links_session_throw", "links", ["session", "throw"], unique=False)
    op.create_table(
        "measurements",
        sa.Column("measurement", sa.Text(), nullable=False),
        sa.Column("clip", sa.Text(), nullable=False),
        sa.Column("models_sha256", sa.Text(), nullable=False),
        sa.Column("settings_sha256", sa.Text(), nullable=False),
        sa.Column("edits_sha256", sa.Text(), nullable=False),
        sa.Column("measured_at", sa.Text(), nullable=False),
        sa.Column("throws", sa.Text(), nullable=True),
        sa.Column("refused", sa.Text(), nullable=True),
        sa.Column("time_base", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("limits", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("flagged", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("settings", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("models", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("points_px", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("picture_frame_index", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["clip"], ["clips.sha256"], name="fk_measurements_clip", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("measurement", name="pk_measurements"),
    )
    op.create_index("ix_measurements_clip", "measurements", ["clip"], unique=False)
    op.create_table(
        "orientations",
        sa.Column("measurement", sa.Text(), nullable=False),
        sa.Column("figure", sa.Text(), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("sd", sa.Float(), nullable=True),
        sa.Column("low", sa.Float(), nullable=True),
        sa.Column("high", sa.Float(), nullable=True),
        sa.Column("refused", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["measurement"],
            ["measurements.measurement"],
            name="fk_orientations_measurement",
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("measurement", "figure", name="pk_orientations"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "releases",
        sa.Column("measurement", sa.Text(), nullable=False),
        sa.Column("frame_index", sa.Float(), nullable=False),
        sa.Column("time_s", sa.Float(), nullable=True),
        sa.Column("sd_frames", sa.Float(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["measurement"], ["measurements.measurement"], name="fk_releases_measurement", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("measurement", name="pk_releases"),
    )
