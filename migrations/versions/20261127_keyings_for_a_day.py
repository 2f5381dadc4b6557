"""Keyings: for which trading date a weekday clock was keyed, and which of them are void.

Revision ID: keyings_for_a_day
Revises: source_digest
"""

import sqlalchemy as sa
from alembic import op

revision = "keyings_for_a_day"
down_revision = "source_digest"
branch_labels = None
depends_on = None

_GUARDS = (
    *(
        f"CREATE TRIGGER keying_void_no_{verb.lower()} BEFORE {verb} ON keying_void "
        "BEGIN SELECT RAISE(ABORT, 'keying_void is append-only'); END"
        for verb in ("UPDATE", "DELETE")
    ),
    "CREATE TRIGGER keying_void_is_new BEFORE INSERT ON keying_void "
    "WHEN EXISTS (SELECT 1 FROM keying_void WHERE keying_id = NEW.keying_id) "
    "BEGIN SELECT RAISE(ABORT, 'keying_void is append-only'); END",
)
_POSTGRES_GUARDS = (
    "CREATE TRIGGER keying_void_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON keying_void "
    "FOR EACH STATEMENT EXECUTE FUNCTION published_append_only()",
    "ALTER TABLE keying_void ENABLE ALWAYS TRIGGER keying_void_no_change",
)


def upgrade() -> None:
    op.add_column("keying", sa.Column("for_on", sa.Date(), nullable=True))
    op.create_table(
        "keying_void",
        sa.Column("keying_id", sa.Uuid(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("voided_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("voided_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["keying_id"], ["keying.id"], name=op.f("fk_keying_void_keying_id_keying")),
        sa.PrimaryKeyConstraint("keying_id", name=op.f("pk_keying_void")),
    )
    for statement in _GUARDS if op.get_bind().dialect.name == "sqlite" else _POSTGRES_GUARDS:
        op.execute(statement)


def downgrade() -> None:
    op.drop_table("keying_void")
    op.execute("ALTER TABLE keying DROP COLUMN for_on")
