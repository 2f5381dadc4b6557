"""Notes of what was touched name tables, venues, or everything; a venue keeps which of its terms are fixed.

Revision ID: touched
Revises: published
"""

import sqlalchemy as sa
from alembic import op

revision = "touched"
down_revision = "published"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "touched",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=True),
        sa.Column("venue_id", sa.Uuid(), nullable=True),
        sa.ForeignKeyConstraint(["pool_table_id"], ["pool_table.id"], name=op.f("fk_touched_pool_table_id_pool_table")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_touched_venue_id_venue")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_touched")),
    )
    op.create_index(op.f("ix_touched_pool_table_id"), "touched", ["pool_table_id"])
    op.create_index(op.f("ix_touched_venue_id"), "touched", ["venue_id"])
    op.execute("INSERT INTO touched (pool_table_id) SELECT DISTINCT pool_table_id FROM work_to_assess")
    op.drop_table("work_to_assess")
    with op.batch_alter_table("venue") as venue:
        venue.add_column(sa.Column("has_tables", sa.Boolean(), nullable=False, server_default=sa.false()))
        venue.add_column(sa.Column("has_schedule", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.execute("UPDATE venue SET has_tables = true WHERE id IN (SELECT venue_id FROM stay)")
    op.execute("UPDATE venue SET has_schedule = true WHERE id IN (SELECT venue_id FROM schedule)")
    with op.batch_alter_table("venue") as venue:
        venue.alter_column("has_tables", server_default=None)
        venue.alter_column("has_schedule", server_default=None)


def downgrade() -> None:
    with op.batch_alter_table("venue") as venue:
        venue.drop_column("has_schedule")
        venue.drop_column("has_tables")
    op.create_table(
        "work_to_assess",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["pool_table_id"], ["pool_table.id"], name=op.f("fk_work_to_assess_pool_table_id_pool_table")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work_to_assess")),
    )
    op.create_index(op.f("ix_work_to_assess_pool_table_id"), "work_to_assess", ["pool_table_id"])
    op.execute("INSERT INTO work_to_assess (pool_table_id) SELECT id FROM pool_table")
    op.drop_table("touched")
