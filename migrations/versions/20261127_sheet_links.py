"""Sheet links: addresses that a sheet opens without a header; only the hash of their secret is kept.

Revision ID: sheet_links
Revises: work_steps
"""

import sqlalchemy as sa
from alembic import op

revision = "sheet_links"
down_revision = "work_steps"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "sheet_link",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("reports", sa.JSON(), nullable=False),
        sa.Column("secret_hash", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sheet_link")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_sheet_link_secret_hash")),
    )
    op.create_table(
        "sheet_link_venue",
        sa.Column("sheet_link_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["sheet_link_id"], ["sheet_link.id"], name=op.f("fk_sheet_link_venue_sheet_link_id_sheet_link")
        ),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_sheet_link_venue_venue_id_venue")),
        sa.PrimaryKeyConstraint("sheet_link_id", "venue_id", name=op.f("pk_sheet_link_venue")),
    )


def downgrade() -> None:
    op.drop_table("sheet_link_venue")
    op.drop_table("sheet_link")
