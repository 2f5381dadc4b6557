"""The last boxes of a table are found by a step on an index, however many there are.

Revision ID: newest_box
Revises: record_digests
"""

from alembic import op

revision = "newest_box"
down_revision = "record_digests"
branch_labels = None
depends_on = None

_OF_A_TABLE = "ix_earned_box_pool_table_id"
_IN_ORDER = "ix_earned_box_pool_table_id_collected_at_collection_id"


def upgrade() -> None:
    """Order the boxes of each table by when they were emptied."""
    op.create_index(_IN_ORDER, "earned_box", ["pool_table_id", "collected_at", "collection_id"])
    op.drop_index(_OF_A_TABLE, table_name="earned_box")


def downgrade() -> None:
    """Know the boxes of a table in no order."""
    op.create_index(_OF_A_TABLE, "earned_box", ["pool_table_id"])
    op.drop_index(_IN_ORDER, table_name="earned_box")
