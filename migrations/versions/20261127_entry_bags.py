"""Deposits name the bags that were banked; collections are found by their bag.

Revision ID: entry_bags
Revises: reading_void
"""

import sqlalchemy as sa
from alembic import op

revision = "entry_bags"
down_revision = "reading_void"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # In place: a table that is copied loses the triggers that let nothing in it be changed.
    op.execute("ALTER TABLE ledger_entry ADD COLUMN bags VARCHAR")
    op.create_index(op.f("ix_collection_bag"), "collection", ["bag"])


def downgrade() -> None:
    named = sa.text("SELECT count(*) FROM ledger_entry WHERE bags IS NOT NULL")
    if op.get_bind().execute(named).scalar_one():
        raise RuntimeError("expected a journal without bags: the version before cannot verify entries that name them")
    op.drop_index(op.f("ix_collection_bag"), "collection")
    op.execute("ALTER TABLE ledger_entry DROP COLUMN bags")
