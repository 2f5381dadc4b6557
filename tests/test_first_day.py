"""An owner's first day, from an empty database to a venue's statement, over HTTP alone.

What an owner has on paper goes in first: venues, tables with the day they were placed, prices, agreements, and the meters
in the notebook. Then prices change, a table is keyed, a collector comes, and the venue reads its statement.
"""

from datetime import UTC, datetime
from typing import Any

import pytest
from fastapi.testclient import TestClient

METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 6, "resets": "never"},
]
TABLE = {
    "accepts": ["0.25", "1.00", "5.00"],
    "placed_at": "2025-03-04T15:00:00-05:00",
    "power": {"kind": "battery", "chemistry": "agm", "nominal_volts": 12},
    "meters": METERS,
}
OLD_PRICES = {"prices": [{"price": "0.75", "units": 1}, {"price": "3.50", "units": 5}]}
NEW_PRICES = {"prices": [{"price": "1.00", "units": 1}, {"price": "4.50", "units": 5}]}
ID = "5d6a1c0e-0000-4000-8000-{:012d}"


class Owner:
    """Asks as an owner does; everything asked must succeed."""

    def __init__(self, client: TestClient, headers: dict[str, str] | None = None) -> None:
        self.client, self.headers = client, headers or {}

    def ask(self, method: str, path: str, body: Any = None, **query: Any) -> Any:
        answer = self.client.request(method, f"/v1{path}", json=body, params=query, headers=self.headers)
        assert answer.is_success, f"{method} {path}: {answer.text}"
        return answer.json()

    def get(self, path: str, **query: Any) -> Any:
        return self.ask("GET", path, **query)

    def post(self, path: str, body: Any, **query: Any) -> Any:
        return self.ask("POST", path, body, **query)

    def give_token(self, name: str, role: str, **bound: str) -> "Owner":
        made = self.post("/tokens", {"name": name, "role": role, **bound})
        return Owner(self.client, {"Authorization": f"Bearer {made['token']}"})


@pytest.fixture
def owner(client: TestClient) -> Owner:
    return Owner(client)


def at(owner: Owner, instant: str) -> None:
    """Let it be this instant."""
    now = datetime.fromisoformat(instant).astimezone(UTC)
    owner.client.app.state.clock = lambda: now  # type: ignore[attr-defined]


