"""A migration that fails or refuses leaves the database exactly as it was, however many revisions came before."""

from typing import Any
from uuid import uuid4

import pytest
from baizebook.store import migrate
from baizebook.store.revision import newest_revision
from fastapi.testclient import TestClient
from sqlalchemy import Engine, event, inspect, text

from tests.conftest import Route

FAR_BACK = "touched"
GUARDS = {
    "sqlite": "SELECT name, sql FROM sqlite_master ORDER BY name",
    "postgresql": "SELECT tgrelid::regclass::text, pg_get_triggerdef(oid), tgenabled FROM pg_trigger ORDER BY 1, 2",
}


def whole(engine: Engine) -> dict[str, Any]:
    """Return every row of every table, the columns, and the guards."""
    with engine.connect() as connection:
        looked = inspect(connection)
        found: dict[str, Any] = {
            name: (
                [(column["name"], str(column["type"])) for column in looked.get_columns(name)],
                sorted(str(index["name"]) for index in looked.get_indexes(name)),
                sorted(map(repr, connection.execute(text(f'SELECT * FROM "{name}"')).all())),
            )
            for name in looked.get_table_names()
        }
        found["guards"] = connection.execute(text(GUARDS[engine.dialect.name])).all()
        return found


@pytest.fixture
def table(route: Route) -> dict[str, str]:
    """A table with prices, a keying and a reading."""
    venue = route.venue()["id"]
    schedule = route.schedule(venue, route.tariff()["id"])
    table = route.table(venue, placed_at="2026-01-05T15:00:00Z")["id"]
    at = "2026-11-20T15:00:00Z"
    route.post(f"/tables/{table}/keyings", {"schedule_id": schedule["id"], "keyed_at": at, "by": "Ana"})
    reading = {"id": str(uuid4()), "table_id": table, "taken_at": at, "supply": {"volts": "12.60"}}
    assert route.post("/readings", {"readings": [reading]})["recorded"] == 1
    return {"venue": venue, "table": table}


@pytest.mark.usefixtures("table")
def test_an_upgrade_that_fails_in_its_last_revision_changes_nothing(engine: Engine, client: TestClient) -> None:
    migrate.downgrade(engine, FAR_BACK)
    before = whole(engine)
    newest = newest_revision()

    def fail(_: Any, __: Any, statement: str, parameters: Any, *___: Any) -> None:
        if "alembic_version" in statement and newest in f"{statement}{parameters}":
            raise RuntimeError("the power is gone")

    event.listen(engine, "before_cursor_execute", fail)
    with pytest.raises(RuntimeError, match="the power is gone"):
        migrate.upgrade(engine)
    event.remove(engine, "before_cursor_execute", fail)
    assert whole(engine) == before
    migrate.upgrade(engine)
    assert client.get("/v1/venues").json()["items"]


def test_a_downgrade_that_is_refused_in_the_middle_changes_nothing(
    engine: Engine, route: Route, table: dict[str, str]
) -> None:
    route.post(f"/venues/{table['venue']}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    box = {"table_id": table["table"], "counted": {"1.00": 40}}
    collection = {"id": str(uuid4()), "venue_id": table["venue"], "collected_at": "2026-11-21T15:00:00Z"}
    route.post("/collections", {**collection, "collector": "Ana", "tables": [box]})
    before = whole(engine)
    with pytest.raises(RuntimeError, match="expected a journal without"):
        migrate.downgrade(engine, "base")
    assert whole(engine) == before
