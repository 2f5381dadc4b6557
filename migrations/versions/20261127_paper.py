"""The key that signs links to pages.

Revision ID: paper
Revises: order_of_recording
"""

import sqlalchemy as sa
from alembic import op

revision = "paper"
down_revision = "order_of_recording"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "signing_key",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_signing_key_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signing_key")),
    )


def downgrade() -> None:
    op.drop_table("signing_key")
