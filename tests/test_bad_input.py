"""Whatever is sent: a clear problem, never a 500, and nothing half-stored. Every endpoint that takes a message."""

import gzip
import json
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, inspect, text

from tests.conftest import WEEKDAY, Route

ABSENT = "00000000-0000-4000-8000-000000000000"
JSON = {"Content-Type": "application/json"}
GZIP = {**JSON, "Content-Encoding": "gzip"}
RUNGS = [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}]
TIERS = [{"from_minutes": 0, "price": "9.00", "per_minutes": 60}]
NUMBERS = ("1e999", "1" + "0" * 30, "NaN", "Infinity", "-Infinity", "1" * 5000, "-1", "10.5", "true")
"""As JSON numbers (or not even that) where a string or a small whole number belongs."""
AMOUNTS = ("-1.00", "1e999", "1" + "0" * 30, "NaN", "Infinity", "10.001", "", " 1.00", "1,00", "0x10", "١٫٠٠", "1.00\n")
"""As strings where an amount in US dollars belongs."""


@pytest.fixture
def ids(route: Route) -> dict[str, str]:
    """A venue with a table, a tariff and a schedule; and a tariff in another currency."""
    venue, tariff = route.venue(), route.tariff()
    return {
        "venue": venue["id"],
        "tariff": tariff["id"],
        "schedule": route.schedule(venue["id"], tariff["id"])["id"],
        "table": route.table(
            venue["id"], meters=[{"name": "plays", "counts": "games", "digits": 6, "resets": "never"}]
        )["id"],
        "euro": route.tariff(code="kneipe", currency="EUR")["id"],
    }


def window(**changes: Any) -> dict[str, Any]:
    return {
        "effective_on": "2026-12-01",
        "base": None,
        "weekly": [{"name": "Early", "days": ["mon"], "tariff": None, **changes}],
    }


def recurring(**changes: Any) -> dict[str, Any]:
    event = {"name": "Team night", "starts_on": "2026-12-08", "rrule": "FREQ=WEEKLY;BYDAY=TU", "tariff": None}
    return {"effective_on": "2026-12-01", "base": None, "recurring": [{**event, **changes}]}


def good(ids: dict[str, str]) -> dict[str, dict[str, Any]]:
    """Return a good message for every address that takes one."""
    venue, tariff, schedule, table = ids["venue"], ids["tariff"], ids["schedule"], ids["table"]
    return {
        "/venues": {"name": "Linde", "time_zone": "Europe/Berlin", "currency": "EUR", "day_starts_at": "05:00"},
        f"/venues/{venue}/tables": {"label": "Back", "accepts": ["0.25", "1.00"], "purchase": {"gap_s": 90}},
        f"/tables/{table}/moves": {"venue_id": None, "moved_at": "2026-01-01T12:00:00Z", "meters": {"plays": 310}},
        "/tax-areas": {"code": "MF", "name": "Millbrook Falls", "rates": [{"from_on": "2026-01-01", "divisor": "1.08"}]},
        "/tariffs": {**WEEKDAY, "metered": {"tiers": TIERS}},
        "/tariffs/check": {**WEEKDAY, "metered": {"tiers": TIERS}},
        f"/tariffs/{tariff}/rollout": {"replacement": tariff, "effective_on": "2026-12-01"},
        f"/venues/{venue}/schedules": {**window(tariff=tariff), "dates": [{"name": "Closed", "on": "2027-01-02", "tariff": None}]},
        f"/tables/{table}/schedules": {"effective_on": "2026-12-01", "base": tariff},
        f"/tables/{table}/keyings": {"schedule_id": schedule, "keyed_at": "2026-01-02T12:00:00Z", "by": "Bram"},
        "/quotes": {"scenarios": [{"venue_id": venue, "at": "2026-12-01T21:00", "money": "10.00"}]},
        "/tokens": {"name": "Bram", "role": "collector"},
    }  # fmt: skip


