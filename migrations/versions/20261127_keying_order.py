"""Keyings have their order of recording: a sender makes a keying's id, so the id does not tell it.

Those that are there keep the order of their ids, which the service made.

Revision ID: keying_order
Revises: reader
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import unguarded

revision = "keying_order"
down_revision = "reader"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # In place: a table that is copied loses the triggers that let nothing in it be changed.
    op.execute("ALTER TABLE keying ADD COLUMN sequence BIGINT NOT NULL DEFAULT 0")
    connection = op.get_bind()
    with unguarded("keying"):
        keying = sa.table("keying", sa.column("id", sa.Uuid()), sa.column("sequence"))
        ids = sorted(id_ for (id_,) in connection.execute(sa.select(keying.c.id)))
        for sequence, id_ in enumerate(ids, start=1):
            connection.execute(keying.update().where(keying.c.id == id_).values(sequence=sequence))
        if ids:
            op.execute(f"INSERT INTO counter (name, last) VALUES ('keyings', {len(ids)})")
    op.create_index(op.f("ix_keying_sequence"), "keying", ["sequence"], unique=True)


def downgrade() -> None:
    op.drop_index(op.f("ix_keying_sequence"), "keying")
    op.execute("ALTER TABLE keying DROP COLUMN sequence")
    op.execute("DELETE FROM counter WHERE name = 'keyings'")
