"""What is published, moved, made or disputed has its order of recording; counters keep their last instant.

So far order rested on the time inside ids and on ``published_at``: rows that are there keep that order. A counter's last
instant is the latest that is recorded of its kind. A venue with an agreement or an entry keeps its currency.

Revision ID: order_of_recording
Revises: entry_bags
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import on_sqlite, unguarded

revision = "order_of_recording"
down_revision = "entry_bags"
branch_labels = None
depends_on = None

_ORDER = {
    "tariff": ("tariffs", ("id",)),
    "schedule": ("schedules", ("published_at", "id")),
    "venue": ("venues", ("id",)),
    "pool_table": ("pool tables", ("id",)),
    "stay": ("stays", ("id",)),
    "dispute": ("disputes", ("id",)),
}
"""Tables that get an order: the name of its counter, and the columns that it rested on so far."""
_INSTANTS = {
    "tariffs": (("tariff", "published_at"),),
    "schedules": (("schedule", "published_at"),),
    "keyings": (("keying", "recorded_at"),),
    "venues": (("venue", "made_at"),),
    "pool tables": (("pool_table", "made_at"),),
    "stays": (("pool_table", "made_at"),),
    "retirements": (("retirement", "recorded_at"),),
    "disputes": (("dispute", "raised_at"),),
    "answers": (("dispute_answer", "answered_at"),),
    "agreements": (("agreement", "published_at"),),
    "cash": (("collection", "received_at"), ("settlement", "settled_at"), ("reversal", "reversed_at")),
    "entries": (("ledger_entry", "recorded_at"),),
    "readings": (("reading", "received_at"), ("reading_void", "voided_at")),
    "jobs": (("job", "received_at"), ("job_step", "made_at"), ("job_done", "recorded_at")),
    "voids": (("keying_void", "voided_at"),),
}
_GUARDED = ("tariff", "schedule", "dispute")
_counter = sa.table("counter", sa.column("name"), sa.column("last"), sa.column("at", sa.DateTime(timezone=True)))


def upgrade() -> None:
    # In place: a table that is copied loses the triggers that let nothing in it be changed.
    epoch = "1970-01-01 00:00:00.000000" if on_sqlite() else "1970-01-01 00:00:00Z"
    op.add_column("counter", sa.Column("at", sa.DateTime(timezone=True), nullable=False, server_default=epoch))
    false, true = ("0", "1") if on_sqlite() else ("false", "true")
    op.execute(f"ALTER TABLE venue ADD COLUMN has_money BOOLEAN NOT NULL DEFAULT {false}")
    op.execute(
        f"UPDATE venue SET has_money = {true} WHERE id IN (SELECT venue_id FROM agreement) "
        "OR id IN (SELECT venue_id FROM ledger_posting WHERE venue_id IS NOT NULL)"
    )
    for table in _ORDER:
        op.execute(f"ALTER TABLE {table} ADD COLUMN sequence BIGINT NOT NULL DEFAULT 0")
    with unguarded(*_GUARDED):
        for table, (counter, order) in _ORDER.items():
            _number(table, counter, order)
    for table in _ORDER:
        op.create_index(op.f(f"ix_{table}_sequence"), table, ["sequence"], unique=True)
    for counter, columns in _INSTANTS.items():
        _set_clock(counter, columns)


def _number(table: str, counter: str, order: tuple[str, ...]) -> None:
    """Number the rows of a table in their order so far."""
    connection = op.get_bind()
    types = {"id": sa.Uuid(), "published_at": sa.DateTime(timezone=True)}
    rows = sa.table(table, sa.column("sequence"), *(sa.column(name, types[name]) for name in order))
    ids = [id_ for (id_,) in connection.execute(sa.select(rows.c.id).order_by(*(rows.c[name] for name in order)))]
    for sequence, id_ in enumerate(ids, start=1):
        connection.execute(rows.update().where(rows.c.id == id_).values(sequence=sequence))
    if ids:
        connection.execute(_counter.insert().values(name=counter, last=len(ids)))


def _set_clock(counter: str, columns: tuple[tuple[str, str], ...]) -> None:
    """Set the last instant of a counter to the latest in some columns."""
    connection = op.get_bind()
    found = []
    for table, name in columns:
        stored = sa.table(table, sa.column(name, sa.DateTime(timezone=True)))
        found.append(connection.execute(sa.select(sa.func.max(stored.c[name]))).scalar())
    at = max((instant for instant in found if instant is not None), default=None)
    if at is None:
        return
    if connection.execute(_counter.update().where(_counter.c.name == counter).values(at=at)).rowcount == 0:
        connection.execute(_counter.insert().values(name=counter, last=0, at=at))


def downgrade() -> None:
    for table in _ORDER:
        op.drop_index(op.f(f"ix_{table}_sequence"), table)
        op.execute(f"ALTER TABLE {table} DROP COLUMN sequence")
    op.execute("DELETE FROM counter WHERE name NOT IN ('cash', 'keyings') AND name NOT LIKE 'feed:%'")
    op.execute("ALTER TABLE venue DROP COLUMN has_money")
    op.execute("ALTER TABLE counter DROP COLUMN at")
