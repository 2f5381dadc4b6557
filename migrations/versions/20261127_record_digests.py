"""The digests of agreements, closed jobs, retirements and reversals: append-only.

Revision ID: record_digests
Revises: years_at_a_venue
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import make_append_only

revision = "record_digests"
down_revision = "years_at_a_venue"
branch_labels = None
depends_on = None

_KINDS = "kind IN ('agreement', 'job_done', 'retirement', 'reversal')"


def upgrade() -> None:
    op.create_table(
        "record_digest",
        sa.Column("number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("subject_id", sa.Uuid(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.CheckConstraint("number >= 1", name=op.f("ck_record_digest_number")),
        sa.CheckConstraint(_KINDS, name=op.f("ck_record_digest_kind")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_record_digest")),
        sa.UniqueConstraint("kind", "subject_id", name=op.f("uq_record_digest_kind_subject_id")),
    )
    same = "number = NEW.number OR kind = NEW.kind AND subject_id = NEW.subject_id"
    make_append_only("record_digest", same=same, function="cash_append_only")


def downgrade() -> None:
    op.drop_table("record_digest")
