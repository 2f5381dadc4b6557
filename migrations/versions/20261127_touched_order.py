"""The id of a note of what was touched is never given again, on SQLite too.

Revision ID: touched_order
Revises: kept_answers
"""

import sqlalchemy as sa
from alembic import op

revision = "touched_order"
down_revision = "kept_answers"
branch_labels = None
depends_on = None


def _make_again(*, autoincrement: bool) -> None:
    """Make the table again on SQLite, with one note for every table in place of the notes there were."""
    if op.get_bind().dialect.name != "sqlite":
        return
    op.drop_table("touched")
    op.create_table(
        "touched",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=True),
        sa.Column("venue_id", sa.Uuid(), nullable=True),
        sa.ForeignKeyConstraint(["pool_table_id"], ["pool_table.id"], name=op.f("fk_touched_pool_table_id_pool_table")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_touched_venue_id_venue")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_touched")),
        sqlite_autoincrement=autoincrement,
    )
    op.create_index(op.f("ix_touched_pool_table_id"), "touched", ["pool_table_id"])
    op.create_index(op.f("ix_touched_venue_id"), "touched", ["venue_id"])
    op.execute("INSERT INTO touched (pool_table_id, venue_id) VALUES (NULL, NULL)")


def upgrade() -> None:
    _make_again(autoincrement=True)


def downgrade() -> None:
    _make_again(autoincrement=False)
