"""Kept answers belong to a principal, are not sealed, and expire.

What was kept could be opened with its caller's token only, and is needed for a repetition within two days at most: the
table is made new and empty.

Revision ID: kept_answers
Revises: venue_facts
"""

import sqlalchemy as sa
from alembic import op

revision = "kept_answers"
down_revision = "venue_facts"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _make("principal")
    op.create_index(op.f("ix_kept_answer_kept_at"), "kept_answer", ["kept_at"])


def downgrade() -> None:
    _make("asker")


def _make(owner: str) -> None:
    op.drop_table("kept_answer")
    op.create_table(
        "kept_answer",
        sa.Column(owner, sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("kept_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("headers", sa.String(), nullable=True),
        sa.Column("body", sa.LargeBinary(), nullable=True),
        sa.PrimaryKeyConstraint(owner, "key", name=op.f("pk_kept_answer")),
    )
