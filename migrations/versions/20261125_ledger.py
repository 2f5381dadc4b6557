"""ledger"""

import sqlalchemy as sa
from alembic import op

revision = "ledger"
down_revision = "worklist"
branch_labels = None
depends_on = None

_SQLITE_TRIGGERS = (
    *(
        f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        for table in ("ledger_entry", "ledger_posting")
        for verb in ("update", "delete")
    ),
    """
    CREATE TRIGGER ledger_entry_closes BEFORE INSERT ON ledger_entry
    WHEN EXISTS (SELECT 1 FROM ledger_entry WHERE number = NEW.number OR id = NEW.id)
      OR (SELECT count(*) < 2 OR sum(amount_minor) <> 0 FROM ledger_posting WHERE entry_number = NEW.number)
    BEGIN SELECT RAISE(ABORT, 'an entry is new and closes two or more postings that sum to zero'); END
    """,
    """
    CREATE TRIGGER ledger_posting_opens BEFORE INSERT ON ledger_posting
    WHEN EXISTS (SELECT 1 FROM ledger_entry WHERE number = NEW.entry_number)
      OR EXISTS (SELECT 1 FROM ledger_posting WHERE entry_number = NEW.entry_number AND place = NEW.place)
    BEGIN SELECT RAISE(ABORT, 'nothing is added to an entry that stands'); END
    """,
)
_POSTGRES_FUNCTIONS = (
    """
    CREATE FUNCTION ledger_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$
    """,
    """
    CREATE FUNCTION ledger_entry_closes() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
      IF (SELECT count(*) < 2 OR sum(amount_minor) <> 0 FROM ledger_posting WHERE entry_number = NEW.number) THEN
        RAISE EXCEPTION 'an entry closes two or more postings that sum to zero'
          USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      RETURN NEW;
    END $$
    """,
    """
    CREATE FUNCTION ledger_posting_opens() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
      IF EXISTS (SELECT 1 FROM ledger_entry WHERE number = NEW.entry_number) THEN
        RAISE EXCEPTION 'nothing is added to an entry that stands' USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      RETURN NEW;
    END $$
    """,
)
_POSTGRES_TRIGGERS = (
    ("ledger_entry", "ledger_entry_no_change", "BEFORE UPDATE OR DELETE", "ROW", "ledger_append_only"),
    ("ledger_entry", "ledger_entry_no_truncate", "BEFORE TRUNCATE", "STATEMENT", "ledger_append_only"),
    ("ledger_entry", "ledger_entry_closes", "BEFORE INSERT", "ROW", "ledger_entry_closes"),
    ("ledger_posting", "ledger_posting_no_change", "BEFORE UPDATE OR DELETE", "ROW", "ledger_append_only"),
    ("ledger_posting", "ledger_posting_no_truncate", "BEFORE TRUNCATE", "STATEMENT", "ledger_append_only"),
    ("ledger_posting", "ledger_posting_opens", "BEFORE INSERT", "ROW", "ledger_posting_opens"),
)


def upgrade() -> None:
    op.create_table(
        "ledger_entry",
        sa.Column("number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("booked_on", sa.Date(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("reference", sa.String(), nullable=False),
        sa.Column("source_id", sa.Uuid(), nullable=True),
        sa.Column("previous_hash", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.CheckConstraint("number >= 1", name=op.f("ck_ledger_entry_number")),
        sa.CheckConstraint("length(currency) = 3", name=op.f("ck_ledger_entry_currency")),
        sa.CheckConstraint("length(hash) = 64 AND length(previous_hash) = 64", name=op.f("ck_ledger_entry_hashes")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_ledger_entry")),
        sa.UniqueConstraint("id", name=op.f("uq_ledger_entry_id")),
        sa.UniqueConstraint("kind", "source_id", name=op.f("uq_ledger_entry_kind_source_id")),
    )
    op.create_index(op.f("ix_ledger_entry_booked_on"), "ledger_entry", ["booked_on"])
    op.create_index(op.f("ix_ledger_entry_source_id"), "ledger_entry", ["source_id"])
    op.create_table(
        "ledger_posting",
        sa.Column("entry_number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("place", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account", sa.String(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=True),
        sa.Column("amount_minor", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("place >= 0", name=op.f("ck_ledger_posting_place")),
        sa.CheckConstraint("amount_minor <> 0", name=op.f("ck_ledger_posting_amount")),
        sa.ForeignKeyConstraint(
            ["entry_number"],
            ["ledger_entry.number"],
            name=op.f("fk_ledger_posting_entry_number_ledger_entry"),
            deferrable=True,
            initially="DEFERRED",
        ),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_ledger_posting_venue_id_venue")),
        sa.PrimaryKeyConstraint("entry_number", "place", name=op.f("pk_ledger_posting")),
    )
    op.create_index(op.f("ix_ledger_posting_venue_id_account"), "ledger_posting", ["venue_id", "account"])
    op.create_table(
        "ledger_account_name",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_ledger_account_name")),
    )
    if op.get_bind().dialect.name == "sqlite":
        for statement in _SQLITE_TRIGGERS:
            op.execute(statement)
        return
    for statement in _POSTGRES_FUNCTIONS:
        op.execute(statement)
    for table, name, event, each, function in _POSTGRES_TRIGGERS:
        op.execute(f"CREATE TRIGGER {name} {event} ON {table} FOR EACH {each} EXECUTE FUNCTION {function}()")
        op.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}")


def downgrade() -> None:
    op.drop_table("ledger_account_name")
    op.drop_table("ledger_posting")
    op.drop_table("ledger_entry")
    if op.get_bind().dialect.name == "postgresql":
        for name in ("ledger_append_only", "ledger_entry_closes", "ledger_posting_opens"):
            op.execute(f"DROP FUNCTION {name}()")
