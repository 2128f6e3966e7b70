"""one that doesn't fit what it waited for keeps no other from it."""

import sqlalchemy as sa
from alembic import op

revision = "e27b5c18f3a4"
down_revision = "5e7d20c4b1a9"
branch_labels = None
depends_on = None

BEFORE, AFTER = ["supersedes_id"], ["supersedes_id", "subject_type", "subject_id", "kind"]


def named(columns: list[str]) -> str:
    return f"uq_fact_{'_'.join(columns)}"


def fact(unique: list[str]) -> sa.Table:
    """As it stands before: SQLite tells neither its checks nor that its numbers are never given out again."""
    return sa.Table(
        "fact",
        sa.MetaData(),
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("subject_type", sa.String(length=12), nullable=False),
        sa.Column("subject_id", sa.String(length=60), nullable=False),
        sa.Column("kind", sa.String(length=30), nullable=False),
        sa.Column("earliest_at", sa.DateTime(), nullable=False),
        sa.Column("latest_at", sa.DateTime(), nullable=False),
        sa.Column("written_at", sa.DateTime(), nullable=True),
        sa.Column("received_at", sa.DateTime(), nullable=False),
        sa.Column("clock", sa.String(length=5), nullable=False),
        sa.Column("clock_offset_s", sa.Float(), nullable=True),
        sa.Column("place", sa.String(length=60), nullable=True),
        sa.Column("instrument", sa.String(length=60), nullable=True),
        sa.Column("person", sa.String(length=80), nullable=True),
        sa.Column("entered_by", sa.String(length=80), nullable=True),
        sa.Column("method", sa.String(length=40), nullable=True),
        sa.Column("quality", sa.String(length=20), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("device", sa.String(length=80), nullable=True),
        sa.Column("supersedes_id", sa.String(length=36), nullable=True),
        sa.Column("body_sha256", sa.String(length=64), nullable=False),
        sa.Column("v", sa.Integer(), nullable=False),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.CheckConstraint("clock IN ('now', 'typed')", name="ck_fact_clock_known"),
        sa.CheckConstraint("earliest_at <= latest_at", name="ck_fact_time_runs_forward"),
        sa.PrimaryKeyConstraint("seq", name="pk_fact"),
        sa.UniqueConstraint("id", name="uq_fact_id"),
        sa.UniqueConstraint(*unique, name=named(unique)),
        sa.Index("ix_fact_subject", "subject_type", "subject_id", "seq"),
    )


def change(before: list[str], after: list[str]) -> None:
    kept = {"sqlite_autoincrement": True}
    with op.batch_alter_table("fact", copy_from=fact(before), table_kwargs=kept) as batch_op:
        batch_op.drop_constraint(named(before), type_="unique")
        batch_op.create_unique_constraint(named(after), after)


def upgrade() -> None:
    change(BEFORE, AFTER)


def downgrade() -> None:
    change(AFTER, BEFORE)
