"""cash"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import drop_function, make_append_only, make_refusal

revision = "cash"
down_revision = "ledger"
branch_labels = None
depends_on = None

_TABLES = (
    ("agreement", "id = NEW.id"),
    ("collection", "id = NEW.id"),
    ("collected_table", "collection_id = NEW.collection_id AND pool_table_id = NEW.pool_table_id"),
    ("settlement", "id = NEW.id OR collection_id = NEW.collection_id"),
    ("reversal", "id = NEW.id OR collection_id = NEW.collection_id"),
    ("dispute", "id = NEW.id"),
    ("dispute_answer", "dispute_id = NEW.dispute_id"),
)
"""All are append-only; each with what tells that a row is already there."""


def upgrade() -> None:
    op.create_table(
        "agreement",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("effective_on", sa.Date(), nullable=False),
        sa.Column("published_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("terms", sa.JSON(), nullable=False),
        sa.CheckConstraint("version >= 1", name=op.f("ck_agreement_version")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_agreement_venue_id_venue")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_agreement")),
        sa.UniqueConstraint("venue_id", "version", name=op.f("uq_agreement_venue_id_version")),
    )
    op.create_table(
        "collection",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("record_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("collected_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("trading_on", sa.Date(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(), nullable=False),
        sa.Column("collector", sa.String(), nullable=False),
        sa.Column("corrects_id", sa.Uuid(), nullable=True),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.Column("counted_minor", sa.BigInteger(), nullable=False),
        sa.Column("expected_least_minor", sa.BigInteger(), nullable=True),
        sa.Column("expected_most_minor", sa.BigInteger(), nullable=True),
        sa.Column("difference_minor", sa.BigInteger(), nullable=True),
        sa.Column("settling_least_minor", sa.BigInteger(), nullable=True),
        sa.Column("settling_most_minor", sa.BigInteger(), nullable=True),
        sa.Column("refunds_by_venue_minor", sa.BigInteger(), nullable=False),
        sa.Column("house_money_minor", sa.BigInteger(), nullable=False),
        sa.Column("test_money_minor", sa.BigInteger(), nullable=False),
        sa.Column("cautions", sa.JSON(), nullable=False),
        sa.Column("advice", sa.JSON(), nullable=False),
        sa.CheckConstraint(
            "(expected_least_minor IS NULL) = (difference_minor IS NULL)", name=op.f("ck_collection_difference")
        ),
        sa.CheckConstraint("counted_minor >= 0", name=op.f("ck_collection_counted")),
        sa.CheckConstraint(
            "expected_least_minor BETWEEN 0 AND expected_most_minor", name=op.f("ck_collection_expected")
        ),
        sa.CheckConstraint("length(currency) = 3", name=op.f("ck_collection_currency")),
        sa.CheckConstraint(
            "refunds_by_venue_minor >= 0 AND house_money_minor >= 0 AND test_money_minor >= 0",
            name=op.f("ck_collection_returns"),
        ),
        sa.ForeignKeyConstraint(["corrects_id"], ["collection.id"], name=op.f("fk_collection_corrects_id_collection")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_collection_venue_id_venue")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_collection")),
        sa.UniqueConstraint("corrects_id", name=op.f("uq_collection_corrects_id")),
        sa.UniqueConstraint("record_id", name=op.f("uq_collection_record_id")),
    )
    op.create_index(op.f("ix_collection_collected_at"), "collection", ["collected_at"])
    op.create_index(op.f("ix_collection_collector"), "collection", ["collector"])
    op.create_index(op.f("ix_collection_venue_id"), "collection", ["venue_id"])
    op.create_table(
        "collected_table",
        sa.Column("collection_id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("meters", sa.JSON(), nullable=False),
        sa.Column("counted_minor", sa.BigInteger(), nullable=False),
        sa.Column("expected_least_minor", sa.BigInteger(), nullable=True),
        sa.Column("expected_most_minor", sa.BigInteger(), nullable=True),
        sa.Column("is_figure", sa.Boolean(), nullable=False),
        sa.Column("told", sa.JSON(), nullable=False),
        sa.CheckConstraint("counted_minor >= 0", name=op.f("ck_collected_table_counted")),
        sa.CheckConstraint(
            "expected_least_minor BETWEEN 0 AND expected_most_minor", name=op.f("ck_collected_table_expected")
        ),
        sa.CheckConstraint("place >= 0", name=op.f("ck_collected_table_place")),
        sa.ForeignKeyConstraint(
            ["collection_id"], ["collection.id"], name=op.f("fk_collected_table_collection_id_collection")
        ),
        sa.ForeignKeyConstraint(
            ["pool_table_id"], ["pool_table.id"], name=op.f("fk_collected_table_pool_table_id_pool_table")
        ),
        sa.PrimaryKeyConstraint("collection_id", "pool_table_id", name=op.f("pk_collected_table")),
    )
    op.create_index(op.f("ix_collected_table_pool_table_id"), "collected_table", ["pool_table_id"])
    op.create_table(
        "dispute",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("collection_id", sa.Uuid(), nullable=False),
        sa.Column("raised_by", sa.String(), nullable=False),
        sa.Column("claims", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("raised_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("claims <> '' AND reason <> ''", name=op.f("ck_dispute_said")),
        sa.ForeignKeyConstraint(["collection_id"], ["collection.id"], name=op.f("fk_dispute_collection_id_collection")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dispute")),
    )
    op.create_index(op.f("ix_dispute_collection_id"), "dispute", ["collection_id"])
    op.create_table(
        "reversal",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("collection_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("reversed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reversed_by", sa.String(), nullable=False),
        sa.Column("entry_id", sa.Uuid(), nullable=True),
        sa.CheckConstraint("reason <> ''", name=op.f("ck_reversal_reason")),
        sa.ForeignKeyConstraint(
            ["collection_id"], ["collection.id"], name=op.f("fk_reversal_collection_id_collection")
        ),
        sa.ForeignKeyConstraint(["entry_id"], ["ledger_entry.id"], name=op.f("fk_reversal_entry_id_ledger_entry")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_reversal_venue_id_venue")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reversal")),
        sa.UniqueConstraint("collection_id", name=op.f("uq_reversal_collection_id")),
    )
    op.create_index(op.f("ix_reversal_venue_id"), "reversal", ["venue_id"])
    op.create_table(
        "settlement",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("collection_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.Column("trading_on", sa.Date(), nullable=False),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("agreement_id", sa.Uuid(), nullable=False),
        sa.Column("agreement_version", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Uuid(), nullable=True),
        sa.Column("gross_minor", sa.BigInteger(), nullable=False),
        sa.Column("tax_area", sa.String(), nullable=True),
        sa.Column("tax_rate", sa.String(), nullable=True),
        sa.Column("taxed_minor", sa.BigInteger(), nullable=False),
        sa.Column("tax_minor", sa.BigInteger(), nullable=False),
        sa.Column("venue_share_minor", sa.BigInteger(), nullable=False),
        sa.Column("operator_share_minor", sa.BigInteger(), nullable=False),
        sa.Column("loan_before_minor", sa.BigInteger(), nullable=False),
        sa.Column("loan_repaid_minor", sa.BigInteger(), nullable=False),
        sa.Column("to_venue_now_minor", sa.BigInteger(), nullable=False),
        sa.Column("to_venue_balance_minor", sa.BigInteger(), nullable=False),
        sa.Column("to_bag_minor", sa.BigInteger(), nullable=False),
        sa.Column("lines", sa.JSON(), nullable=False),
        sa.Column("carried_in", sa.JSON(), nullable=False),
        sa.Column("carried_forward", sa.JSON(), nullable=False),
        sa.Column("reckoned", sa.JSON(), nullable=False),
        sa.Column("advice", sa.JSON(), nullable=False),
        sa.CheckConstraint(
            "gross_minor >= 0 AND taxed_minor >= 0 AND tax_minor >= 0", name=op.f("ck_settlement_amounts")
        ),
        sa.CheckConstraint(
            "venue_share_minor = loan_repaid_minor + to_venue_now_minor + to_venue_balance_minor",
            name=op.f("ck_settlement_venue_share"),
        ),
        sa.ForeignKeyConstraint(["agreement_id"], ["agreement.id"], name=op.f("fk_settlement_agreement_id_agreement")),
        sa.ForeignKeyConstraint(
            ["collection_id"], ["collection.id"], name=op.f("fk_settlement_collection_id_collection")
        ),
        sa.ForeignKeyConstraint(["entry_id"], ["ledger_entry.id"], name=op.f("fk_settlement_entry_id_ledger_entry")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_settlement_venue_id_venue")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_settlement")),
        sa.UniqueConstraint("collection_id", name=op.f("uq_settlement_collection_id")),
    )
    op.create_index(op.f("ix_settlement_trading_on"), "settlement", ["trading_on"])
    op.create_index(op.f("ix_settlement_venue_id"), "settlement", ["venue_id"])
    op.create_table(
        "dispute_answer",
        sa.Column("dispute_id", sa.Uuid(), nullable=False),
        sa.Column("answered_by", sa.String(), nullable=False),
        sa.Column("answer", sa.String(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("answer <> ''", name=op.f("ck_dispute_answer_said")),
        sa.ForeignKeyConstraint(["dispute_id"], ["dispute.id"], name=op.f("fk_dispute_answer_dispute_id_dispute")),
        sa.PrimaryKeyConstraint("dispute_id", name=op.f("pk_dispute_answer")),
    )
    make_refusal("cash_append_only")
    for table, same in _TABLES:
        make_append_only(table, same=same, function="cash_append_only", by_row=True)


def downgrade() -> None:
    for table, _ in reversed(_TABLES):
        op.drop_table(table)
    drop_function("cash_append_only")
