"""Collected tables are stored as facts, not as a part of an answer; tokens belong to a person.

What was an answer in JSON (``told``, ``content``) becomes columns. Cautions and advice of a whole collection, and the
expectation of the whole box, follow from its tables and are stored no longer. Taken back, an answer is written again
from the columns, without the texts of its advice.

Revision ID: cash_facts
Revises: keyings_for_a_day
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import unguarded

revision = "cash_facts"
down_revision = "keyings_for_a_day"
branch_labels = None
depends_on = None

_MONEY = ("refunds_from_box", "refunds_by_venue", "test_money", "house_money")
_COLLECTION = (
    "witness VARCHAR NOT NULL DEFAULT ''",
    "bag VARCHAR NOT NULL DEFAULT ''",
    "seal VARCHAR NOT NULL DEFAULT ''",
)
_TABLE = (
    "facts_version INTEGER NOT NULL DEFAULT 1",
    "counts JSON NOT NULL DEFAULT '[]'",
    "weighed_g JSON NOT NULL DEFAULT '[]'",
    "other JSON NOT NULL DEFAULT '[]'",
    *(f"{name}_minor BIGINT NOT NULL DEFAULT 0" for name in _MONEY),
    "test_games BIGINT NOT NULL DEFAULT 0",
    "emptied_before_meters JSON",
    "meters_before JSON NOT NULL DEFAULT '{}'",
    "difference_minor BIGINT",
    "cautions JSON NOT NULL DEFAULT '[]'",
)
_RETURNS = (
    "refunds_from_box_minor >= 0 AND refunds_by_venue_minor >= 0 AND test_games >= 0 AND test_money_minor >= 0 "
    "AND house_money_minor >= 0"
)
_GUARDED = ("collection", "collected_table")
_DECIMALS = {
    **dict.fromkeys("BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF".split(), 0),
    **dict.fromkeys("BHD IQD JOD KWD LYD OMR TND".split(), 3),
    **dict.fromkeys("CLF UYW".split(), 4),
}
"""ISO 4217: the currencies whose minor unit has not two decimals."""

_collection = sa.table(
    "collection",
    *(sa.column(name, sa.Uuid()) for name in ("id", "venue_id")),
    *(sa.column(name, sa.String()) for name in ("currency", "collector", "witness", "bag", "seal")),
    sa.column("collected_at", sa.DateTime(timezone=True)),
    sa.column("is_late", sa.Boolean()),
    *(sa.column(name, sa.JSON()) for name in ("content", "cautions", "advice")),
    *(
        sa.column(name, sa.BigInteger())
        for name in ("expected_least_minor", "expected_most_minor", "settling_least_minor", "settling_most_minor")
    ),
)
_collected_table = sa.table(
    "collected_table",
    *(sa.column(name, sa.Uuid()) for name in ("collection_id", "pool_table_id")),
    *(sa.column(name, sa.JSON()) for name in ("told", "meters", "counts", "weighed_g", "other", "cautions")),
    *(sa.column(name, sa.JSON()) for name in ("meters_before",)),
    *(sa.column(f"{name}_minor", sa.BigInteger()) for name in _MONEY),
    *(
        sa.column(name, sa.BigInteger())
        for name in ("counted_minor", "expected_least_minor", "expected_most_minor", "difference_minor", "test_games")
    ),
    sa.column("place", sa.Integer()),
    sa.column("since_at", sa.DateTime(timezone=True)),
)
_pool_table = sa.table(
    "pool_table", sa.column("id", sa.Uuid()), sa.column("label", sa.String()), sa.column("profile", sa.JSON())
)


def minor(text: str) -> int:
    """Return minor units of an amount, which was always written with all decimals of its currency."""
    return int(text.replace(".", ""))


def written(amount: int, decimals: int) -> str:
    """Write minor units as an amount with so many decimals."""
    digits = str(abs(amount)).rjust(decimals + 1, "0")
    text = f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits
    return f"-{text}" if amount < 0 else text


def upgrade() -> None:
    op.add_column("token", sa.Column("person", sa.String(), nullable=False, server_default=""))
    op.execute("UPDATE token SET person = name")
    for column in _COLLECTION:
        op.execute(f"ALTER TABLE collection ADD COLUMN {column}")
    op.add_column("collection", sa.Column("is_late", sa.Boolean(), nullable=False, server_default=sa.false()))
    for column in _TABLE:
        check = f" CONSTRAINT ck_collected_table_returns CHECK ({_RETURNS})" if column.startswith("test_games") else ""
        op.execute(f"ALTER TABLE collected_table ADD COLUMN {column}{check}")
    for name in ("since_at", "emptied_before_at"):
        op.add_column("collected_table", sa.Column(name, sa.DateTime(timezone=True), nullable=True))
    with unguarded(*_GUARDED):
        _to_columns()
    for name in ("content", "cautions", "advice", "settling_least_minor", "settling_most_minor"):
        op.drop_column("collection", name)
    op.drop_column("collected_table", "told")


def _to_columns() -> None:
    connection = op.get_bind()
    contents: dict[Any, Any] = {}
    columns = _collection.c
    for row in connection.execute(sa.select(columns.id, columns.content, columns.cautions)).all():
        contents[row.id] = row.content
        values = {name: row.content[name] for name in ("witness", "bag", "seal")}
        changed = _collection.update().where(columns.id == row.id)
        connection.execute(changed.values(**values, is_late="late_arrival" in row.cautions))
    at = _collected_table.c
    rows = connection.execute(sa.select(at.collection_id, at.pool_table_id, at.place, at.told)).all()
    for row in rows:
        told, sent = row.told, contents[row.collection_id]["tables"][row.place]
        values = {
            "counts": [[minor(value), count] for value, count in sent["counted"].items()],
            "weighed_g": [[minor(value), grams] for value, grams in sent["weighed_g"].items()],
            "other": [[item["what"], item["count"]] for item in sent["other"]],
            **{f"{name}_minor": minor(sent[name]) for name in _MONEY},
            "test_games": sent["test_games"],
            "meters_before": {
                meter["name"]: meter["before"] for meter in told["meters"] if meter["before"] is not None
            },
            "difference_minor": None if told["difference"] is None else minor(told["difference"]),
            "cautions": told["cautions"],
            "since_at": told["since"] and datetime.fromisoformat(told["since"]).astimezone(UTC),
        }
        this = (at.collection_id == row.collection_id) & (at.pool_table_id == row.pool_table_id)
        connection.execute(_collected_table.update().where(this).values(values))


def downgrade() -> None:
    for name in ("content", "cautions", "advice"):
        op.add_column("collection", sa.Column(name, sa.JSON(), nullable=False, server_default="[]"))
    for name in ("settling_least_minor", "settling_most_minor"):
        op.add_column("collection", sa.Column(name, sa.BigInteger(), nullable=True))
    op.add_column("collected_table", sa.Column("told", sa.JSON(), nullable=False, server_default="{}"))
    with unguarded(*_GUARDED):
        _to_answers()
    if op.get_bind().dialect.name == "postgresql":
        op.execute("ALTER TABLE collected_table DROP CONSTRAINT ck_collected_table_returns")
    for column in reversed(_TABLE):
        op.drop_column("collected_table", column.split()[0])
    for name in ("since_at", "emptied_before_at"):
        op.drop_column("collected_table", name)
    for column in _COLLECTION:
        op.drop_column("collection", column.split()[0])
    op.drop_column("collection", "is_late")
    op.drop_column("token", "person")


def _to_answers() -> None:
    connection = op.get_bind()
    profiles = {row.id: row for row in connection.execute(sa.select(_pool_table)).all()}
    columns, at = _collection.c, _collected_table.c
    of_collection: dict[Any, list[Any]] = {}
    kept = [column for column in at if column.name != "told"]
    for row in connection.execute(sa.select(*kept).order_by(at.place)).all():
        of_collection.setdefault(row.collection_id, []).append(row)
    wanted = [
        columns[name]
        for name in ("id", "venue_id", "currency", "collector", "witness", "bag", "seal", "collected_at", "is_late")
    ]
    ends = [columns.expected_least_minor, columns.expected_most_minor]
    for row in connection.execute(sa.select(*wanted, *ends)).all():
        tables = of_collection.get(row.id, [])
        decimals = _DECIMALS.get(row.currency, 2)
        unknown = sum(table.counted_minor for table in tables if table.expected_least_minor is None)
        values = {
            "content": {
                "venue_id": str(row.venue_id),
                "collected_at": _instant(row.collected_at),
                **{name: getattr(row, name) for name in ("collector", "witness", "bag", "seal")},
                "tables": [_sent(table, decimals) for table in tables],
            },
            "cautions": [
                *(["late_arrival"] if row.is_late else []),
                *dict.fromkeys(caution for table in tables for caution in table.cautions),
            ],
            "advice": [],
            "settling_least_minor": None if row[-2] is None else row[-2] + unknown,
            "settling_most_minor": None if row[-1] is None else row[-1] + unknown,
        }
        connection.execute(_collection.update().where(columns.id == row.id).values(values))
        for table in tables:
            this = (at.collection_id == row.id) & (at.pool_table_id == table.pool_table_id)
            told = _told(table, profiles[table.pool_table_id], decimals)
            connection.execute(_collected_table.update().where(this).values(told=told))


def _instant(at: datetime) -> str:
    return (at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)).isoformat()


def _sent(table: Any, decimals: int) -> dict[str, Any]:
    return {
        "table_id": str(table.pool_table_id),
        "meters": table.meters,
        "counted": {written(value, decimals): count for value, count in table.counts},
        "weighed_g": {written(value, decimals): grams for value, grams in table.weighed_g},
        "other": [{"what": what, "count": count} for what, count in table.other],
        "test_games": table.test_games,
        **{name: written(getattr(table, f"{name}_minor"), decimals) for name in _MONEY},
    }


def _told(table: Any, known: Any, decimals: int) -> dict[str, Any]:
    sent = _sent(table, decimals)
    least, most, off = table.expected_least_minor, table.expected_most_minor, table.difference_minor
    end = least if off is not None and off < 0 else most
    percent = None if off is None or not end else written((20_000 * off + end) // (2 * end), 2)
    counts = {meter["name"]: meter["counts"] for meter in known.profile.get("meters", ())}
    return {
        "table_id": str(table.pool_table_id),
        "label": known.label,
        "since": None if table.since_at is None else _instant(table.since_at),
        "counts": sent["counted"],
        "counted": written(table.counted_minor, decimals),
        "expected": None if least is None else {"least": written(least, decimals), "most": written(most, decimals)},
        "difference": None if off is None else written(off, decimals),
        "difference_percent": percent,
        "meters": [_meter(name, now, table.meters_before, counts) for name, now in sorted(table.meters.items())],
        "weights": [],
        "other": sent["other"],
        **{name: sent[name] for name in (*_MONEY, "test_games")},
        "cautions": table.cautions,
    }


def _meter(name: str, now: int, before: Mapping[str, int], counts: Mapping[str, str]) -> dict[str, Any]:
    start = before.get(name)
    goes_on = start is not None and now >= start
    return {
        "name": name,
        "counts": counts.get(name, "unknown"),
        "before": start,
        "now": now,
        "kind": "baseline" if start is None else "counted" if goes_on else "needs_review",
        "delta": now - start if start is not None and goes_on else None,
        "says": None,
    }
