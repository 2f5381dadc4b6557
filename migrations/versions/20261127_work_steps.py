"""Work that is given to a person or put off: where it has got to, and each step, append-only.

Revision ID: work_steps
Revises: keying_order
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import make_append_only

revision = "work_steps"
down_revision = "keying_order"
branch_labels = None
depends_on = None

_COLUMNS = ("deferred_reason", "deferred_until_at", "deferred_until_on", "person")


def upgrade() -> None:
    op.add_column("work", sa.Column("person", sa.String(), nullable=True))
    op.add_column("work", sa.Column("deferred_until_on", sa.Date(), nullable=True))
    op.add_column("work", sa.Column("deferred_until_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("work", sa.Column("deferred_reason", sa.String(), nullable=False, server_default=""))
    op.create_index(op.f("ix_work_person"), "work", ["person"])
    op.create_table(
        "work_step",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("work_id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("line", sa.String(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=True),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.CheckConstraint("(step = 'assigned') = (person IS NOT NULL)", name=op.f("ck_work_step_person")),
        sa.CheckConstraint("(step = 'deferred') = (until_on IS NOT NULL)", name=op.f("ck_work_step_until_on")),
        sa.CheckConstraint("(step = 'deferred') = (reason <> '')", name=op.f("ck_work_step_reason")),
        sa.ForeignKeyConstraint(
            ["pool_table_id"], ["pool_table.id"], name=op.f("fk_work_step_pool_table_id_pool_table")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work_step")),
    )
    op.create_index(op.f("ix_work_step_pool_table_id"), "work_step", ["pool_table_id"])
    op.create_index(op.f("ix_work_step_work_id"), "work_step", ["work_id"])
    make_append_only("work_step", same="id = NEW.id", function="work_append_only")


def downgrade() -> None:
    op.drop_table("work_step")
    op.drop_index(op.f("ix_work_person"), "work")
    for column in _COLUMNS:
        op.execute(f"ALTER TABLE work DROP COLUMN {column}")
