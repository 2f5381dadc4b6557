"""A stay says in what kind of place a table was: a venue, the workshop, storage, or gone from the route.

Revision ID: stay_place
Revises: entry_table
"""

from alembic import op

revision = "stay_place"
down_revision = "entry_table"
branch_labels = None
depends_on = None

_PLACES = "'venue', 'workshop', 'storage', 'retired', 'sold', 'lost'"


def upgrade() -> None:
    op.execute(
        "ALTER TABLE stay ADD COLUMN place VARCHAR DEFAULT 'workshop' NOT NULL "
        f"CONSTRAINT ck_stay_place CHECK (place IN ({_PLACES}))"
    )
    op.execute("UPDATE stay SET place = 'venue' WHERE venue_id IS NOT NULL")


def downgrade() -> None:
    op.execute("ALTER TABLE stay DROP COLUMN place")