def test_from_an_empty_database_to_a_statement(owner: Owner) -> None:
    at(owner, "2026-11-02T10:00:00-05:00")
    assert owner.get("/venues")["items"] == []
    assert owner.get("/worklist")["items"] == []

    # Venues and tables, as they have stood since last year.
    venue = {"time_zone": "America/New_York", "currency": "USD", "contact": "Odile, after 16:00"}
    heron = owner.post("/venues", {**venue, "name": "The Tin Heron"})["id"]
    quarry = owner.post("/venues", {**venue, "name": "Quarry Bar"})["id"]
    front = owner.post(f"/venues/{heron}/tables", {**TABLE, "label": "Front"})["id"]
    owner.post(f"/venues/{quarry}/tables", {**TABLE, "label": "Cellar"})

    # Prices, and since when they have been listed and keyed.
    old = owner.post("/tariffs", {"code": "base", "name": "Base", "currency": "USD", "games": OLD_PRICES})
    league = {
        "code": "league",
        "name": "League night",
        "currency": "USD",
        "games": {"prices": [{"price": "0.50", "units": 1}]},
    }
    league_id = owner.post("/tariffs", league)["id"]
    weekly = [{"name": "League night", "days": ["tue"], "from": "19:00", "to": "23:00", "tariff": league_id}]
    schedules = {}
    for place in (heron, quarry):
        schedule = {"effective_on": "2025-03-04", "base": old["id"], "weekly": weekly}
        preview = owner.post(f"/venues/{place}/schedules", schedule, preview=True)
        schedules[place] = owner.post(f"/venues/{place}/schedules", schedule)["id"]
        assert preview["effective_on"] == "2025-03-04"
    owner.post(
        f"/tables/{front}/keyings",
        {"schedule_id": schedules[heron], "keyed_at": "2025-03-04T16:00:00-05:00", "by": "Ana"},
    )
    asked = {"table_id": front, "day": "tue", "money": "5.00"}
    assert owner.get("/quotes", **asked, time="6pm")["offers"][0]["units"] == 7
    assert owner.get("/quotes", **asked, time="8pm")["offers"][0]["units"] == 10

    # Agreements, and people with tokens of their own.
    for place in (heron, quarry):
        owner.post(f"/venues/{place}/agreements", {"effective_on": "2025-03-04", "venue_percent": "40"})
    collector = owner.give_token("Bram's phone", "collector")
    odile = owner.give_token("The Tin Heron", "venue", venue_id=heron)
    assert odile.get("/quotes", venue_id=heron, money="0.75")["offers"][0]["units"] == 1

    # The notebook: meters and volts as they were written down, oldest last.
    notebook = [
        ("2026-10-26", 41_860, 9_120, "12.71"),
        ("2026-10-12", 41_240, 8_960, "12.74"),
        ("2026-09-28", 40_600, 8_800, "12.78"),
    ]
    readings = [
        {
            "id": ID.format(number),
            "table_id": front,
            "taken_at": f"{day}T17:00:00-04:00",
            "meters": {"cash": cash, "plays": plays},
            "supply": {"volts": volts},
        }
        for number, (day, cash, plays, volts) in enumerate(notebook)
    ]
    sent = owner.post("/readings", {"readings": readings})
    assert (sent["recorded"], sent["refused"]) == (3, 0), sent
    assert [result["flags"] for result in sent["results"]] == [[], [], []]
    assert owner.post("/readings", {"readings": readings})["duplicate"] == 3
    assert owner.get(f"/tables/{front}/health")["battery"]["volts"] == "12.71"

    # A price change for both venues at once, previewed first.
    new = owner.post("/tariffs", {"code": "base", "name": "Base", "currency": "USD", "games": NEW_PRICES})
    assert (new["version"], new["advice"]) == (2, [])
    rollout = {"replacement": new["id"], "effective_on": "2026-11-09"}
    owner.post(f"/tariffs/{old['id']}/rollout", rollout, preview=True)
    owner.post(f"/tariffs/{old['id']}/rollout", rollout)

    # The day comes: the table still sells the old prices, and the worklist says so until it is keyed.
    at(owner, "2026-11-09T15:00:00-05:00")
    todo = [(work["table"], work["code"]) for work in collector.get("/worklist")["items"]]
    assert ("Front", "not_keyed") in todo
    sells = owner.get("/quotes", table_id=front, money="4.50")
    assert (sells["tariff"]["version"], sells["cautions"]) == (1, ["not_keyed_yet"])
    sheet = collector.get(f"/tables/{front}/settings-sheet")
    keying = {"schedule_id": sheet["schedule_id"], "keyed_at": "2026-11-09T14:55:00-05:00", "by": "Bram"}
    collector.post(f"/tables/{front}/keyings", keying)
    todo = [(work["table"], work["code"]) for work in collector.get("/worklist")["items"]]
    assert ("Front", "not_keyed") not in todo
    sells = owner.get("/quotes", table_id=front, money="4.50")
    assert (sells["tariff"]["version"], sells["cautions"], sells["offers"][0]["units"]) == (2, [], 5)

    # The first collection: 310 counts of 0.25 since the notebook's last line are 77.50.
    at(owner, "2026-11-10T16:00:00-05:00")
    emptied = {"at": "2026-10-26T17:00:00-04:00", "meters": {"cash": 41_860, "plays": 9_120}}
    box = {
        "table_id": front,
        "emptied_before": emptied,
        "meters": {"cash": 42_170, "plays": 9_200},
        "counted": {"0.25": 142, "1.00": 22, "5.00": 4},
    }
    collection = {
        "id": ID.format(100),
        "venue_id": heron,
        "collected_at": "2026-11-10T15:40:00-05:00",
        "collector": "Bram",
        "bag": "TH-001",
        "tables": [box],
    }
    preview = collector.post("/collections/preview", collection)
    recorded = collector.post("/collections", collection)
    assert (recorded["status"], recorded["counted"]) == ("settled", "77.50")
    assert (recorded["expected"], recorded["difference"]) == ({"least": "77.50", "most": "77.50"}, "0.00")
    assert preview["settlement"] == recorded["settlement"]
    assert (recorded["settlement"]["venue_share"], recorded["settlement"]["operator_share"]) == ("31.00", "46.50")

    # The venue's statement, and the books.
    statement = odile.get(f"/venues/{heron}/statements", month="2026-11")
    assert (statement["totals"]["counted"], statement["totals"]["venue_share"]) == ("77.50", "31.00")
    deposit = {"kind": "deposit", "amount": "46.50", "on": "2026-11-10", "currency": "USD"}
    owner.post("/ledger/entries", deposit)
    assert owner.get("/ledger/verify")["ok"] is True
    balances = {line["account"]: line["balance"] for line in owner.get("/ledger/accounts")["items"]}
    assert balances["bank"] == "46.50"
