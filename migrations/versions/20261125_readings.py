"""readings"""

import sqlalchemy as sa
from alembic import op

revision = "readings"
down_revision = "foundation"
branch_labels = None
depends_on = None

_SQLITE_TRIGGERS = (
    *(
        f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        for table in ("reading", "reading_strike")
        for verb in ("update", "delete")
    ),
    """
    CREATE TRIGGER reading_is_new BEFORE INSERT ON reading
    WHEN EXISTS (SELECT 1 FROM reading WHERE arrival = NEW.arrival)
      OR EXISTS (SELECT 1 FROM reading WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'reading is append-only'); END
    """,
    """
    CREATE TRIGGER reading_strike_is_new BEFORE INSERT ON reading_strike
    WHEN EXISTS (SELECT 1 FROM reading_strike WHERE reading_id = NEW.reading_id)
    BEGIN SELECT RAISE(ABORT, 'reading_strike is append-only'); END
    """,
)
_POSTGRES_TRIGGERS = (
    """
    CREATE FUNCTION reading_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$
    """,
    *(
        f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION reading_append_only()"
        for table in ("reading", "reading_strike")
    ),
)


def upgrade() -> None:
    op.create_table(
        "reading",
        sa.Column("arrival", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=True),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sender", sa.String(), nullable=False),
        sa.Column("sound", sa.Boolean(), nullable=False),
        sa.Column("flags", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("battery_mv", sa.Integer(), nullable=True),
        sa.Column("temperature_tenths_c", sa.Integer(), nullable=True),
        sa.Column("rested_minutes", sa.Integer(), nullable=True),
        sa.Column("clock_minute", sa.Integer(), nullable=True),
        sa.Column("clock_weekday", sa.Integer(), nullable=True),
        sa.Column("clock_on", sa.Date(), nullable=True),
        sa.Column("clock_display", sa.String(), nullable=True),
        sa.Column("meters", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("settings", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("controller_version", sa.String(), nullable=True),
        sa.Column("done", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.CheckConstraint("battery_mv BETWEEN 1 AND 98999", name=op.f("ck_reading_battery")),
        sa.CheckConstraint("temperature_tenths_c BETWEEN -999 AND 1499", name=op.f("ck_reading_temperature")),
        sa.CheckConstraint("rested_minutes >= 0", name=op.f("ck_reading_rested")),
        sa.CheckConstraint(
            "battery_mv IS NOT NULL OR (temperature_tenths_c IS NULL AND rested_minutes IS NULL)",
            name=op.f("ck_reading_supply"),
        ),
        sa.CheckConstraint("clock_minute BETWEEN 0 AND 1439", name=op.f("ck_reading_clock_minute")),
        sa.CheckConstraint("clock_weekday BETWEEN 0 AND 6", name=op.f("ck_reading_clock_weekday")),
        sa.CheckConstraint("clock_display IN ('24h', '12h')", name=op.f("ck_reading_clock_display")),
        sa.CheckConstraint(
            "clock_minute IS NOT NULL OR (clock_weekday IS NULL AND clock_on IS NULL AND clock_display IS NULL)",
            name=op.f("ck_reading_clock"),
        ),
        sa.ForeignKeyConstraint(["pool_table_id"], ["pool_table.id"], name=op.f("fk_reading_pool_table_id_pool_table")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_reading_venue_id_venue")),
        sa.PrimaryKeyConstraint("arrival", name=op.f("pk_reading")),
        sa.UniqueConstraint("id", name=op.f("uq_reading_id")),
    )
    op.create_index("ix_reading_taken", "reading", ["pool_table_id", "taken_at"])
    op.create_index("ix_reading_arrived", "reading", ["pool_table_id", "arrival"])
    for name in ("done", "settings"):
        op.create_index(
            f"ix_reading_{name}",
            "reading",
            ["pool_table_id", "taken_at"],
            sqlite_where=sa.text(f"{name} IS NOT NULL"),
            postgresql_where=sa.text(f"{name} IS NOT NULL"),
        )
    op.create_table(
        "reading_strike",
        sa.Column("reading_id", sa.Uuid(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("struck_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("struck_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"], name=op.f("fk_reading_strike_reading_id_reading")),
        sa.PrimaryKeyConstraint("reading_id", name=op.f("pk_reading_strike")),
    )
    op.create_table(
        "operator_settings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("terms", sa.JSON(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_operator_settings_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_operator_settings")),
    )
    for statement in _SQLITE_TRIGGERS if op.get_bind().dialect.name == "sqlite" else _POSTGRES_TRIGGERS:
        op.execute(statement)


def downgrade() -> None:
    op.drop_table("operator_settings")
    op.drop_table("reading_strike")
    op.drop_table("reading")
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP FUNCTION reading_append_only()")
