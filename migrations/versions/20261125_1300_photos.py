"""photos of facts."""

import sqlalchemy as sa
from alembic import op

revision = "9b1f6a3c27de"
down_revision = "c4a1e7d90b52"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "photo",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fact_id", sa.String(length=36), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("media_type", sa.String(length=40), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=True),
        sa.Column("received_at", sa.DateTime(), nullable=False),
        sa.Column("entered_by", sa.String(length=80), nullable=True),
        sa.Column("device", sa.String(length=80), nullable=True),
        sa.Column("struck_at", sa.DateTime(), nullable=True),
        sa.Column("struck_by", sa.String(length=80), nullable=True),
        sa.CheckConstraint("width > 0 AND height > 0 AND size_bytes > 0", name=op.f("ck_photo_has_a_picture")),
        sa.ForeignKeyConstraint(["fact_id"], ["fact.id"], name=op.f("fk_photo_fact_id_fact")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
    )
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photo_fact_id"), ["fact_id"], unique=False)
    op.create_table(
        "photo_picture",
        sa.Column("photo_id", sa.String(length=36), nullable=False),
        sa.Column("size", sa.String(length=5), nullable=False),
        sa.Column("jpeg", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("size IN ('whole', 'small')", name=op.f("ck_photo_picture_size_known")),
        sa.ForeignKeyConstraint(["photo_id"], ["photo.id"], name=op.f("fk_photo_picture_photo_id_photo")),
        sa.PrimaryKeyConstraint("photo_id", "size", name=op.f("pk_photo_picture")),
    )


def downgrade() -> None:
    op.drop_table("photo_picture")
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_photo_fact_id"))
    op.drop_table("photo")
