"""sheets of figures, such as an analysis of water."""

import sqlalchemy as sa
from alembic import op

revision = "85d829e9625e"
down_revision = "f7af28e56974"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "fact_analysis",
        sa.Column("fact_seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("found", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["fact_seq"], ["fact.seq"], name="fk_fact_analysis_fact_seq_fact"),
        sa.PrimaryKeyConstraint("fact_seq", name="pk_fact_analysis"),
    )


def downgrade() -> None:
    op.drop_table("fact_analysis")
