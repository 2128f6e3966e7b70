"""who made a pairing code, a calendar feed, and let a device in."""

import sqlalchemy as sa
from alembic import op

revision = "f7af28e56974"
down_revision = "e27b5c18f3a4"
branch_labels = None
depends_on = None

TABLES = ("calendar_feed", "device", "pairing_code")


def upgrade() -> None:
    # Of the rows that are there nobody knows: they keep none.
    for table in TABLES:
        op.add_column(table, sa.Column("made_by", sa.String(length=36), nullable=True))


def downgrade() -> None:
    for table in TABLES:
        op.drop_column(table, "made_by")
