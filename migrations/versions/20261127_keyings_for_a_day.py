"""Keyings: for which trading date a weekday clock was keyed, and which of them are void.

Revision ID: keyings_for_a_day
Revises: source_digest
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import make_append_only

revision = "keyings_for_a_day"
down_revision = "source_digest"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("keying", sa.Column("for_on", sa.Date(), nullable=True))
    op.create_table(
        "keying_void",
        sa.Column("keying_id", sa.Uuid(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("voided_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("voided_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["keying_id"], ["keying.id"], name=op.f("fk_keying_void_keying_id_keying")),
        sa.PrimaryKeyConstraint("keying_id", name=op.f("pk_keying_void")),
    )
    make_append_only("keying_void", same="keying_id = NEW.keying_id", function="published_append_only")


def downgrade() -> None:
    op.drop_table("keying_void")
    op.execute("ALTER TABLE keying DROP COLUMN for_on")
