"""Readings are voided; stored price lists say ``prices``, ``price`` and ``counting``; controllers say ``prices_max``.

Revision ID: price_names
Revises: touched
"""

import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import unguarded

revision = "price_names"
down_revision = "touched"
branch_labels = None
depends_on = None

_NAMES = {"rungs": "prices", "pays": "price", "beyond": "counting", "rungs_max": "prices_max"}
_VALUES = {"again": "repeat", "first_rung": "climb_once"}
_STORED = (("tariff", "terms"), ("pool_table", "profile"), ("reading", "settings"))


def renamed(value: Any, names: Mapping[str, str], values: Mapping[str, str], *, of: str = "") -> Any:
    """Return a JSON value with its names replaced, and the ways of counting under them."""
    if isinstance(value, dict):
        return {names.get(name, name): renamed(item, names, values, of=name) for name, item in value.items()}
    if isinstance(value, list):
        return [renamed(item, names, values) for item in value]
    return values.get(value, value) if of in ("beyond", "counting") and isinstance(value, str) else value


def _rename(names: Mapping[str, str], values: Mapping[str, str]) -> None:
    connection = op.get_bind()
    for table, column in _STORED:
        stored = sa.table(table, sa.column("id", sa.Uuid()), sa.column(column, sa.JSON()))
        rows = connection.execute(sa.select(stored.c.id, stored.c[column]).where(stored.c[column].is_not(None))).all()
        for id_, found in rows:
            new = renamed(found, names, values)
            if json.dumps(new) != json.dumps(found):
                connection.execute(stored.update().where(stored.c.id == id_).values({column: new}))


def upgrade() -> None:
    for column in ("at", "by"):
        op.execute(f"ALTER TABLE reading_strike RENAME COLUMN struck_{column} TO voided_{column}")
    with unguarded("tariff", "reading"):
        _rename(_NAMES, _VALUES)


def downgrade() -> None:
    for column in ("at", "by"):
        op.execute(f"ALTER TABLE reading_strike RENAME COLUMN voided_{column} TO struck_{column}")
    with unguarded("tariff", "reading"):
        _rename({new: old for old, new in _NAMES.items()}, {new: old for old, new in _VALUES.items()})
