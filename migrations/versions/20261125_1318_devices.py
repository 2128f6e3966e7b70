"""devices, the codes that let one in, and wrong guesses."""

import sqlalchemy as sa
from alembic import op

revision = "5e7d20c4b1a9"
down_revision = "9b1f6a3c27de"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "pairing_guess",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("address", sa.String(length=45), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pairing_guess")),
    )
    op.create_index(op.f("ix_pairing_guess_at"), "pairing_guess", ["at"])
    op.create_table(
        "device",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=12), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=True),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("last_seen_at", sa.DateTime(), nullable=False),
        sa.Column("revoked_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_device_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device")),
    )
    op.create_table(
        "pairing_code",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("code_sha256", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=12), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=True),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_pairing_code_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pairing_code")),
        sa.UniqueConstraint("code_sha256", name=op.f("uq_pairing_code_code_sha256")),
    )


def downgrade() -> None:
    op.drop_table("pairing_code")
    op.drop_table("device")
    op.drop_table("pairing_guess")
