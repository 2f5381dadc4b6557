"""Cash in hand through the service: equal to the ledger whatever happened, each person's own, and work when late (O4)."""

import csv
import io
import random
from decimal import Decimal
from typing import Any

import pytest
from baizebook.store.db import writing
from sqlalchemy import Engine, text

from tests.cash.conftest import Till, till
from tests.conftest import NOON

__all__ = ["till"]


def cash(till: Till, **headers: str) -> dict[str, Any]:
    answer = till.client.get("/v1/reports/cash-in-hand", headers=headers or None)
    assert answer.status_code == 200, answer.text
    return answer.json()  # type: ignore[no-any-return]


def deposit(till: Till, amount: str, *bags: str, on: str = "2026-11-20", **more: Any) -> dict[str, Any]:
    named = {"bags": list(bags)} if bags else {}
    return till.route.post(
        "/ledger/entries", {"kind": "deposit", "amount": amount, "on": on, "currency": "USD", **named, **more}
    )


def on_account(till: Till) -> str:
    return till.balances().get("cash_in_bags", "0.00")


def test_a_bag_is_in_hand_from_its_collection_to_the_deposit_that_names_it(till: Till) -> None:
    till.agree()
    collection = till.collect("2026-11-10", 40, bag="LA-1")
    till.collect("2026-11-17", 20, bag="LA-2", collector="Ben")
    found = cash(till)
    assert found["totals"] == [{"currency": "USD", "in_bags": "30.00", "unassigned": "0.00", "total": "30.00"}]
    assert found["bags"][0] == {
        "person": "Ana",
        "bag": "LA-1",
        "currency": "USD",
        "filled": "20.00",
        "banked": "0.00",
        "in_hand": "20.00",
        "first_collected_at": "2026-11-10T16:00:00Z",
        "bank_by": "2026-11-17",
        "late": True,
        "collections": [collection["id"]],
        "venue_ids": [till.venue],
    }
    assert found["persons"] == [
        {"person": "Ana", "currency": "USD", "in_hand": "20.00"},
        {"person": "Ben", "currency": "USD", "in_hand": "10.00"},
    ]
    posted = deposit(till, "20.00", "LA-1")
    assert (posted["bags"], posted["cautions"]) == (["LA-1"], [])
    deposit(till, "4.00", "LA-2")
    (bag,) = cash(till)["bags"]
    assert (bag["bag"], bag["filled"], bag["banked"], bag["in_hand"], bag["late"]) == (
        "LA-2",
        "10.00",
        "4.00",
        "6.00",
        True,
    )
    deposit(till, "6.00")
    found = cash(till)
    assert (found["totals"][0]["in_bags"], found["totals"][0]["unassigned"]) == ("6.00", "-6.00")
    assert found["totals"][0]["total"] == "0.00"
    lines = list(csv.DictReader(io.StringIO(till.client.get("/v1/reports/cash-in-hand?format=csv").text)))
    assert [(line["line"], line["in_hand"]) for line in lines] == [("bag", "6.00"), ("unassigned", "-6.00")]


def test_cash_in_no_bag_is_banked_by_the_collections_id(till: Till) -> None:
    till.agree()
    collection = till.collect("2026-11-10", 40)
    till.collect("2026-11-11", 10, bag="LA-1")
    deposit(till, "24.00", collection["id"], "LA-1")
    found = cash(till)
    assert [(bag["bag"], bag["in_hand"]) for bag in found["bags"]] == [("LA-1", "1.00")]
    assert (found["unassigned"], found["totals"][0]["total"]) == ([], "1.00")
    work = till.client.get("/v1/worklist").json()["items"]
    assert [item["code"] for item in work if item["code"] == "bag_not_banked"] == ["bag_not_banked"]


def test_a_collector_sees_their_own_cash_alone(till: Till) -> None:
    till.agree()
    till.collect("2026-11-10", 40, bag="LA-1")
    till.collect("2026-11-17", 20, bag="LA-2", collector="Ben")
    deposit(till, "5.00")
    found = cash(till, **till.route.token("collector", person="Ben"))
    assert [bag["bag"] for bag in found["bags"]] == ["LA-2"]
    assert found["totals"] == [{"currency": "USD", "in_bags": "10.00", "unassigned": "0.00", "total": "10.00"}]
    assert found["unassigned"] == []
    assert "Ana" not in str(found)


def test_a_collection_without_an_agreement_is_in_hand_but_not_in_the_books(till: Till) -> None:
    till.collect("2026-11-10", 40, bag="LA-1")
    found = cash(till)
    assert (found["totals"], found["bags"]) == ([], [])
    assert [(one["bag"], one["counted"]) for one in found["not_in_the_books"]] == [("LA-1", "40.00")]
    assert cash(till, **till.route.token("collector", person="Ben"))["not_in_the_books"] == []


