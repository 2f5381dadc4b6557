"""Health counts the prices that a table's controller is too small for, and refuses more than a request may try (E4)."""

from datetime import UTC, datetime
from uuid import UUID

import pytest
from baizebook.controllers.fit import STEPS_OF_A_PRICE
from baizebook.health.queries import health_facts_of, load_tables
from baizebook.pricing.effort import STEPS_MAX, Effort
from baizebook.pricing.errors import DomainError
from baizebook.store.db import reading
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from tests.conftest import WEEKDAY, Route

LONG = {"prices": [{"price": f"{n}.00", "units": n} for n in range(1, 41)], "counting": "climb_once"}


def test_prices_that_a_keyed_controller_drops_are_counted_and_too_many_are_refused(
    at_noon: TestClient, engine: Engine, route: Route
) -> None:
    venue = route.venue()["id"]
    tariff = route.post(
        "/tariffs", {**{k: v for k, v in WEEKDAY.items() if k != "minutes"}, "code": "long", "games": LONG}
    )["id"]
    schedule = route.schedule(venue, tariff)["id"]
    table = route.table(venue, controller={"games": {"prices_max": 4}})["id"]
    keying = {"id": str(UUID(int=1)), "schedule_id": schedule, "keyed_at": "2026-11-25T16:00:00Z", "by": "Ana"}
    route.post(f"/tables/{table}/keyings", keying)
    read = {"id": str(UUID(int=2)), "table_id": table, "taken_at": "2026-11-25T16:30:00Z", "clock": {"time": "11:30"}}
    route.post("/readings", {"readings": [read]})
    assert at_noon.get(f"/v1/tables/{table}/health").status_code == 200
    with reading(engine) as session:
        (stored,) = load_tables(session, [UUID(table)], now=datetime(2026, 11, 25, 17, tzinfo=UTC)).values()
        work = Effort()
        assert health_facts_of(session, stored, work=work).sells is not None
        assert work.steps == 36 * STEPS_OF_A_PRICE < STEPS_MAX / 100, "a controller of 4 prices, a tariff of 40"
        with pytest.raises(DomainError) as refused:
            health_facts_of(session, stored, work=Effort(steps_max=work.steps - 1))
        assert [(fault.code, fault.where) for fault in refused.value.faults] == [("too_much_work", "table_id")]
