"""Order of recording rests on a counter, not on a clock that may go back between any two steps."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from baizebook.store import clock

from tests.cash.conftest import Till

STEPS = 6
FIRST_MONEY = [{"name": "Cloth", "amount": "60.00", "per": "once", "starts_on": "2026-10-01"}]


class Clock:
    """The wall clock, which a restarted service reads after somebody has set it back."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, till: Till) -> None:
        self.till, self.now = till, datetime(2026, 11, 25, 17, tzinfo=UTC)
        self.monkeypatch = monkeypatch
        till.client.app.state.clock = lambda: self.now  # type: ignore[attr-defined]
        monkeypatch.setattr(clock.time, "time_ns", lambda: int(self.now.timestamp() * 1e9))
        self.go(timedelta(0))

    def go(self, by: timedelta) -> None:
        self.now += by
        self.monkeypatch.setattr(clock, "_latest", 0)


def venue_after(till: Till, watch: Clock, back: timedelta, before_step: int) -> dict[str, Any]:
    """Collect thrice around a reversal and its correction; return what the venue's books say then."""

    def step(number: int) -> None:
        watch.go(-back if number == before_step else timedelta(seconds=1))

    till.agree(first_money=FIRST_MONEY, loan_repay_percent="100")
    loan = {"kind": "loan_advance", "amount": "100.00", "venue_id": till.venue, "on": "2026-10-02"}
    till.route.post("/ledger/entries", loan)
    step(0)
    till.collect("2026-10-10", 10)
    step(1)
    wrong = till.collect("2026-10-11", 100)
    step(2)
    till.reverse(wrong)
    step(3)
    till.collect("2026-10-12", 120)
    step(4)
    corrected = till.collect("2026-10-11", 100)
    assert corrected["corrects"] == wrong["id"]
    step(5)
    last = till.collect("2026-10-13", 300)
    assert till.client.get("/v1/ledger/verify").json()["ok"]
    listed: list[str] = []
    after = ""
    while after is not None:
        page = till.client.get(f"/v1/collections?limit=2{after and f'&after={after}'}").json()
        listed += [item["id"] for item in page["items"]]
        after = page["next"]
    return {
        "balances": till.balances(),
        "last": [(line["code"], line["amount"]) for line in last["settlement"]["lines"]],
        "listed": listed,
    }


@pytest.mark.parametrize("before_step", range(STEPS))
def test_the_books_are_the_same_whenever_the_clock_is_set_back(
    till: Till, monkeypatch: pytest.MonkeyPatch, before_step: int
) -> None:
    back = timedelta(hours=1) if before_step % 2 else timedelta(seconds=20)
    found = venue_after(till, Clock(monkeypatch, till), back, before_step)
    # 60.00 of first money once, the loan of 100.00 repaid once, out of 530.00 in all.
    assert found["balances"]["first_money"] == "-60.00"
    assert "venue_loans" not in found["balances"]
    assert found["balances"]["venue_share"] == "235.00"
    assert found["balances"]["play_takings"] == "-470.00"
    assert found["listed"] == [str(UUID(int=number)) for number in range(1, 6)]


def test_agreements_are_listed_in_the_order_of_their_versions(till: Till, monkeypatch: pytest.MonkeyPatch) -> None:
    watch = Clock(monkeypatch, till)
    made = []
    for _ in range(3):
        watch.go(-timedelta(hours=1))
        made.append(till.agree()["id"])
    path, listed, after = f"/v1/venues/{till.venue}/agreements", [], ""
    while after is not None:
        page = till.client.get(f"{path}?limit=1{after and f'&after={after}'}").json()
        listed += [item["id"] for item in page["items"]]
        after = page["next"]
    assert listed == made
