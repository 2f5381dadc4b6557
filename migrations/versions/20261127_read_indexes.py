"""Indexes for what pages and sweeps ask of tables that grow: places stated again, versions, work of a kind, bags banked.

Revision ID: read_indexes
Revises: earned_at_venues
"""

from alembic import op
from sqlalchemy import text

revision = "read_indexes"
down_revision = "earned_at_venues"
branch_labels = None
depends_on = None

_PARTIAL = (
    ("ix_stay_void_placed_at", "stay", ["pool_table_id"], "void_placed_at IS NOT NULL"),
    ("ix_reading_controller_version", "reading", ["pool_table_id", "taken_at"], "controller_version IS NOT NULL"),
    ("ix_ledger_entry_bags", "ledger_entry", ["number"], "bags IS NOT NULL"),
)


def upgrade() -> None:
    for name, table, columns, where in _PARTIAL:
        op.create_index(name, table, columns, sqlite_where=text(where), postgresql_where=text(where))
    op.create_index("ix_work_kind", "work", ["kind", "lead_days", "due_at", "id"])


def downgrade() -> None:
    op.drop_index("ix_work_kind", "work")
    for name, table, _, _ in reversed(_PARTIAL):
        op.drop_index(name, table)
