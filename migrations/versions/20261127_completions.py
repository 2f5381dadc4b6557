"""Completions: what somebody said of work that only a person can close. Append-only.

Revision ID: completions
Revises: lifecycle
"""

import sqlalchemy as sa
from alembic import op

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
    refusal = "BEGIN SELECT RAISE(ABORT, 'work_completion is append-only'); END"
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("update", "delete"):
            op.execute(f"CREATE TRIGGER work_completion_no_{verb} BEFORE {verb.upper()} ON work_completion {refusal}")
        op.execute(
            "CREATE TRIGGER work_completion_is_new BEFORE INSERT ON work_completion "
            f"WHEN EXISTS (SELECT 1 FROM work_completion WHERE work_id = NEW.work_id) {refusal}"
        )
        return
    op.execute(
        "CREATE FUNCTION work_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$"
    )
    op.execute(
        "CREATE TRIGGER work_completion_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON work_completion "
        "FOR EACH STATEMENT EXECUTE FUNCTION work_append_only()"
    )
    op.execute("ALTER TABLE work_completion ENABLE ALWAYS TRIGGER work_completion_no_change")


def downgrade() -> None:
    op.drop_table("work_completion")
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP FUNCTION work_append_only()")
