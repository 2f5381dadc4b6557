"""A collection has a digest of what was recorded, which covers that of the one before; those that are there have none.

Revision ID: collection_digest
Revises: may_post
"""

from alembic import op

revision = "collection_digest"
down_revision = "may_post"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # In place: a table that is copied loses the triggers that let nothing in it be changed.
    op.execute("ALTER TABLE collection ADD COLUMN facts_digest VARCHAR NOT NULL DEFAULT ''")


def downgrade() -> None:
    op.execute("ALTER TABLE collection DROP COLUMN facts_digest")