def stored(engine: Engine) -> dict[str, int]:
    """Count the rows of every table of the database."""
    with engine.connect() as connection:
        return {
            name: connection.execute(text(f'SELECT count(*) FROM "{name}"')).scalar_one()
            for name in inspect(engine).get_table_names()
        }


def places(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """List the places of a message at which a plain value stands."""
    if isinstance(value, dict):
        return [place for name, below in value.items() for place in places(below, (*path, name))]
    if isinstance(value, list):
        return [place for i, below in enumerate(value) for place in places(below, (*path, i))]
    return [path]


def put(message: Any, path: tuple[str | int, ...], raw: str) -> bytes:
    """Return a message as JSON with other text at one place."""
    copy = json.loads(json.dumps(message))
    holder = copy
    for name in path[:-1]:
        holder = holder[name]
    holder[path[-1]] = "@here@"
    return json.dumps(copy).replace('"@here@"', raw).encode()


def where(path: tuple[str | int, ...]) -> str:
    return "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in path).removeprefix(".")


MALFORMED: list[tuple[str, bytes, dict[str, str], int]] = [
    ("cut short", b'{"name": "a', JSON, 400),
    ("more than one", b"{} {}", JSON, 400),
    ("a name twice", b'{"name": "a", "name": "b"}', JSON, 400),
    ("a name twice, deep down", b'{"a": [{"b": 1, "b": 2}]}', JSON, 400),
    ("a half surrogate", b'{"name": "\\ud800"}', JSON, 400),
    ("a half surrogate as a name", b'{"\\udfff": 1}', JSON, 400),
    ("bytes that are no UTF-8", b'{"name": "\xff"}', JSON, 400),
    ("UTF-16", '{"name": "a"}'.encode("utf-16"), JSON, 400),
    ("nested 100 deep", b"[" * 100 + b"]" * 100, JSON, 400),
    ("nested 100,000 deep", b'{"a":' * 100_000, JSON, 400),
    ("10 MB", b'{"name": "' + b"a" * 10_000_000 + b'"}', JSON, 413),
    ("another content type", b"name=a", {"Content-Type": "application/x-www-form-urlencoded"}, 400),
    ("no content type", b"{}", {"Content-Type": ""}, 400),
    ("a truncated gzip", gzip.compress(b'{"name": "a"}')[:-5], GZIP, 400),
    ("no gzip", b'{"name": "a"}', GZIP, 400),
    ("a gzip bomb", gzip.compress(b" " * 50_000_000), GZIP, 413),
    ("two gzips", gzip.compress(b"{}") * 2, GZIP, 400),
    ("another coding", b"{}", {**JSON, "Content-Encoding": "br"}, 400),
    ("a gzip of nothing", gzip.compress(b""), GZIP, 422),
    ("nothing", b"", JSON, 422),
    ("null", b"null", JSON, 422),
    ("a list", b"[]", JSON, 422),
    ("a string", b'"venue"', JSON, 422),
    ("a NUL", b'{"name": "a\\u0000b"}', JSON, 422),
    ("a NUL in a name", b'{"na\\u0000me": 1}', JSON, 422),
]


def is_clear(problem: dict[str, Any], status: int) -> bool:
    """Tell whether a problem says what it is and, where it is about a value, where, what was found, what expected."""
    errors = problem["errors"]
    return (
        problem["status"] == status
        and problem["type"].startswith("/problems/")
        and bool(problem["title"] and problem["detail"])
        and all(error["where"] and error["found"] and error["expected"] for error in errors)
        and (bool(errors) or status != 422)
    )


def test_messages_that_cannot_be_read_are_problems_everywhere_and_store_nothing(
    client: TestClient, engine: Engine, ids: dict[str, str]
) -> None:
    before = stored(engine)
    for path in good(ids):
        for name, body, headers, status in MALFORMED:
            answer = client.post(f"/v1{path}", content=body, headers=headers)
            assert answer.status_code == status, (path, name, answer.text[:300])
            assert answer.headers["Content-Type"] == "application/problem+json"
            assert "X-Request-Id" in answer.headers
            assert is_clear(answer.json(), status), (path, name, answer.text[:300])
            assert len(answer.content) < 2000
    assert stored(engine) == before


def test_wrong_values_at_every_place_of_every_message_are_problems_and_store_nothing(
    client: TestClient, engine: Engine, ids: dict[str, str]
) -> None:
    before = stored(engine)
    for path, message in good(ids).items():
        for place in places(message):
            for raw in (*NUMBERS, "null", "{}", "[]", '""', '"\\u0007"', json.dumps("x" * 3000)):
                if allowed(place, raw):
                    continue
                answer = client.post(f"/v1{path}", content=put(message, place, raw), headers=JSON)
                assert answer.status_code in (400, 404, 409, 422), (path, place, raw[:40], answer.text[:300])
                assert is_clear(answer.json(), answer.status_code), (path, place, raw[:40], answer.text[:300])
    assert stored(engine) == before


def allowed(place: tuple[str | int, ...], raw: str) -> bool:
    """Tell where such a value is not wrong: null is closed, or the workshop."""
    return raw == "null" and place[-1] in ("tariff", "base", "venue_id")


def test_a_field_that_does_not_exist_is_refused_in_every_object(
    client: TestClient, engine: Engine, ids: dict[str, str]
) -> None:
    before = stored(engine)
    for path, message in good(ids).items():
        for place in {place[:-1] for place in places(message) if not isinstance(place[-1], int)} - {("meters",)}:
            copy = json.loads(json.dumps(message))
            holder = copy
            for name in place:
                holder = holder[name]
            holder["colour"] = "green"
            answer = client.post(f"/v1{path}", json=copy)
            assert answer.status_code == 422, (path, place)
            assert {
                "where": where((*place, "colour")),
                "found": "a field that does not exist here",
                "expected": "no such field",
            } in answer.json()["errors"]
    assert stored(engine) == before


TABLE: dict[str, Any] = {"label": "Back", "accepts": ["1.00"]}
WRONG: list[tuple[str, str, dict[str, Any], int, str, str]] = [
    # what, address, message (with @venue for the id of the venue, and so on), status, code, where
    ("a zone that does not exist", "/venues", {"name": "a", "time_zone": "Mars/Olympus", "currency": "USD"}, 422, "unknown_time_zone", "time_zone"),
    ("a path as a zone", "/venues", {"name": "a", "time_zone": "../../etc/passwd", "currency": "USD"}, 422, "unknown_time_zone", "time_zone"),
    ("a currency that does not exist", "/venues", {"name": "a", "time_zone": "UTC", "currency": "XYZ"}, 422, "unknown_currency", "currency"),
    ("a tax area that does not exist", "/venues", {"name": "a", "time_zone": "UTC", "currency": "USD", "tax_area": "no"}, 422, "invalid", "tax_area"),
    ("24:00", "/venues", {"name": "a", "time_zone": "UTC", "currency": "USD", "day_starts_at": "24:00"}, 422, "invalid", "day_starts_at"),
    ("a venue that is not there", f"/venues/{ABSENT}/tables", TABLE, 404, "not_found", ""),
    ("an id that is none", "/venues/lantern/tables", TABLE, 422, "invalid", "path.venue_id"),
    ("a coin of nothing", "/venues/@venue/tables", {**TABLE, "accepts": ["0.00"]}, 422, "bad_denomination", "accepts[0]"),
    ("a coin twice", "/venues/@venue/tables", {**TABLE, "accepts": ["1.00", "1"]}, 422, "bad_denomination", "accepts[1]"),
    ("no coins", "/venues/@venue/tables", {**TABLE, "accepts": []}, 422, "invalid", "accepts"),
    ("a coin with three decimals", "/venues/@venue/tables", {**TABLE, "accepts": ["0.255"]}, 422, "bad_money", "accepts[0]"),
    ("coins without a common step", "/venues/@venue/tables", {**TABLE, "accepts": ["2000.03", "2000.17"]}, 422, "denominations_too_complex", "accepts"),
    ("a money meter without a value", "/venues/@venue/tables", {**TABLE, "meters": [{"name": "cash", "counts": "money", "digits": 6, "resets": "never"}]}, 422, "bad_meter", "meters[0].unit_value"),
    ("a price step of 0", "/venues/@venue/tables", {**TABLE, "controller": {"games": {"price_step": "0.00"}}}, 422, "bad_money", "controller.games.price_step"),
    ("a table placed in days to come", "/venues/@venue/tables", {**TABLE, "placed_at": "2099-01-01T00:00:00Z"}, 422, "invalid", "placed_at"),
    ("a move to come", "/tables/@table/moves", {"venue_id": None, "moved_at": "2099-01-01T00:00:00Z"}, 422, "invalid", "moved_at"),
    ("a move before the last", "/tables/@table/moves", {"venue_id": None, "moved_at": "2026-01-01T00:00:00Z"}, 409, "out_of_order", "moved_at"),
    ("a tax rate and a divisor", "/tax-areas", {"code": "a", "name": "a", "rates": [{"from_on": "2026-01-01", "rate_percent": "8", "divisor": "1.08"}]}, 422, "invalid", "rates[0]"),
    ("neither of them", "/tax-areas", {"code": "a", "name": "a", "rates": [{"from_on": "2026-01-01"}]}, 422, "invalid", "rates[0]"),
    ("a divisor of 0", "/tax-areas", {"code": "a", "name": "a", "rates": [{"from_on": "2026-01-01", "divisor": "0"}]}, 422, "invalid", "rates[0].divisor"),
    ("a ladder that falls", "/tariffs", {**WEEKDAY, "games": {"prices": [*RUNGS, {"price": "7.00", "units": 7}]}}, 422, "price_break_worse", "games.prices[2].units"),
    ("rungs out of order", "/tariffs", {**WEEKDAY, "games": {"prices": RUNGS[::-1]}}, 422, "prices_not_rising", "games.prices[1].price"),
    ("a rung for nothing", "/tariffs", {**WEEKDAY, "games": {"prices": [{"price": "0.00", "units": 1}]}}, 422, "bad_price", "games.prices[0].price"),
    ("51 rungs", "/tariffs", {**WEEKDAY, "games": {"prices": RUNGS * 26}}, 422, "invalid", "games.prices"),
    ("cents of a yen", "/tariffs", {**WEEKDAY, "currency": "JPY"}, 422, "bad_money", "games.prices[0].price"),
    ("tiers out of order", "/tariffs", {"code": "a", "name": "a", "currency": "USD", "metered": {"tiers": [{**TIERS[0], "from_minutes": 60}, TIERS[0]]}}, 422, "tiers_not_rising", "metered.tiers[0].from_minutes"),
    ("a minimum above the maximum", "/tariffs", {"code": "a", "name": "a", "currency": "USD", "metered": {"tiers": TIERS, "minimum": "9.00", "maximum": {"amount": "8.00"}}}, 422, "minimum_above_maximum", "metered.minimum"),
    ("a tier of broken steps", "/tariffs", {"code": "a", "name": "a", "currency": "USD", "metered": {"tiers": [TIERS[0], {**TIERS[0], "from_minutes": 90}]}}, 422, "tier_not_whole_steps", "metered.tiers[0].per_minutes"),
    ("free, with prices", "/tariffs", {**WEEKDAY, "free": True}, 422, "free_with_prices", "games"),
    ("nothing sold", "/tariffs", {"code": "a", "name": "a", "currency": "USD"}, 422, "tariff_sells_nothing", "body"),
    ("not free", "/tariffs", {"code": "a", "name": "a", "currency": "USD", "free": False}, 422, "invalid", "free"),
    ("a tariff that is not there", "/venues/@venue/schedules", {"effective_on": "2026-12-01", "base": ABSENT}, 422, "invalid", "base"),
    ("another currency than the venue's", "/venues/@venue/schedules", {"effective_on": "2026-12-01", "base": "@euro"}, 409, "currency_differs", "base"),
    ("another currency in a window", "/venues/@venue/schedules", window(tariff="@euro"), 409, "currency_differs", "weekly[0].tariff"),
    ("a window past the trading day", "/venues/@venue/schedules", {**window(), "weekly": [{"name": "a", "days": ["fri"], "from": "20:00", "to": "07:00", "tariff": None}]}, 422, "window_past_day_end", "weekly[0].to"),
    ("an empty window", "/venues/@venue/schedules", {**window(), "weekly": [{"name": "a", "days": ["fri"], "from": "20:00", "to": "20:00", "tariff": None}]}, 422, "empty_window", "weekly[0].to"),
    ("no days", "/venues/@venue/schedules", window(days=[]), 422, "invalid", "weekly[0].days"),
    ("a day twice", "/venues/@venue/schedules", window(days=["mon", "mon"]), 422, "bad_days", "weekly[0].days"),
    ("hourly", "/venues/@venue/schedules", recurring(rrule="FREQ=HOURLY"), 422, "bad_recurrence", "recurring[0].rrule"),
    ("a first date that does not fit", "/venues/@venue/schedules", recurring(starts_on="2026-12-09"), 422, "bad_recurrence", "recurring[0].starts_on"),
    ("a date that does not exist", "/venues/@venue/schedules", {"effective_on": "2026-02-30", "base": None}, 422, "invalid", "effective_on"),
    ("a window without a tariff said", "/venues/@venue/schedules", {"effective_on": "2026-12-01", "base": None, "dates": [{"name": "a", "on": "2026-12-01"}]}, 422, "invalid", "dates[0].tariff"),
    ("follow_venue with a base", "/tables/@table/schedules", {"effective_on": "2026-12-01", "follow_venue": True, "base": None}, 422, "invalid", "base"),
    ("neither", "/tables/@table/schedules", {"effective_on": "2026-12-01"}, 422, "invalid", "base"),
    ("a keying to come", "/tables/@table/keyings", {"schedule_id": "@schedule", "keyed_at": "2099-01-01T00:00:00Z", "by": "Bram"}, 422, "invalid", "keyed_at"),
    ("a schedule that is not there", "/tables/@table/keyings", {"schedule_id": ABSENT, "keyed_at": "2026-01-02T00:00:00Z", "by": "Bram"}, 422, "invalid", "schedule_id"),
    ("an instant without an offset", "/tables/@table/keyings", {"schedule_id": "@schedule", "keyed_at": "2026-01-02T00:00:00", "by": "Bram"}, 422, "invalid", "keyed_at"),
    ("itself as a replacement", "/tariffs/@tariff/rollout", {"replacement": "@tariff", "effective_on": "2026-12-01"}, 422, "invalid", "replacement"),
    ("a replacement that is not there", "/tariffs/@tariff/rollout", {"replacement": ABSENT, "effective_on": "2026-12-01"}, 404, "not_found", ""),
    ("a replacement in another currency", "/tariffs/@tariff/rollout", {"replacement": "@euro", "effective_on": "2026-12-01"}, 409, "currency_differs", "replacement"),
    ("no venue to roll out at", "/tariffs/@tariff/rollout", {"replacement": "@euro", "effective_on": "2026-12-01", "venue_ids": []}, 422, "invalid", "venue_ids"),
    ("no scenarios", "/quotes", {"scenarios": []}, 422, "invalid", "scenarios"),
    ("1,001 scenarios", "/quotes", {"scenarios": [{"venue_id": "@venue", "money": "1.00"}] * 1001}, 422, "invalid", "scenarios"),
]  # fmt: skip


def test_wrong_values_are_named_with_code_and_place_and_store_nothing(
    client: TestClient, engine: Engine, ids: dict[str, str]
) -> None:
    before = stored(engine)
    unlike = []
    for what, path, message, status, code, place in WRONG:
        path, body = (re.sub("@([a-z]+)", lambda name: ids[name[1]], text) for text in (path, json.dumps(message)))
        answer = client.post(f"/v1{path}", content=body, headers=JSON)
        problem = answer.json()
        found = (answer.status_code, problem.get("type"), [error["where"] for error in problem.get("errors", [])][:1])
        if found != (status, f"/problems/{code}", [place] if place else []):
            unlike.append((what, found))
        elif not is_clear(problem, status):
            unlike.append((what, answer.text))
    assert not unlike, "\n".join(map(str, unlike))
    assert stored(engine) == before


def test_amounts_that_are_none_are_refused_wherever_money_belongs(
    client: TestClient, engine: Engine, ids: dict[str, str]
) -> None:
    before = stored(engine)
    money = {"price", "money"}
    for path, message in good(ids).items():
        for place in places(message):
            if place[-1] in money or "accepts" in place:
                for amount in AMOUNTS:
                    answer = client.post(f"/v1{path}", content=put(message, place, json.dumps(amount)), headers=JSON)
                    problem = answer.json()
                    if path == "/quotes" and answer.status_code == 200:
                        problem = problem["results"][0]["problem"]
                    assert problem["status"] == 422, (path, place, amount)
                    assert problem["errors"][0]["where"].endswith(
                        str(place[-1]) if place[-1] in money else where(place)
                    )
    assert stored(engine) == before


def test_refusals_of_many_values_name_them_all_at_once(client: TestClient) -> None:
    venue = {"name": "", "time_zone": 7, "currency": "usd", "colour": "green"}
    answer = client.post("/v1/venues", json=venue).json()
    assert sorted(error["where"] for error in answer["errors"]) == ["colour", "currency", "name", "time_zone"]
    answer = client.post("/v1/venues", json={"name": "a", "time_zone": "Mars/Olympus", "currency": "XYZ"}).json()
    assert [error["where"] for error in answer["errors"]] == ["time_zone", "currency"]
    assert [error["found"] for error in answer["errors"]] == ["'Mars/Olympus'", "'XYZ'"]


@pytest.mark.parametrize("blank", ["  ", "\t", "\u3000\u00a0"])
def test_a_name_or_a_reason_of_spaces_alone_is_refused(client: TestClient, ids: dict[str, str], blank: str) -> None:
    venue = {"name": "Linde", "time_zone": "Europe/Berlin", "currency": "EUR"}
    table = {"label": "Back", "accepts": ["1.00"]}
    reading = "5d6a1c0e-0000-4000-8000-000000000001"
    for address, body, where in (
        ("/venues", venue, "name"),
        (f"/venues/{ids['venue']}/tables", table, "label"),
        (f"/readings/{reading}/void", {}, "reason"),
        (f"/ledger/entries/{reading}/reversal", {"on": "2026-11-24"}, "reason"),
        (f"/collections/{reading}/reversal", {}, "reason"),
    ):
        refused = client.post(f"/v1{address}", json={**body, where: blank})
        assert refused.status_code == 422, address
        (error,) = refused.json()["errors"]
        assert (error["where"], error["expected"]) == (where, "text without control characters, of more than spaces")
    assert client.post("/v1/venues", json={**venue, "name": " Zur\tLinde "}).status_code == 201


@pytest.mark.parametrize("empty", [{"cash_box": {}}, {"controller": {}}, {"controller": {"games": {}}}])
def test_a_part_of_a_table_of_which_nothing_is_stated_is_stored(
    client: TestClient, ids: dict[str, str], empty: dict[str, Any]
) -> None:
    made = client.post(f"/v1/venues/{ids['venue']}/tables", json={"label": "Back", "accepts": ["1.00"], **empty})
    assert made.status_code == 201, made.text
    table = f"/v1/tables/{made.json()['id']}"
    assert client.get(table).json() == made.json()
    tag = client.get(f"/v1/tables/{ids['table']}").headers["ETag"]
    changed = client.patch(f"/v1/tables/{ids['table']}", json=empty, headers={"If-Match": tag})
    assert changed.status_code == 200, changed.text
    assert client.get("/v1/tables").status_code == client.get(f"{table}/health").status_code == 200
