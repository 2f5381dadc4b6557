"""A collection finds the later ones of its venue, and the settlements that carry something, by indexes: years add nothing.

Revision ID: years_at_a_venue
Revises: read_indexes
"""

import sqlalchemy as sa
from alembic import op

revision = "years_at_a_venue"
down_revision = "read_indexes"
branch_labels = None
depends_on = None

_CARRYING = sa.text(
    "CAST(carried_in AS TEXT) <> '[]' OR CAST(carried_forward AS TEXT) <> '[]' OR CAST(reckoned AS TEXT) <> '[]'"
)


def upgrade() -> None:
    """Make the indexes; the first takes the place of that of the venue alone."""
    op.create_index("ix_collection_venue_id_collected_at", "collection", ["venue_id", "collected_at"])
    op.drop_index("ix_collection_venue_id", "collection")
    op.create_index(
        "ix_settlement_carrying",
        "settlement",
        ["venue_id", "sequence"],
        sqlite_where=_CARRYING,
        postgresql_where=_CARRYING,
    )


def downgrade() -> None:
    """Make the index of the venue again."""
    op.drop_index("ix_settlement_carrying", "settlement")
    op.create_index("ix_collection_venue_id", "collection", ["venue_id"])
    op.drop_index("ix_collection_venue_id_collected_at", "collection")
