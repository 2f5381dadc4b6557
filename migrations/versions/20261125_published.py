"""published: tariffs, schedules and keyings are never changed, by the database's own word"""

from alembic import op

revision = "published"
down_revision = "cash"
branch_labels = None
depends_on = None

_TABLES = ("tariff", "schedule", "keying")


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for table in _TABLES:
            for verb in ("UPDATE", "DELETE"):
                op.execute(
                    f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
                )
            op.execute(
                f"CREATE TRIGGER {table}_is_new BEFORE INSERT ON {table} "
                f"WHEN EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id) "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION published_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$"
    )
    for table in _TABLES:
        op.execute(
            f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION published_append_only()"
        )
        op.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_no_change")


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for table in _TABLES:
            for name in ("no_update", "no_delete", "is_new"):
                op.execute(f"DROP TRIGGER {table}_{name}")
        return
    for table in _TABLES:
        op.execute(f"DROP TRIGGER {table}_no_change ON {table}")
    op.execute("DROP FUNCTION published_append_only()")
