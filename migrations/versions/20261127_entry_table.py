"""An entry of the journal may name the table that it is of.

Revision ID: entry_table
Revises: touched_order
"""

import sqlalchemy as sa
from alembic import op

revision = "entry_table"
down_revision = "touched_order"
branch_labels = None
depends_on = None

_KEY = "fk_ledger_entry_pool_table_id_pool_table"


def upgrade() -> None:
    kind = "CHAR(32)" if op.get_bind().dialect.name == "sqlite" else "UUID"
    # In place: a table that is copied loses the triggers that let nothing in it be changed.
    op.execute(f"ALTER TABLE ledger_entry ADD COLUMN pool_table_id {kind} CONSTRAINT {_KEY} REFERENCES pool_table (id)")
    op.create_index(op.f("ix_ledger_entry_pool_table_id"), "ledger_entry", ["pool_table_id"])


def downgrade() -> None:
    of_tables = sa.text("SELECT count(*) FROM ledger_entry WHERE pool_table_id IS NOT NULL OR kind = 'expense'")
    if op.get_bind().execute(of_tables).scalar_one():
        raise RuntimeError("expected a journal without expenses and tables: the version before cannot read them")
    op.drop_index(op.f("ix_ledger_entry_pool_table_id"), "ledger_entry")
    op.execute("ALTER TABLE ledger_entry DROP COLUMN pool_table_id")
