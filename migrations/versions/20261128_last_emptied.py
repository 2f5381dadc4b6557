"""When a box was last emptied is found on indexes alone, however many collections its table has.

Revision ID: last_emptied
Revises: newest_box
"""

import sqlalchemy as sa
from alembic import op

revision = "last_emptied"
down_revision = "newest_box"
branch_labels = None
depends_on = None

_OF_A_TABLE = "ix_collected_table_pool_table_id"
_WITH_COLLECTION = "ix_collected_table_pool_table_id_collection_id"
_EMPTIED_BEFORE = "ix_collected_table_emptied_before"
_WITH_INSTANT = "ix_collection_id_collected_at"


def upgrade() -> None:
    """Keep the collections of each table, their instants, and the statements of an emptying, in indexes."""
    stated = sa.text("emptied_before_at IS NOT NULL")
    op.create_index(_WITH_INSTANT, "collection", ["id", "collected_at"])
    op.create_index(_WITH_COLLECTION, "collected_table", ["pool_table_id", "collection_id"])
    op.create_index(_EMPTIED_BEFORE, "collected_table", ["pool_table_id"], sqlite_where=stated, postgresql_where=stated)
    op.drop_index(_OF_A_TABLE, table_name="collected_table")


def downgrade() -> None:
    """Keep only which rows are of a table."""
    op.create_index(_OF_A_TABLE, "collected_table", ["pool_table_id"])
    for name, table in (
        (_EMPTIED_BEFORE, "collected_table"),
        (_WITH_COLLECTION, "collected_table"),
        (_WITH_INSTANT, "collection"),
    ):
        op.drop_index(name, table_name=table)
