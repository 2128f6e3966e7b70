"""calendar feeds."""

import sqlalchemy as sa
from alembic import op

revision = "c4a1e7d90b52"
down_revision = "d6eefc0215a3"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "calendar_feed",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("units", sa.String(length=8), nullable=False),
        sa.Column("has_alarms", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("revoked_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calendar_feed")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_calendar_feed_token_sha256")),
    )


def downgrade() -> None:
    op.drop_table("calendar_feed")
