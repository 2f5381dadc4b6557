"""The time that a table was stated to be at its first place since can be voided, and stays on record.

Revision ID: placed_at_void
Revises: earned
"""

from alembic import op

revision = "placed_at_void"
down_revision = "earned"
branch_labels = None
depends_on = None


def upgrade() -> None:
    when = "TIMESTAMP WITH TIME ZONE" if op.get_bind().dialect.name == "postgresql" else "DATETIME"
    op.execute(f"ALTER TABLE stay ADD COLUMN void_placed_at {when}")
    op.execute(f"ALTER TABLE stay ADD COLUMN placed_at_voided_at {when}")
    op.execute("ALTER TABLE stay ADD COLUMN placed_at_voided_by VARCHAR DEFAULT '' NOT NULL")
    op.execute("ALTER TABLE stay ADD COLUMN placed_at_void_reason VARCHAR DEFAULT '' NOT NULL")


def downgrade() -> None:
    for name in ("void_placed_at", "placed_at_voided_at", "placed_at_voided_by", "placed_at_void_reason"):
        op.execute(f"ALTER TABLE stay DROP COLUMN {name}")
