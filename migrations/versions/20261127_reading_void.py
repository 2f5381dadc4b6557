"""Readings: a note that one does not count is a void, and those that may be judged are valid.

Revision ID: reading_void
Revises: imports
"""

from alembic import op
from baizebook.migrations.guards import make_append_only_on_sqlite, on_sqlite

revision = "reading_void"
down_revision = "imports"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute("ALTER TABLE reading RENAME COLUMN sound TO valid")
    _rename("reading_strike", "reading_void")


def downgrade() -> None:
    _rename("reading_void", "reading_strike")
    op.execute("ALTER TABLE reading RENAME COLUMN valid TO sound")


def _rename(old: str, new: str) -> None:
    """Rename the table in place, with its guards and constraints."""
    if on_sqlite():
        for name in ("no_update", "no_delete", "is_new"):
            op.execute(f"DROP TRIGGER {old}_{name}")
    op.execute(f"ALTER TABLE {old} RENAME TO {new}")
    if on_sqlite():
        make_append_only_on_sqlite(new, same="reading_id = NEW.reading_id")
        return
    op.execute(f"ALTER TRIGGER {old}_no_change ON {new} RENAME TO {new}_no_change")
    for name in ("pk_{}", "fk_{}_reading_id_reading"):
        op.execute(f"ALTER TABLE {new} RENAME CONSTRAINT {name.format(old)} TO {name.format(new)}")
