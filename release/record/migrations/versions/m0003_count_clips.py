"""Count the clips of each session by state without reading the clips"""

from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_index("ix_clips_session_state", "clips", ["session", "state"], unique=False)
