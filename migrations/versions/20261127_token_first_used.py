"""A token knows when it was used first: one that never was can be deleted.

Revision ID: token_first_used
Revises: placed_at_void
"""

from alembic import op

revision = "token_first_used"
down_revision = "placed_at_void"
branch_labels = None
depends_on = None


def upgrade() -> None:
    when = "TIMESTAMP WITH TIME ZONE" if op.get_bind().dialect.name == "postgresql" else "DATETIME"
    op.execute(f"ALTER TABLE token ADD COLUMN first_used_at {when}")
    op.execute("UPDATE token SET first_used_at = made_at")  # nobody knows: as used


def downgrade() -> None:
    op.execute("ALTER TABLE token DROP COLUMN first_used_at")
