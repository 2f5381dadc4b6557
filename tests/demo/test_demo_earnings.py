"""The demo's earnings agree with its statements and its books to the cent, its change of prices is judged, and two lists of
prices are compared in sentences that can be read aloud."""

from collections import defaultdict
from typing import Any

from baizebook.web.examples import DEMO_IDS
from fastapi.testclient import TestClient

MONTHS = [f"2026-{month:02}" for month in range(1, 12)]


def cents(text: str) -> int:
    return int(text.replace(".", ""))


def get(client: TestClient, path: str) -> Any:
    response = client.get(f"/v1{path}")
    assert response.status_code == 200, response.text
    return response.json()


def test_the_demo_adds_up_and_is_judged(demo: TestClient) -> None:
    every = get(demo, "/reports/earnings?by=venue,month&from=2026-01-01&to=2026-12-01")
    by_venue: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    collections: dict[str, set[str]] = defaultdict(set)
    for row in every["rows"]:
        for name in ("gross", "tax", "venue_share", "operator_share"):
            by_venue[row["venue_id"]][name] += cents(row[name])
        collections[row["venue_id"]] |= set(row["collection_ids"])
    assert len(by_venue) >= 4
    for venue_id, sums in by_venue.items():
        statements = [get(demo, f"/venues/{venue_id}/statements?month={month}") for month in MONTHS]
        settled = [line for statement in statements for line in statement["lines"]]
        figures = [statement["totals"] for statement in statements]
        assert sums["venue_share"] == sum(cents(one["venue_share"]) for one in figures), venue_id
        assert {line["collection_id"] for line in settled if line.get("collection_id")} <= collections[venue_id]
    takings: dict[str, int] = defaultdict(int)
    for account in get(demo, "/ledger/accounts")["items"]:
        if account["account"] in ("play_takings", "first_money", "venue_share") and account["balance"]:
            takings[account["currency"]] -= cents(account["balance"])
    earned: dict[str, int] = defaultdict(int)
    for row in every["rows"]:
        earned[row["currency"]] += cents(row["operator_share"]) - cents(row["unsettled"])
    assert {total["currency"]: cents(total["gross"]) for total in every["totals"]} == {
        currency: sum(cents(row["gross"]) for row in every["rows"] if row["currency"] == currency)
        for currency in ("EUR", "USD")
    }
    assert earned == takings

    judged = get(demo, f"/reports/price-change?tariff_id={DEMO_IDS['tariff weekday, dearer']}")
    assert judged["verdict"] == "cannot_tell"
    assert judged["sentence"].startswith("Cannot tell whether the change paid: it takes at least 5 tables that changed")

    compared = demo.post(
        "/v1/reports/what-if",
        json={
            "venue_id": str(DEMO_IDS["venue lantern"]),
            "from": "2026-09-01",
            "to": "2026-11-01",
            "current": {"tariff_id": str(DEMO_IDS["tariff weekday"])},
            "other": {"tariff_id": str(DEMO_IDS["tariff weekday, dearer"])},
        },
    ).json()
    assert compared["sentence"] == (
        "The 3355.75 USD put in would have bought 3976 games instead of 4864: "
        "the other prices bring in more unless more than 18.3 % of play is lost."
    )


def test_meters_agree_with_the_prices_but_at_the_table_whose_games_meter_misses_some(demo: TestClient) -> None:
    rows = get(demo, "/reports/play?from=2026-08-01&to=2026-11-26")["rows"]
    why = {row["table"]: {one["why"] for one in row["games"]["prices_unknown"]} for row in rows if row["games"]}
    assert {table for table, whys in why.items() if "contradiction" in whys} == {"Back room"}
    assert why["Window side"] == why["By the jukebox"] == set()
