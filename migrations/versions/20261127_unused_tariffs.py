"""A tariff that no schedule names may be deleted: it was published by mistake. All others are kept as before.

Revision ID: unused_tariffs
Revises: date_sets
"""

from alembic import op

revision = "unused_tariffs"
down_revision = "date_sets"
branch_labels = None
depends_on = None

_SQLITE = (
    "CREATE TRIGGER tariff_no_delete BEFORE DELETE ON tariff {when}"
    "BEGIN SELECT RAISE(ABORT, 'tariff is append-only'); END"
)
_NAMED_ON_SQLITE = "WHEN EXISTS (SELECT 1 FROM schedule WHERE instr(replace(lower(terms), '-', ''), replace(lower(OLD.id), '-', '')) > 0) "
_POSTGRES = (
    "DROP TRIGGER tariff_no_change ON tariff",
    "CREATE TRIGGER tariff_no_change BEFORE UPDATE OR TRUNCATE ON tariff "
    "FOR EACH STATEMENT EXECUTE FUNCTION published_append_only()",
    "CREATE FUNCTION tariff_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
    "IF EXISTS (SELECT 1 FROM schedule WHERE strpos(lower(terms::text), OLD.id::text) > 0) THEN "
    "RAISE EXCEPTION 'tariff is append-only' USING ERRCODE = 'integrity_constraint_violation'; "
    "END IF; RETURN OLD; END $$",
    "CREATE TRIGGER tariff_no_delete BEFORE DELETE ON tariff FOR EACH ROW EXECUTE FUNCTION tariff_kept()",
)
_POSTGRES_BACK = (
    "DROP TRIGGER tariff_no_delete ON tariff",
    "DROP FUNCTION tariff_kept()",
    "DROP TRIGGER tariff_no_change ON tariff",
    "CREATE TRIGGER tariff_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON tariff "
    "FOR EACH STATEMENT EXECUTE FUNCTION published_append_only()",
)


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TRIGGER tariff_no_delete")
        op.execute(_SQLITE.format(when=_NAMED_ON_SQLITE))
        return
    for statement in _POSTGRES:
        op.execute(statement)
    for trigger in ("tariff_no_change", "tariff_no_delete"):
        op.execute(f"ALTER TABLE tariff ENABLE ALWAYS TRIGGER {trigger}")


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TRIGGER tariff_no_delete")
        op.execute(_SQLITE.format(when=""))
        return
    for statement in _POSTGRES_BACK:
        op.execute(statement)
    op.execute("ALTER TABLE tariff ENABLE ALWAYS TRIGGER tariff_no_change")
