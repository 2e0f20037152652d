"""With which other phone's clip a measurement was fitted together, or why it was not"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.add_column("measurements", sa.Column("partner", sa.Text(), nullable=True))
    op.add_column("measurements", sa.Column("apart", sa.Text(), nullable=True))
