"""Collections, settlements and reversals have their order of recording, one for all three.

So far it rested on the time inside their ids; those that are there keep that order.

Revision ID: cash_order
Revises: cash_facts
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import unguarded

revision = "cash_order"
down_revision = "cash_facts"
branch_labels = None
depends_on = None

_ORDER = {"collection": "record_id", "settlement": "id", "reversal": "id"}


def upgrade() -> None:
    # In place: a table that is copied loses the triggers that let nothing in it be changed.
    for table in _ORDER:
        op.execute(f"ALTER TABLE {table} ADD COLUMN sequence BIGINT NOT NULL DEFAULT 0")
    connection = op.get_bind()
    with unguarded(*_ORDER):
        rows = [
            (made, table)
            for table, made_by in _ORDER.items()
            for (made,) in connection.execute(sa.select(sa.column(made_by, sa.Uuid())).select_from(sa.table(table)))
        ]
        for sequence, (made, table) in enumerate(sorted(rows), start=1):
            stored = sa.table(table, sa.column(_ORDER[table], sa.Uuid()), sa.column("sequence"))
            changed = stored.update().where(stored.c[_ORDER[table]] == made).values(sequence=sequence)
            connection.execute(changed)
        if rows:
            op.execute(f"INSERT INTO counter (name, last) VALUES ('cash', {len(rows)})")
    for table in _ORDER:
        op.create_index(op.f(f"ix_{table}_sequence"), table, ["sequence"], unique=True)


def downgrade() -> None:
    for table in _ORDER:
        op.drop_index(op.f(f"ix_{table}_sequence"), table)
        op.execute(f"ALTER TABLE {table} DROP COLUMN sequence")
    op.execute("DELETE FROM counter WHERE name = 'cash'")
