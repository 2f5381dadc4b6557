"""Every operation × every role × {own, another venue's, absent}: ``permissions.txt`` states the answers.

The operations and the ids that they take come from the contract; each call is whole, and then taken back, so that
every cell meets the same database. On PostgreSQL the owner asks alone, for their own (all of it with
``BAIZEBOOK_TEST_DEEP=1``): rights are decided in Python, and every operation is asked there once.
"""

import json
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple
from uuid import uuid4

import pytest
from baizebook.app import create_app
from baizebook.store.settings import Settings
from baizebook.web.examples import BODIES, DEMO_IDS, PARAMETER_EXAMPLES
from baizebook.web.unguarded_operations import OPEN, unguarded
from fastapi.openapi.utils import get_openapi
from fastapi.testclient import TestClient

from tests.conftest import NOON, Route, store_nothing
from tests.databases import DEEP

MATRIX = Path(__file__).with_name("permissions.txt")
ROLES = ("owner", "collector", "accountant", "venue", "device", "reader")
BOUND = {"venue", "device"}
PLACES = ("own", "other", "absent")
METHODS = ("get", "post", "put", "patch", "delete")
METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]
QUERIES: dict[str, dict[str, str]] = {
    "get_quote": {"money": "10.00"},
    "get_quote_csv": {"money": "10.00"},
    "get_tax_report": {"from": "2026-01-01", "to": "2026-12-31"},
    "get_earnings": {"from": "2026-01-01", "to": "2026-12-31"},
    "get_best_and_worst": {"from": "2026-01-01", "to": "2026-12-31"},
    "get_play": {"from": "2026-01-01", "to": "2026-12-31"},
    "get_fault_report": {"from": "2026-01-01", "to": "2026-12-31"},
    "get_statement": {"month": "2026-11"},
    "get_statement_page": {"month": "2026-11"},
    "export_ledger": {"from": "2026-01-01", "to": "2026-12-31", "format": "csv"},
    "get_year_report": {"year": "2026"},
    "import_file": {"of": "venues"},
    "import_calendar": {"calendar": "League", "effective_on": "2026-12-01", "tariff": "@tariff_id"},
    "get_import_template": {"of": "tables"},
    "delete_date_set": {"name": "Feast days"},
    "list_public_holidays": {"country": "US", "from_on": "2027-01-01", "to_on": "2027-12-31"},
}
"""What an operation cannot be asked without."""
BODIES_OF_ROWS: dict[str, Any] = {
    "create_trip body.stops[]": {"on": "2026-12-01", "person": "a collector", "stops": ["@"]},
    "create_trip body.work[]": {"on": "2026-12-01", "person": "a collector", "work": ["@"]},
    "import_file -": "name,time_zone,currency\nThe Quiet Comet,Europe/Berlin,EUR\n",
    "post_quotes body.scenarios[].table_id": {"scenarios": [{"table_id": "@", "money": "4.00"}]},
    "post_ledger_entry body.venue_id": {
        "kind": "venue_payment", "amount": "1.00", "on": "2026-11-24", "currency": "USD", "venue_id": "@",
    },
    "post_ledger_entry body.table_id": {
        "kind": "expense", "what": "cloth", "amount": "1.00", "on": "2026-11-26", "table_id": "@",
    },
    "compare_prices body.table_id": {
        **{name: sent for name, sent in BODIES["compare_prices"].items() if name != "venue_id"}, "table_id": "@",
    },
    "compare_prices body.current.schedule_id": {**BODIES["compare_prices"], "current": {"schedule_id": "@"}},
    "compare_prices body.other.schedule_id": {**BODIES["compare_prices"], "other": {"schedule_id": "@"}},
    "compare_prices body.other.tariff_id": {
        **BODIES["compare_prices"], "current": BODIES["compare_prices"]["other"], "other": {"tariff_id": "@"},
    },
    "move_table path.table_id": {**BODIES["move_table"], "venue_id": None},
    "create_token body.venue_id": {"name": "The Copper Lantern", "role": "venue", "venue_id": "@"},
    "create_token body.table_id": {"name": "Window side", "role": "device", "table_id": "@"},
    "create_sheet_link body.venue_ids[]": {"name": "Office", "venue_ids": ["@"]},
    "create_webhook_endpoint body.venue_ids[]": {**BODIES["create_webhook_endpoint"], "venue_ids": ["@"]},
    "change_webhook_endpoint body.venue_ids[]": {"venue_ids": ["@"]},
    "roll_out_tariff body.venue_ids[]": {
        **BODIES["roll_out_tariff"], "venue_ids": ["@"],
    },
    "publish_dates body.tariff": {
        "effective_on": "2026-12-01", "venue_ids": [PARAMETER_EXAMPLES["venue_id"]], "tariff": "@", "country": "US",
    },
    "publish_dates body.venue_ids[]": {
        "effective_on": "2026-12-01", "venue_ids": ["@"], "tariff": None, "country": "US",
    },
    "publish_table_schedule body.base": {"effective_on": "2026-12-01", "base": "@"},
    "publish_schedule body.recurring[].tariff": {
        "effective_on": "2026-12-01", "base": None,
        "recurring": [{"name": "Team night", "starts_on": "2026-12-08", "rrule": "FREQ=WEEKLY;BYDAY=TU", "tariff": "@"}],
    },
    "publish_schedule body.dates[].tariff": {
        "effective_on": "2026-12-01", "base": None, "dates": [{"name": "Stocktaking", "on": "2027-01-02", "tariff": "@"}],
    },
    "publish_table_schedule body.weekly[].tariff": {
        "effective_on": "2026-12-01", "base": None, "weekly": [{"name": "Early", "days": ["mon"], "tariff": "@"}],
    },
    "publish_table_schedule body.recurring[].tariff": {
        "effective_on": "2026-12-01", "base": None,
        "recurring": [{"name": "Team night", "starts_on": "2026-12-08", "rrule": "FREQ=WEEKLY;BYDAY=TU", "tariff": "@"}],
    },
    "publish_table_schedule body.dates[].tariff": {
        "effective_on": "2026-12-01", "base": None, "dates": [{"name": "Stocktaking", "on": "2027-01-02", "tariff": "@"}],
    },
}  # fmt: skip
"""Where an operation's example does not have the field of the row: a message that has, the id at the ``@``."""
NAMES = {
    "after": "reading_id", "tariff": "tariff_id", "base": "tariff_id", "replacement": "tariff_id", "venue_ids": "venue_id",
    "stops": "venue_id", "work": "work_id",
}  # fmt: skip
"""What an id names, where the name of its place does not say it."""
SENDERS_OWN = {
    "record_readings body.readings[].id",
    "record_collection body.id",
    "preview_collection body.id",
    "report_job body.id",
    "record_keying body.id",
    "record_keyings body.keyings[].id",
    "record_collections body.collections[].id",
    "report_jobs body.jobs[].id",
}
"""Ids that the sender gives: random, and taken once; they name nothing yet."""


