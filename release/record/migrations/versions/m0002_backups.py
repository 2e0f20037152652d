"""Where copies of the logbook went; quick look-up of what takes a decision back"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "backups",
        sa.Column("machine", sa.Text(), nullable=False),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "path", name="pk_backups"),
    )
    op.create_index("ix_facts_undoes", "facts", ["undoes"], unique=False)
