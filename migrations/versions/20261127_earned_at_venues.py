"""What a venue earned is found by an index: the question of one venue does not walk through the whole route.

Revision ID: earned_at_venues
Revises: webhooks
"""

from alembic import op

revision = "earned_at_venues"
down_revision = "webhooks"
branch_labels = None
depends_on = None

_INDEXES = (("earned_box", "first_on"), ("earned_part", "box_first_on"))


def upgrade() -> None:
    """Make the indexes."""
    for table, first_on in _INDEXES:
        op.create_index(f"ix_{table}_venue_id_{first_on}", table, ["venue_id", first_on])


def downgrade() -> None:
    """Drop them."""
    for table, first_on in _INDEXES:
        op.drop_index(f"ix_{table}_venue_id_{first_on}", table)