class Row(NamedTuple):
    """A line of the table: the operation, the id that is another's or nobody's (or ``-``), a cell for each role."""

    operation: str
    varies: str
    cells: dict[str, str]


def rows() -> list[Row]:
    lines = [line.split("|") for line in MATRIX.read_text().splitlines() if line and not line.startswith("#")]
    return [
        Row(*head.split(), dict(zip(ROLES, [" ".join(cell.split()) for cell in (*cells, "403")], strict=False)))
        for head, *cells in lines
        if len(cells) >= len(ROLES) - 1
    ]


def operations(contract: dict[str, Any]) -> dict[str, tuple[str, str, dict[str, Any]]]:
    """Return method, address and description of every operation, by its name."""
    return {
        operation["operationId"]: (method.upper(), path, operation)
        for path, item in contract["paths"].items()
        for method, operation in item.items()
        if method in METHODS
    }


def id_fields(contract: dict[str, Any], schema: dict[str, Any], path: str = "") -> Iterator[str]:
    """Name the fields of a message that hold an id."""
    if "$ref" in schema:
        schema = contract["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    if schema.get("format") == "uuid":
        yield path
    for below in schema.get("anyOf", ()):
        yield from id_fields(contract, below, path)
    for name, below in schema.get("properties", {}).items():
        yield from id_fields(contract, below, f"{path}.{name}")
    if "items" in schema:
        yield from id_fields(contract, schema["items"], f"{path}[]")


def ids_taken(contract: dict[str, Any], operation: dict[str, Any]) -> Iterator[str]:
    """Name every place of an operation at which an id stands."""
    for parameter in operation.get("parameters", ()):
        for _ in id_fields(contract, parameter["schema"]):
            yield f"{parameter['in']}.{parameter['name']}"
    for content in operation.get("requestBody", {}).get("content", {}).values():
        for field in id_fields(contract, content["schema"]):
            yield f"body{field}"


def test_every_operation_and_every_id_that_it_takes_has_its_row(contract: dict[str, Any]) -> None:
    bound = {row.operation for row in rows() if any(row.cells[role] != "403" for role in BOUND)}
    needed = set()
    for name, (_, path, operation) in operations(contract).items():
        if not path.startswith("/v1/"):
            assert name in OPEN
            continue
        places = {place for place in ids_taken(contract, operation) if place != "query.after" or name in bound}
        needed |= {f"{name} {place}" for place in places} - SENDERS_OWN or {f"{name} -"}
    stated = [f"{row.operation} {row.varies}" for row in rows()]
    assert len(stated) == len(set(stated))
    assert set(stated) == needed


def test_an_operation_without_a_row_is_found() -> None:
    planted = create_app(Settings())

    @planted.get("/v1/planted")
    def planted_operation() -> None:
        """Stand open."""

    assert unguarded(planted) == ["GET /v1/planted"]
    assert "planted_operation" in set(
        operations(get_openapi(title="Planted", version="1", routes=planted.routes[-1:]))
    ) - {row.operation for row in rows()}


def stand_still(client: TestClient, at: datetime) -> None:
    """Let the service's clock stand."""
    client.app.state.clock = lambda: at  # type: ignore[attr-defined]


class World:
    """Two venues that have everything once, and the tokens of everybody at the first."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.route = route
        stand_still(client, NOON)
        first, second, self.third = (route.tariff()["id"] for _ in range(3))
        self.ids = {place: self._venue(place, first) for place in ("own", "other")}
        self.ids["other"]["tariff_id"] = second
        self.unused = str(uuid4())
        self.ids["absent"] = {name: str(uuid4()) for name in self.ids["own"]}
        own = self.ids["own"]
        bound = {"venue": {"venue_id": own["venue_id"]}, "device": {"table_id": own["table_id"]}}
        self.tokens = {role: route.token(role, **bound.get(role, {})) for role in ROLES}
        tokens = client.get("/v1/tokens").json()["items"]
        for place, token in zip(("own", "other"), tokens, strict=False):
            self.ids[place]["token_id"] = token["id"]
        self.ids["absent"] |= {"token_id": str(uuid4()), "sheet_link_id": str(uuid4())}
        self.ids["absent"] |= {"webhook_endpoint_id": str(uuid4()), "delivery_id": str(uuid4())}
        for place in ("own", "other"):
            self.ids[place]["sheet_link_id"] = route.post("/sheet-links", {"name": place})["id"]
            made = {"name": place, "url": "https://display.example/", "event_types": ["work.due"]}
            endpoint_id = self.ids[place]["webhook_endpoint_id"] = route.post("/webhook-endpoints", made)["id"]
            self.ids[place]["delivery_id"] = route.post(f"/webhook-endpoints/{endpoint_id}/test", {})["id"]
        stand_still(client, NOON + timedelta(days=1))

    def _venue(self, place: str, tariff_id: str) -> dict[str, str]:
        """Make a venue: its collection was recorded before its agreement, so it is still to be settled."""
        post = self.route.post
        venue_id = self.route.venue(name=f"The {place} house")["id"]
        schedule_id = self.route.schedule(venue_id, tariff_id)["id"]
        table_id = self.route.table(venue_id, label=f"The {place} table", meters=METERS)["id"]
        keying = {"schedule_id": schedule_id, "keyed_at": "2026-11-01T12:00:00Z", "by": "Ana"}
        keying_id = post(f"/tables/{table_id}/keyings", keying)["id"]
        spare_id = self.route.table(venue_id, label=f"The {place} spare")["id"]
        move_id = post(f"/tables/{spare_id}/moves", {"venue_id": None, "moved_at": NOON.isoformat()})["id"]
        reading_id, collection_id = str(uuid4()), str(uuid4())
        post("/readings", {"readings": [
            {"id": reading_id, "table_id": table_id, "taken_at": "2026-11-20T12:00:00Z", "supply": {"volts": "12.40"}}
        ]})  # fmt: skip
        post("/collections", {
            "id": collection_id, "venue_id": venue_id, "collected_at": "2026-11-20T12:00:00Z", "collector": "a collector",
            "tables": [{"table_id": table_id, "counted": {"1.00": 4}}],
        })  # fmt: skip
        post(f"/venues/{venue_id}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
        job_id = str(uuid4())
        post("/jobs", {
            "id": job_id, "table_id": table_id, "reported_at": "2026-11-20T12:00:00Z", "fault": "lamp_out", "playable": True,
        })  # fmt: skip
        entry = {"kind": "venue_payment", "amount": "1.00", "on": "2026-11-20", "venue_id": venue_id, "currency": "USD"}
        dispute = {"by": "Odile", "claims": "more", "reason": "Miscounted."}
        return {
            "venue_id": venue_id, "table_id": table_id, "schedule_id": schedule_id, "tariff_id": tariff_id,
            "keying_id": keying_id, "reading_id": reading_id, "collection_id": collection_id, "job_id": job_id,
            "move_id": move_id, "work_id": str(uuid4()),
            "trip_id": post("/trips", {"on": "2026-12-01", "person": "the owner", "stops": [venue_id]})["id"],
            "entry_id": post("/ledger/entries", entry)["id"],
            "dispute_id": post(f"/collections/{collection_id}/disputes", dispute)["id"],
        }  # fmt: skip

    def one(self, row: Row, place: str) -> str:
        """Return the id that stands at the row's place."""
        name = row.varies.removesuffix("[]").rpartition(".")[2]
        if row.operation == "list_jobs" and name == "after":
            return self.ids[place]["job_id"]
        if (name, place) == ("replacement", "own"):
            return self.third
        return self.ids[place][NAMES.get(name, name)]

    def body(self, row: Row, place: str) -> Any:
        """Return the operation's example, of the first venue but for the id at the row's place."""
        own, one = self.ids["own"], "" if row.varies == "-" else self.one(row, place)
        message = BODIES_OF_ROWS.get(f"{row.operation} {row.varies}", BODIES[row.operation])
        text = json.dumps(message).replace('"@"', json.dumps(one))
        for name in ("venue_id", "table_id", "tariff_id"):
            text = text.replace(PARAMETER_EXAMPLES[name], own[name])
        text = text.replace(str(DEMO_IDS["venue harbour"]), own["venue_id"])
        for name, sent in DEMO_IDS.items():
            if name.startswith("sent "):
                text = text.replace(str(sent), self.unused)
        text = text.replace(BODIES["move_table"]["moved_at"], (NOON + timedelta(hours=1)).isoformat())
        text = text.replace(BODIES["retire_table"]["at"], (NOON + timedelta(hours=1)).isoformat())
        text = text.replace(f'"{BODIES["compare_prices"]["to"]}"', '"2026-12-01"')
        text = text.replace(BODIES["record_keying"]["schedule_id"], own["schedule_id"])
        body = json.loads(text.replace(BODIES["roll_out_tariff"]["replacement"], self.third))
        if row.varies.startswith("body") and one not in text:
            holder, (*parts, last) = body, row.varies.replace("[]", ".0").split(".")[1:]
            for part in parts:
                holder = holder[int(part) if part.isdigit() else part]
            holder[last] = one
        return body


def ask(client: TestClient, world: World, contract: dict[str, Any], row: Row, place: str, role: str) -> tuple[int, str]:
    """Send a row's call; return the status that it gets, and the answer with what was asked for blotted out."""
    method, path, operation = operations(contract)[row.operation]
    own, asked = world.ids["own"], QUERIES.get(row.operation, {})
    query = {name: own[value[1:]] if value.startswith("@") else value for name, value in asked.items()}
    where, _, name = row.varies.partition(".")
    own = {"tax_area": PARAMETER_EXAMPLES["tax_area"], **own}
    ids = {**own, name: world.one(row, place)} if where == "path" else own
    if where == "query":
        query[name] = world.one(row, place)
    if method == "PATCH":
        etag = client.get("/v1" + path.removeprefix("/v1").format(**ids)).headers.get("ETag", '"none"')
    headers = {**world.tokens[role], **({"If-Match": etag} if method == "PATCH" else {})}
    body = world.body(row, place) if "requestBody" in operation else None
    sent: dict[str, Any] = {"json": body}
    if isinstance(body, str):
        sent = {"content": body}
        headers["Content-Type"] = "text/calendar" if body.startswith("BEGIN:") else "text/csv"
    answer = client.request(method, path.format(**ids), params=query, headers=headers, **sent)
    text = answer.text.replace(world.one(row, place), "@") if row.varies != "-" else answer.text
    return status_of(answer.status_code, text), text


def status_of(status: int, text: str) -> int:
    """Return the status of an answer or, of a batch of one, that of its item."""
    if status == 200 and text.startswith('{"results":[{'):
        (result,) = json.loads(text)["results"]
        return result["problem"]["status"] if result["problem"] else 200
    return status


def roles_that_ask(database_kind: str) -> tuple[str, ...]:
    return ROLES if database_kind == "sqlite" or DEEP else ROLES[:1]


def places_asked(database_kind: str) -> int:
    return len(PLACES) if database_kind == "sqlite" or DEEP else 1


def test_every_cell_of_the_table_is_what_is_answered(
    client: TestClient, route: Route, contract: dict[str, Any], database_kind: str
) -> None:
    roles = roles_that_ask(database_kind)
    world = World(client, route)
    store_nothing(client)
    others = [world.ids["other"][name] for name in ("venue_id", "table_id", "reading_id")] + ["The other"]
    wrong = []
    for row in rows():
        for role in roles:
            stated = row.cells[role].split()[: places_asked(database_kind)]
            got = [ask(client, world, contract, row, place, role) for place in PLACES[: len(stated)]]
            cell = " ".join(str(status) for status, _ in got)
            if cell != " ".join(stated):
                wrong.append(
                    f"{row.operation} {row.varies} {role}: {cell}, stated {row.cells[role]}: {got[0][1][:300]}"
                )
            if len(got) == 3 and got[1][0] >= 400 and (role in BOUND or got[1][0] == got[2][0]) and got[1] != got[2]:
                wrong.append(f"{row.operation} {row.varies} {role}: {got[1][1]} is not {got[2][1]}")
            if role in BOUND and any(name in text for _, text in got for name in others):
                wrong.append(f"{row.operation} {row.varies} {role}: tells of another venue")
    assert wrong == [], "\n".join(wrong)


def test_without_a_token_no_operation_says_anything(client: TestClient, contract: dict[str, Any]) -> None:
    del client.headers["Authorization"]
    for name, (method, path, _) in operations(contract).items():
        if name not in OPEN:
            answer = client.request(method, re.sub(r"\{.*?\}", str(uuid4()), path))
            assert answer.status_code == 401, name
            assert (
                answer.headers["WWW-Authenticate"]
                == 'Basic realm="baizebook", charset="UTF-8", Bearer realm="baizebook"'
            )


def test_a_gate_that_asks_nobody_is_found_by_the_table(
    client: TestClient, route: Route, contract: dict[str, Any], monkeypatch: pytest.MonkeyPatch, database_kind: str
) -> None:
    monkeypatch.setattr("baizebook.web.auth.Principal.must_see_venue", lambda *_, **__: None)
    health = [row for row in rows() if row.operation == "get_table_health"]
    monkeypatch.setitem(globals(), "rows", lambda: health)
    monkeypatch.setitem(globals(), "roles_that_ask", lambda _: ROLES)
    monkeypatch.setitem(globals(), "places_asked", lambda _: len(PLACES))
    with pytest.raises(AssertionError, match=r"get_table_health path\.table_id venue: 200 200 404"):
        test_every_cell_of_the_table_is_what_is_answered(client, route, contract, database_kind)
