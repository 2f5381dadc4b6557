"""Tokens of accountants that may post ledger entries.

Revision ID: may_post
Revises: paper
"""

import sqlalchemy as sa
from alembic import op

revision = "may_post"
down_revision = "paper"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("token", sa.Column("may_post", sa.Boolean(), nullable=False, server_default=sa.false()))


def downgrade() -> None:
    op.drop_column("token", "may_post")
