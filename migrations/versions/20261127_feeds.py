"""Feeds: the last change of each collection, job, keying and piece of work, in order.

What is there begins the feeds: collections, jobs and keyings in the order of their recording, work by its date.

Revision ID: feeds
Revises: sheet_links
"""

import sqlalchemy as sa
from alembic import op

revision = "feeds"
down_revision = "sheet_links"
branch_labels = None
depends_on = None

_FEEDS = {
    "collections": ("collection", "sequence", "received_at"),
    "jobs": ("job", "arrival", "received_at"),
    "keyings": ("keying", "sequence", "recorded_at"),
    "work": ("work", "assessed_at, id", "assessed_at"),
}
"""Each with its table, the order of it, and when a row was recorded."""


def upgrade() -> None:
    op.create_table(
        "last_change",
        sa.Column("feed", sa.String(), nullable=False),
        sa.Column("subject_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("feed", "subject_id", name=op.f("pk_last_change")),
    )
    op.create_index("ix_last_change_number", "last_change", ["feed", "number"], unique=True)
    for feed, (table, order, at) in _FEEDS.items():
        op.execute(
            "INSERT INTO last_change (feed, subject_id, number, changed_at) "
            f"SELECT '{feed}', id, row_number() OVER (ORDER BY {order}), {at} FROM {table}"
        )
        op.execute(f"INSERT INTO counter (name, last) SELECT 'feed:{feed}', count(*) FROM {table} HAVING count(*) > 0")


def downgrade() -> None:
    op.drop_table("last_change")
    op.execute("DELETE FROM counter WHERE name LIKE 'feed:%'")
