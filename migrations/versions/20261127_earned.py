"""What boxes earned is kept, and notes say which tables are to be worked out again: at first all of them.

Revision ID: earned
Revises: trips
"""

import sqlalchemy as sa
from alembic import op

revision = "earned"
down_revision = "trips"
branch_labels = None
depends_on = None

_AMOUNTS = ("gross", "refunds", "tax", "venue_share", "unsettled", "games", "minutes")


def upgrade() -> None:
    op.create_table(
        "to_reckon",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=True),
        sa.Column("venue_id", sa.Uuid(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_to_reckon")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_to_reckon_pool_table_id"), "to_reckon", ["pool_table_id"])
    op.execute("INSERT INTO to_reckon (pool_table_id, venue_id) VALUES (NULL, NULL)")
    op.create_table(
        "earned_box",
        sa.Column("collection_id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("collected_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("emptied_before_on", sa.Date(), nullable=True),
        sa.Column("first_on", sa.Date(), nullable=False),
        sa.Column("last_on", sa.Date(), nullable=False),
        *(sa.Column(name, sa.BigInteger(), nullable=False) for name in _AMOUNTS),
        sa.Column("agreement_id", sa.Uuid(), nullable=True),
        sa.Column("entry_id", sa.Uuid(), nullable=True),
        sa.Column("denominations", sa.JSON(), nullable=False),
        sa.Column("points", sa.JSON(), nullable=False),
        sa.Column("out_of_order", sa.JSON(), nullable=False),
        sa.Column("is_spread", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("collection_id", "pool_table_id", name=op.f("pk_earned_box")),
    )
    for name in ("pool_table_id", "first_on", "last_on"):
        op.create_index(op.f(f"ix_earned_box_{name}"), "earned_box", [name])
    op.create_table(
        "earned_part",
        sa.Column("collection_id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("first_on", sa.Date(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("week_on", sa.Date(), nullable=False),
        sa.Column("month", sa.String(), nullable=False),
        sa.Column("box_first_on", sa.Date(), nullable=False),
        sa.Column("box_last_on", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.BigInteger(), nullable=False) for name in _AMOUNTS),
        sa.Column("agreement_id", sa.Uuid(), nullable=True),
        sa.Column("entry_id", sa.Uuid(), nullable=True),
        sa.PrimaryKeyConstraint("collection_id", "pool_table_id", "first_on", name=op.f("pk_earned_part")),
    )
    for name in ("pool_table_id", "box_first_on"):
        op.create_index(op.f(f"ix_earned_part_{name}"), "earned_part", [name])


def downgrade() -> None:
    op.drop_table("earned_part")
    op.drop_table("earned_box")
    op.drop_table("to_reckon")
