"""published: tariffs, schedules and keyings are never changed, by the database's own word"""

from alembic import op
from baizebook.migrations.guards import drop_function, make_append_only, make_refusal, on_sqlite

revision = "published"
down_revision = "cash"
branch_labels = None
depends_on = None

_TABLES = ("tariff", "schedule", "keying")


def upgrade() -> None:
    make_refusal("published_append_only")
    for table in _TABLES:
        make_append_only(table, same="id = NEW.id", function="published_append_only")


def downgrade() -> None:
    if on_sqlite():
        for table in _TABLES:
            for name in ("no_update", "no_delete", "is_new"):
                op.execute(f"DROP TRIGGER {table}_{name}")
        return
    for table in _TABLES:
        op.execute(f"DROP TRIGGER {table}_no_change ON {table}")
    drop_function("published_append_only")
