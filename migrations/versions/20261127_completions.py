"""Completions: what somebody said of work that only a person can close. Append-only.

Revision ID: completions
Revises: lifecycle
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import drop_function, make_append_only, make_refusal

revision = "completions"
down_revision = "lifecycle"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "work_completion",
        sa.Column("work_id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("refers_to", sa.Uuid(), nullable=True),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("completed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("completed_by", sa.String(), nullable=False),
        sa.CheckConstraint("outcome IN ('found', 'miscounted', 'accepted')", name=op.f("ck_work_completion_outcome")),
        sa.CheckConstraint("words <> ''", name=op.f("ck_work_completion_words")),
        sa.ForeignKeyConstraint(
            ["pool_table_id"], ["pool_table.id"], name=op.f("fk_work_completion_pool_table_id_pool_table")
        ),
        sa.PrimaryKeyConstraint("work_id", name=op.f("pk_work_completion")),
    )
    op.create_index(op.f("ix_work_completion_pool_table_id"), "work_completion", ["pool_table_id"])
    make_refusal("work_append_only")
    make_append_only("work_completion", same="work_id = NEW.work_id", function="work_append_only")


def downgrade() -> None:
    op.drop_table("work_completion")
    drop_function("work_append_only")
