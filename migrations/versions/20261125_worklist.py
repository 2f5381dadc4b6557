"""worklist"""

import sqlalchemy as sa
from alembic import op

revision = "worklist"
down_revision = "readings"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "work",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("lead_days", sa.Integer(), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("bring", sa.JSON(), nullable=False),
        sa.Column("needs_key", sa.Boolean(), nullable=False),
        sa.Column("dangers", sa.JSON(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("refers_to", sa.Uuid(), nullable=True),
        sa.Column("assessed_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("lead_days IN (0, 7, 14, 60, 36500)", name=op.f("ck_work_lead")),
        sa.CheckConstraint(
            "kind IN ('charge_battery', 'set_clock', 'key_settings', 'ask_venue', 'collect', 'visit', 'review', "
            "'licence')",
            name=op.f("ck_work_kind"),
        ),
        sa.ForeignKeyConstraint(["pool_table_id"], ["pool_table.id"], name=op.f("fk_work_pool_table_id_pool_table")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_work_venue_id_venue")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work")),
    )
    op.create_index(op.f("ix_work_pool_table_id"), "work", ["pool_table_id"])
    op.create_index("ix_work_due", "work", ["lead_days", "due_at", "id"])
    op.create_index("ix_work_due_at_venue", "work", ["venue_id", "lead_days", "due_at", "id"])
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


def downgrade() -> None:
    op.drop_table("work_to_assess")
    op.drop_table("work")
