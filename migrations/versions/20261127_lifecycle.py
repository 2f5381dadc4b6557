"""Tables leave the route, moves can be void, venues depart.

Revision ID: lifecycle
Revises: cash_order
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import drop_function, make_append_only, on_sqlite

revision = "lifecycle"
down_revision = "cash_order"
branch_labels = None
depends_on = None

_USED = " OR ".join(
    f"EXISTS (SELECT 1 FROM {table} WHERE venue_id = OLD.venue_id)"
    for table in ("stay", "schedule", "agreement", "ledger_posting")
)
"""Whether a venue was used: then its facts are kept. Those of a venue made by mistake go with it."""


def upgrade() -> None:
    # In place: tables that others refer to are not copied.
    op.add_column("stay", sa.Column("voided_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("stay", sa.Column("voided_by", sa.String(), nullable=False, server_default=""))
    op.add_column("stay", sa.Column("void_reason", sa.String(), nullable=False, server_default=""))
    op.add_column("venue", sa.Column("departed_on", sa.Date(), nullable=True))
    op.create_table(
        "retirement",
        sa.Column("stay_id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("how", sa.String(), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("buyer", sa.String(), nullable=False),
        sa.Column("price_minor", sa.BigInteger(), nullable=True),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("entry_id", sa.Uuid(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(), nullable=False),
        sa.CheckConstraint("how IN ('retired', 'sold', 'lost')", name=op.f("ck_retirement_how")),
        sa.CheckConstraint("how = 'sold' OR (price_minor IS NULL AND buyer = '')", name=op.f("ck_retirement_sale")),
        sa.CheckConstraint("price_minor >= 0", name=op.f("ck_retirement_price")),
        sa.CheckConstraint("length(currency) = 3", name=op.f("ck_retirement_currency")),
        sa.ForeignKeyConstraint(["stay_id"], ["stay.id"], name=op.f("fk_retirement_stay_id_stay")),
        sa.ForeignKeyConstraint(
            ["pool_table_id"], ["pool_table.id"], name=op.f("fk_retirement_pool_table_id_pool_table")
        ),
        sa.ForeignKeyConstraint(["entry_id"], ["ledger_entry.id"], name=op.f("fk_retirement_entry_id_ledger_entry")),
        sa.PrimaryKeyConstraint("stay_id", name=op.f("pk_retirement")),
    )
    op.create_index(op.f("ix_retirement_pool_table_id"), "retirement", ["pool_table_id"])
    _guard_retirement()
    _keep_facts_of_used_venues()


def _guard_retirement() -> None:
    if not on_sqlite():
        op.execute(
            "CREATE FUNCTION retirement_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            "RAISE EXCEPTION 'retirement is append-only' USING ERRCODE = 'integrity_constraint_violation'; END $$"
        )
    make_append_only("retirement", same="stay_id = NEW.stay_id", function="retirement_append_only")


def _keep_facts_of_used_venues() -> None:
    if on_sqlite():
        op.execute("DROP TRIGGER venue_fact_no_delete")
        op.execute(
            f"CREATE TRIGGER venue_fact_no_delete BEFORE DELETE ON venue_fact WHEN {_USED} "
            "BEGIN SELECT RAISE(ABORT, 'venue_fact is append-only'); END"
        )
        return
    op.execute("DROP TRIGGER venue_fact_no_change ON venue_fact")
    op.execute(
        "CREATE TRIGGER venue_fact_no_change BEFORE UPDATE ON venue_fact "
        "FOR EACH ROW EXECUTE FUNCTION cash_append_only()"
    )
    op.execute(
        f"CREATE FUNCTION venue_fact_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {_USED} THEN "
        "RAISE EXCEPTION 'venue_fact is append-only' USING ERRCODE = 'integrity_constraint_violation'; "
        "END IF; RETURN OLD; END $$"
    )
    op.execute(
        "CREATE TRIGGER venue_fact_no_delete BEFORE DELETE ON venue_fact "
        "FOR EACH ROW EXECUTE FUNCTION venue_fact_kept()"
    )
    for trigger in ("venue_fact_no_change", "venue_fact_no_delete"):
        op.execute(f"ALTER TABLE venue_fact ENABLE ALWAYS TRIGGER {trigger}")


def _keep_all_facts() -> None:
    if on_sqlite():
        op.execute("DROP TRIGGER venue_fact_no_delete")
        op.execute(
            "CREATE TRIGGER venue_fact_no_delete BEFORE DELETE ON venue_fact "
            "BEGIN SELECT RAISE(ABORT, 'venue_fact is append-only'); END"
        )
        return
    for trigger in ("venue_fact_no_change", "venue_fact_no_delete"):
        op.execute(f"DROP TRIGGER {trigger} ON venue_fact")
    op.execute("DROP FUNCTION venue_fact_kept()")
    op.execute(
        "CREATE TRIGGER venue_fact_no_change BEFORE UPDATE OR DELETE ON venue_fact "
        "FOR EACH ROW EXECUTE FUNCTION cash_append_only()"
    )
    op.execute("ALTER TABLE venue_fact ENABLE ALWAYS TRIGGER venue_fact_no_change")


def downgrade() -> None:
    _keep_all_facts()
    op.drop_table("retirement")
    drop_function("retirement_append_only")
    op.execute("ALTER TABLE venue DROP COLUMN departed_on")
    for column in ("void_reason", "voided_by", "voided_at"):
        op.execute(f"ALTER TABLE stay DROP COLUMN {column}")
