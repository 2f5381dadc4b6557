"""What is stored of a collection are facts: rows of before are read, whatever answers have learned to say since."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from uuid import UUID

import baizebook.collections as package
from baizebook.store import migrate
from baizebook.store.db import make_engine
from sqlalchemy import Engine, text

from tests.cash.conftest import Till
from tests.databases import empty_sqlite, postgres_database, settings_for

TOLD = {
    "table_id": "@table",
    "label": "Window side",
    "since": "2026-10-03T16:00:00Z",
    "counts": {"0.25": 8, "1.00": 18},
    "counted": "20.00",
    "expected": {"least": "25.00", "most": "25.00"},
    "difference": "-5.00",
    "difference_percent": "-20.00",
    "meters": [
        {"name": "cash", "counts": "money", "before": 0, "now": 100, "kind": "counted", "delta": 100, "says": None}
    ],
    "weights": [],
    "other": [{"what": "token", "count": 2}],
    "refunds_from_box": "0.00",
    "refunds_by_venue": "2.00",
    "test_games": 3,
    "test_money": "0.00",
    "house_money": "1.50",
    "cautions": ["weight_differs"],
}
"""A part of an answer, as it was stored before."""

OLD = {
    "collection": """INSERT INTO collection (id, record_id, venue_id, currency, collected_at, trading_on, received_at,
        recorded_by, collector, content, counted_minor, expected_least_minor, expected_most_minor, difference_minor,
        settling_least_minor, settling_most_minor, refunds_by_venue_minor, house_money_minor, test_money_minor, cautions,
        advice) VALUES (:id, :record, :venue, 'USD', '2026-10-10 16:00:00+00:00', '2026-10-10',
        '2026-10-10 16:00:00+00:00', 'a token', 'Ana', :content, 2000, 2500, 2500, -500, 2500, 2500, 200, 150, 0,
        :cautions, '[]')""",
    "collected_table": """INSERT INTO collected_table (collection_id, pool_table_id, place, meters, counted_minor,
        expected_least_minor, expected_most_minor, is_figure, told) VALUES (:id, :table, 0, '{"cash": 100}', 2000, 2500,
        2500, true, :told)""",
    "venue": """INSERT INTO venue (id, name, time_zone, currency, day_starts_at, address, contact, notes,
        has_tables, has_schedule, revision, made_at, books_name) VALUES (:venue, 'V', 'America/New_York', 'USD', '06:00',
        '', '', '', true, false, 1, '2026-01-01 00:00:00+00:00', 'V')""",
    "pool_table": """INSERT INTO pool_table (id, label, venue_id, profile, revision, made_at) VALUES (:table,
        'Window side', :venue, '{"accepts": ["0.25"], "meters": [{"name": "cash", "counts": "money"}]}', 1,
        '2026-01-01 00:00:00+00:00')""",
    "token": """INSERT INTO token (id, name, role, token_hash, made_at) VALUES (:id, 'the phone', 'owner', 'x',
        '2026-01-01 00:00:00+00:00')""",
}


def test_a_collection_stored_as_an_answer_becomes_facts_and_an_answer_again() -> None:
    for database in (empty_sqlite(), postgres_database(empty=True)):
        with database as url:
            engine = make_engine(settings_for(url))
            migrate.upgrade(engine, "keyings_for_a_day")
            _store_the_old_way(engine)
            migrate.upgrade(engine, "cash_facts")
            _read_the_facts(engine)
            migrate.downgrade(engine, "keyings_for_a_day")
            with engine.connect() as connection:
                told, content, settling = connection.execute(
                    text("SELECT t.told, c.content, c.settling_most_minor FROM collected_table t, collection c")
                ).one()
            told, content = (json.loads(value) if isinstance(value, str) else value for value in (told, content))
            assert {name: told[name] for name in TOLD if name not in ("table_id", "since", "meters")} == {
                name: TOLD[name] for name in TOLD if name not in ("table_id", "since", "meters")
            }
            assert (told["meters"][0]["before"], told["meters"][0]["delta"]) == (0, 100)
            assert told["since"].startswith("2026-10-03T16:00:00")
            assert (content["bag"], content["tables"][0]["counted"]) == ("17", {"0.25": 8, "1.00": 18})
            assert content["tables"][0]["weighed_g"] == {"1.00": "145.8"}
            assert settling == 2500
            migrate.upgrade(engine)
            engine.dispose()


def _store_the_old_way(engine: Engine) -> None:
    ids = {"id": UUID(int=1), "record": UUID(int=2), "venue": UUID(int=3), "table": UUID(int=4)}
    values = {name: str(value) if engine.dialect.name == "postgresql" else value.hex for name, value in ids.items()}
    content = {
        "venue_id": str(ids["venue"]),
        "collected_at": "2026-10-10T16:00:00+00:00",
        "collector": "Ana",
        "witness": "",
        "bag": "17",
        "seal": "",
        "tables": [
            {
                "table_id": str(ids["table"]),
                "meters": {"cash": 100},
                "counted": TOLD["counts"],
                "weighed_g": {"1.00": "145.8"},
                **{name: TOLD[name] for name in ("other", "test_games", "refunds_from_box", "refunds_by_venue")},
                **{name: TOLD[name] for name in ("test_money", "house_money")},
            }
        ],
    }
    told = {**TOLD, "table_id": str(ids["table"])}
    documents = {"content": json.dumps(content), "told": json.dumps(told), "cautions": '["late_arrival"]'}
    with engine.begin() as connection:
        for table in ("venue", "pool_table", "collection", "collected_table", "token"):
            connection.execute(text(OLD[table]), {**values, **documents})


def _read_the_facts(engine: Engine) -> None:
    with engine.connect() as connection:
        row = connection.execute(text("SELECT * FROM collected_table")).one()
        whole = connection.execute(text("SELECT bag, is_late, collector FROM collection")).one()
        person = connection.execute(text("SELECT person FROM token")).scalar()
    lists = {name: getattr(row, name) for name in ("counts", "weighed_g", "other", "meters_before", "cautions")}
    assert {name: json.loads(v) if isinstance(v, str) else v for name, v in lists.items()} == {
        "counts": [[25, 8], [100, 18]],
        "weighed_g": [[100, "145.8"]],
        "other": [["token", 2]],
        "meters_before": {"cash": 0},
        "cautions": ["weight_differs"],
    }
    assert (row.difference_minor, row.refunds_by_venue_minor, row.house_money_minor, row.test_games) == (
        -500,
        200,
        150,
        3,
    )
    assert str(row.since_at).startswith("2026-10-03 16:00:00")
    assert (whole.bag, bool(whole.is_late), whole.collector, person) == ("17", True, "Ana", "the phone")


def test_a_row_of_the_first_version_is_answered_by_whatever_an_answer_says_today(till: Till, engine: Engine) -> None:
    """Every fact is a column that has a default: a row that knows only what the first version knew is whole."""
    made = till.collect("2026-10-03", 10, cash=0)
    venue, table = UUID(till.venue), UUID(till.table)
    as_text = str if engine.dialect.name == "postgresql" else (lambda id_: id_.hex)
    ids = {
        "id": as_text(UUID(int=77)),
        "record": as_text(UUID(int=78)),
        "venue": as_text(venue),
        "table": as_text(table),
    }
    with engine.begin() as connection:
        connection.execute(
            text(
                "INSERT INTO collection (id, record_id, venue_id, currency, collected_at, trading_on, received_at, "
                "recorded_by, collector, counted_minor, refunds_by_venue_minor, house_money_minor, test_money_minor) "
                "VALUES (:id, :record, :venue, 'USD', '2026-10-10 16:00:00+00:00', '2026-10-10', "
                "'2026-10-10 16:00:00+00:00', 'a token', 'Ana', 2000, 0, 0, 0)"
            ),
            {name: ids[name] for name in ("id", "record", "venue")},
        )
        connection.execute(
            text(
                "INSERT INTO collected_table (collection_id, pool_table_id, place, meters, counts, counted_minor, "
                "is_figure) VALUES (:id, :table, 0, :meters, :counts, 2000, true)"
            ),
            {"id": ids["id"], "table": ids["table"], "meters": '{"cash": 100}', "counts": "[[100, 20]]"},
        )
    told = till.client.get(f"/v1/collections/{UUID(int=77)}").json()
    assert (told["counted"], told["expected"]) == ("20.00", {"least": "25.00", "most": "25.00"})
    assert (told["tables"][0]["counts"], told["tables"][0]["since"]) == ({"1.00": 20}, made["collected_at"])
    assert told["as_recorded"] == {"expected": None, "difference": None, "difference_percent": None}


def test_no_stored_json_is_read_by_the_schema_of_an_answer() -> None:
    """An answer is made field by field: a field added to a schema never asks for it in a stored document."""
    folder = Path(package.__file__).parent
    wrong = [
        f"{path.parent.name}/{path.name}: {ast.unparse(call)[:60]}"
        for path in (*folder.glob("*.py"), *(folder.parent / "settlements").glob("*.py"))
        for call in ast.walk(ast.parse(path.read_text()))
        if isinstance(call, ast.Call) and ast.unparse(call.func).endswith(("Out", "Out.model_validate"))
        if any(keyword.arg is None for keyword in call.keywords) or ast.unparse(call.func).endswith("model_validate")
    ]
    assert wrong == []
