"""Quotes from memory: what is kept is the same answer, and nothing that was written is ever missed."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from baizebook.store.db import make_engine, writing
from baizebook.store.read_cache import ReadCache
from baizebook.web.rows import TokenRow
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text

from tests.conftest import NOON, WEEKDAY, Route
from tests.databases import settings_for
from tests.listening import listen

TUESDAY_AT_NINE = {"day": "tuesday", "time": "21:00", "money": "10.00"}
DEARER = {**WEEKDAY, "games": {"prices": [{"price": "2.00", "units": 1}]}}


@pytest.fixture
def places(at_noon: TestClient, route: Route) -> dict[str, str]:  # noqa: ARG001
    """A venue with a table that sells what is listed, and a dearer tariff."""
    venue, cheap, dear = route.venue(), route.tariff(), route.post("/tariffs", DEARER)
    schedule, table = route.schedule(venue["id"], cheap["id"]), route.table(venue["id"])
    keyed = {"schedule_id": schedule["id"], "keyed_at": "2026-11-20T12:00:00-05:00", "by": "Ines"}
    route.post(f"/tables/{table['id']}/keyings", keyed)
    return {"venue": venue["id"], "table": table["id"], "dear": dear["id"], "keyed": schedule["id"]}


class Statements:
    """Counts what the service asks the database."""

    def __init__(self, engine: Engine) -> None:
        self.count = 0
        listen(engine, "before_cursor_execute", self._note)

    def _note(self, _connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        self.count += "pg_current_snapshot" not in statement


def test_the_second_answer_is_the_first_and_asks_the_database_nothing(
    at_noon: TestClient, engine: Engine, places: dict[str, str]
) -> None:
    for place in ({"venue_id": places["venue"]}, {"table_id": places["table"]}):
        first = at_noon.get("/v1/quotes", params=place | TUESDAY_AT_NINE)
        asked = Statements(engine)
        second = at_noon.get("/v1/quotes", params=place | TUESDAY_AT_NINE)
        assert (second.status_code, second.content) == (200, first.content)
        assert asked.count == 0


def test_a_question_answered_from_memory_looks_once_whether_anything_was_committed(
    at_noon: TestClient, places: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    made = at_noon.post("/v1/tokens", json={"name": "bar", "role": "venue", "venue_id": places["venue"]}).json()
    question, headers = {"venue_id": places["venue"]} | TUESDAY_AT_NINE, {"Authorization": f"Bearer {made['token']}"}
    looks, look = [0], ReadCache.look

    def counted(kept: ReadCache) -> int:
        looks[0] += 1
        return look(kept)

    monkeypatch.setattr(ReadCache, "look", counted)
    for of_whom in ({}, headers):
        for _ in range(2):  # a token's first use is noted, which drops what is kept
            at_noon.get("/v1/quotes", params=question, headers=of_whom)
        looks[0] = 0
        assert at_noon.get("/v1/quotes", params=question, headers=of_whom).status_code == 200
        assert looks == [1], of_whom


def test_every_fact_that_the_service_records_shows_in_the_next_quote(
    at_noon: TestClient, route: Route, places: dict[str, str]
) -> None:
    def games(**place: str) -> int:
        found = at_noon.get("/v1/quotes", params=place | TUESDAY_AT_NINE).json()
        return int(found["offers"][0]["units"])

    venue, table = places["venue"], places["table"]
    assert games(venue_id=venue) == games(table_id=table) == 15
    dear = route.schedule(venue, places["dear"], effective_on="2026-11-30")
    assert (games(venue_id=venue), games(table_id=table)) == (5, 15)
    keyed = {"schedule_id": dear["id"], "keyed_at": "2026-11-25T11:00:00-05:00", "by": "Ines"}
    keying = route.post(f"/tables/{table}/keyings", keyed)
    assert games(table_id=table) == 5
    route.post(f"/keyings/{keying['id']}/void", {"reason": "keyed into the table beside it"})
    assert games(table_id=table) == 15
    other = route.venue(name="The Tin Heron", time_zone="America/Chicago")
    route.schedule(other["id"], places["dear"])
    route.post(f"/tables/{table}/moves", {"venue_id": other["id"], "moved_at": "2026-11-25T12:00:00-05:00"})
    found = at_noon.get("/v1/quotes", params={"table_id": table, **TUESDAY_AT_NINE}).json()
    assert (found["venue_id"], found["cautions"]) == (other["id"], ["keyed_elsewhere"])


def test_what_another_process_wrote_shows_and_a_revoked_token_is_refused(
    at_noon: TestClient, database_url: str, places: dict[str, str], database_kind: str
) -> None:
    app: Any = at_noon.app
    look_every_s = 0.0 if database_kind == "postgresql" else 3600.0  # SQLite is looked at each time all the same
    app.state.kept.close()
    app.state.kept = ReadCache(app.state.engine, look_every_s=look_every_s)
    made = at_noon.post("/v1/tokens", json={"name": "cell", "role": "reader"}).json()
    headers = {"Authorization": f"Bearer {made['token']}"}
    question = {"venue_id": places["venue"], **TUESDAY_AT_NINE}
    for _ in range(2):
        assert at_noon.get("/v1/quotes", params=question, headers=headers).status_code == 200
    elsewhere = make_engine(settings_for(database_url))
    with writing(elsewhere) as session:
        session.execute(text("UPDATE venue SET time_zone = 'America/Denver'"))
    assert at_noon.get("/v1/quotes", params=question).json()["at"].endswith("-07:00")
    assert at_noon.get("/v1/quotes", params=question, headers=headers).status_code == 200
    with writing(elsewhere) as session:
        token = session.get(TokenRow, UUID(made["id"]))
        assert token is not None
        token.revoked_at = NOON
    elsewhere.dispose()
    assert at_noon.get("/v1/quotes", params=question, headers=headers).status_code == 401


def test_a_token_that_is_revoked_or_expires_is_refused_at_once(at_noon: TestClient, places: dict[str, str]) -> None:
    question = {"venue_id": places["venue"], **TUESDAY_AT_NINE}
    expires_at = (NOON + timedelta(hours=1)).isoformat()
    tokens = [
        at_noon.post("/v1/tokens", json={"name": name, "role": "reader", "expires_at": expires_at}).json()
        for name in ("one", "two")
    ]
    one, two = ({"Authorization": f"Bearer {made['token']}"} for made in tokens)

    def statuses() -> list[int]:
        return [at_noon.get("/v1/quotes", params=question, headers=headers).status_code for headers in (one, two)]

    assert statuses() == statuses() == [200, 200]
    assert at_noon.delete(f"/v1/tokens/{tokens[0]['id']}").status_code == 204
    assert statuses() == [401, 200]
    at_noon.app.state.clock = lambda: NOON + timedelta(hours=1)  # type: ignore[attr-defined]
    assert statuses() == [401, 401]


def test_a_venues_token_gets_no_other_venue_from_memory(
    at_noon: TestClient, route: Route, places: dict[str, str]
) -> None:
    other = route.venue(name="The Tin Heron")
    made = at_noon.post("/v1/tokens", json={"name": "bar", "role": "venue", "venue_id": other["id"]}).json()
    headers = {"Authorization": f"Bearer {made['token']}"}
    for place in ({"venue_id": places["venue"]}, {"table_id": places["table"]}):
        assert at_noon.get("/v1/quotes", params=place | TUESDAY_AT_NINE).status_code == 200  # now it is kept
        for _ in range(2):
            assert at_noon.get("/v1/quotes", params=place | TUESDAY_AT_NINE, headers=headers).status_code == 404


def test_what_was_read_before_a_change_is_not_kept(engine: Engine) -> None:
    kept = ReadCache(engine, look_every_s=0.0, entries_max=2)
    before = kept.look()
    kept.put("a", 1, read_at=before)
    assert kept.get("a") == 1
    with writing(engine) as session:
        session.add(TokenRow(id=UUID(int=1), name="n", person="n", role="owner", token_hash="h", made_at=NOON))
    after = kept.look()
    assert after != before
    assert kept.get("a") is None
    kept.put("b", 2, read_at=before)
    assert kept.get("b") is None
    for key in "cde":
        kept.put(key, key, read_at=after)
    assert [kept.get(key) for key in "cde"] == [None, "d", "e"]
    kept.close()
