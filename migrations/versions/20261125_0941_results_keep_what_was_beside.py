"""results keep what was measured beside them."""

import sqlalchemy as sa
from alembic import op

revision = "d6eefc0215a3"
down_revision = "607c37342f98"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("fact_result", sa.Column("beside", sa.Text(), server_default="{}", nullable=False))


def downgrade() -> None:
    op.drop_column("fact_result", "beside")