@pytest.mark.parametrize("seed", range(2))
def test_totals_are_the_account_after_any_history(till: Till, seed: int) -> None:
    chance = random.Random(seed)
    till.agree()
    bags = ["1", "2", "3", ""]
    made: list[dict[str, Any]] = []
    for _ in range(14):
        what = chance.choice(["collect", "collect", "late", "deposit", "deposit", "unnamed", "reverse", "take back"])
        day = f"2026-11-{chance.randint(1, 24):02d}"
        if what in ("collect", "late"):
            named = {"bag": bag} if (bag := chance.choice(bags)) else {}
            made.append(till.collect(day, chance.randint(0, 60), collector=chance.choice(["Ana", "Ben"]), **named))
        elif what == "deposit":
            deposit(till, f"{chance.randint(1, 50)}.00", *chance.sample(bags[:3], chance.randint(1, 3)), on=day)
        elif what == "unnamed":
            deposit(till, f"{chance.randint(1, 50)}.00", on=day)
        elif what == "reverse" and made:
            till.reverse(made.pop(chance.randrange(len(made))))
        elif what == "take back":
            entry = deposit(till, "3.00", "1", on=day)
            till.route.post(f"/ledger/entries/{entry['id']}/reversal", {"reason": "Booked twice.", "on": day})
    found = cash(till)
    total = {one["currency"]: one["total"] for one in found["totals"]}
    assert total.get("USD", "0.00") == on_account(till)
    parts = [one["in_hand"] for one in found["bags"]] + [one["amount"] for one in found["unassigned"]]
    assert sum(map(Decimal, parts)) == Decimal(on_account(till))


@pytest.mark.parametrize(
    "entry",
    [
        {"kind": "tax_payment", "bags": ["LA-1"]},
        {"kind": "opening", "account": "cash_in_bags", "bags": ["LA-1"]},
        {"kind": "deposit", "bags": ["LA-1", "LA-1"]},
        {"kind": "deposit", "bags": []},
        {"kind": "deposit", "bags": [""]},
    ],
)
def test_bags_where_none_belong_or_named_twice_are_refused(till: Till, entry: dict[str, Any]) -> None:
    body = {"amount": "5.00", "on": "2026-11-20", "currency": "USD", **entry}
    status, code, places = till.refused(body, "/ledger/entries")
    assert (status, code) == (422, "invalid")
    assert places[0].startswith("bags")


def test_a_bag_not_banked_in_time_is_work_until_a_deposit_names_it(till: Till) -> None:
    till.agree()
    collection = till.collect("2026-11-10", 40, bag="LA-1")
    till.collect("2026-11-20", 40, bag="LA-2")

    def late() -> list[dict[str, Any]]:
        items = till.client.get("/v1/worklist").json()["items"]
        return [item for item in items if item["code"] == "bag_not_banked"]

    (item,) = late()
    assert (item["due_at"], item["refers_to"]) == ("2026-11-17T16:00:00Z", collection["id"])
    assert item["reason"] == (
        "Bag LA-1, collected by Ana on 10 Nov 2026, is not banked. Bank it, and name the bag in the deposit."
    )
    assert item["closes_when"] == "A deposit that names the bag."
    till.client.put("/v1/settings", json={"cash": {"bank_within_days": 3}})
    assert len(late()) == 2
    till.client.put("/v1/settings", json={})
    entry = deposit(till, "12.00", "LA-1")
    (partly,) = late()
    assert (partly["id"], "is not banked, or not all of it." in partly["reason"]) == (item["id"], True)
    till.route.post(f"/ledger/entries/{entry['id']}/reversal", {"reason": "Wrong.", "on": "2026-11-21"})
    deposit(till, "20.00", "LA-1")
    assert late() == []
    assert cash(till)["bank_within_days"] == 7
    assert NOON.date().isoformat() == "2026-11-25"


def test_bags_are_under_the_seal_of_their_entry(engine: Engine, till: Till) -> None:
    till.agree()
    till.collect("2026-11-10", 40, bag="LÄ-1")
    deposit(till, "20.00", "LÄ-1")
    assert till.client.get("/v1/ledger/verify").json()["ok"] is True
    with writing(engine) as session:
        if engine.dialect.name == "sqlite":
            session.execute(text("DROP TRIGGER ledger_entry_no_update"))
        else:
            session.execute(text("ALTER TABLE ledger_entry DISABLE TRIGGER USER"))
        session.execute(text("UPDATE ledger_entry SET bags = replace(bags, '-1', '-2') WHERE bags IS NOT NULL"))
    bad = till.client.get("/v1/ledger/verify").json()["first_bad"]
    assert (bad["number"], bad["why"]) == ("2", "its content does not give its hash")
