"""Entries may carry the digest of the facts that they book; counters give the order of recording.

Revision ID: source_digest
Revises: stay_place
"""

import sqlalchemy as sa
from alembic import op

revision = "source_digest"
down_revision = "stay_place"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # In place: a table that is copied loses the triggers that let nothing in it be changed.
    op.execute("ALTER TABLE ledger_entry ADD COLUMN source_digest VARCHAR")
    op.create_table(
        "counter",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("last", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_counter")),
    )


def downgrade() -> None:
    with_digest = sa.text("SELECT count(*) FROM ledger_entry WHERE source_digest IS NOT NULL")
    if op.get_bind().execute(with_digest).scalar_one():
        raise RuntimeError("expected a journal without digests of sources: the version before cannot verify them")
    op.drop_table("counter")
    op.execute("ALTER TABLE ledger_entry DROP COLUMN source_digest")
