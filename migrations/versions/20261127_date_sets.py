"""Sets of dates.

Revision ID: date_sets
Revises: collection_digest
"""

import sqlalchemy as sa
from alembic import op

revision = "date_sets"
down_revision = "collection_digest"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "date_set",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("dates", sa.JSON(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_date_set")),
    )


def downgrade() -> None:
    op.drop_table("date_set")
