"""The tables that earn most and least a week, and why it may be so."""

from fractions import Fraction

from baizebook.earnings.best_and_worst import LikelyReasons, rankings, reasons
from baizebook.earnings.earned_totals import Sum
from fastapi.testclient import TestClient

from tests.cash.conftest import Till

TABLES = {("USD", f"t{n}", "v"): Sum(gross=100 * n, refunds=n, table_days=14, games=n) for n in range(1, 6)}


def test_half_of_few_tables_are_the_best_and_the_very_worst_comes_first() -> None:
    (found,) = rankings(TABLES, count=10)
    assert [one.table_id for one in found.best] == ["t5", "t4", "t3"]
    assert [one.table_id for one in found.worst] == ["t1", "t2"]
    assert (found.tables, found.middle, found.worst[0].place) == (5, Fraction(297, 2), 5)
    (one,) = rankings(TABLES, count=1)
    assert [(one.best[0].table_id, one.worst[0].table_id)] == [("t5", "t1")]


def test_each_currency_has_its_order_and_less_than_a_week_has_no_place() -> None:
    sums = {
        **TABLES,
        ("EUR", "t9", "w"): Sum(gross=1, table_days=7),
        ("USD", "t8", "v"): Sum(gross=9_000, table_days=6),
    }
    assert [(one.currency, one.tables, len(one.worst)) for one in rankings(sums, count=3)] == [
        ("EUR", 1, 0),
        ("USD", 5, 2),
    ]


def test_reasons_are_facts_that_differ_from_the_middle_table() -> None:
    worst = rankings(TABLES, count=2)[0].worst[0]
    usual = LikelyReasons(first_price=100, hours_sold=Fraction(168), days_out_of_order=Fraction(0))
    odd = LikelyReasons(first_price=150, hours_sold=Fraction(60), days_out_of_order=Fraction(13, 4))
    assert reasons(worst, odd, [odd, usual, usual]) == [
        "Out of order for 3.3 days.",
        "First price 1.50; at the middle table 1.00.",
        "Sells 60 hours a week; the middle table 168.",
        "A game brought 0.99.",
    ]
    assert len(reasons(worst, usual, [usual])) == 1
    for days, said in ((1, "Out of order for 1 day."), (Fraction(1, 48), "A game brought 0.99.")):
        broken = LikelyReasons(first_price=100, hours_sold=Fraction(168), days_out_of_order=Fraction(days))
        assert reasons(worst, broken, [usual])[0] == said


def test_a_table_is_placed_with_its_price_and_its_faults(at_noon: TestClient, till: Till) -> None:
    till.collect("2026-11-02", 10, cash=40)
    till.collect("2026-11-16", 70, cash=320)
    job = {"id": "0b9c3c1e-5ad8-7d51-9f39-1f7d5ad0c009", "table_id": till.table, "reported_at": "2026-11-20T12:00:00Z"}
    till.route.post("/jobs", {**job, "fault": "ball_stuck", "playable": False})
    response = at_noon.get("/v1/reports/best-and-worst?from=2026-11-03&to=2026-11-24")
    assert response.status_code == 200, response.text
    (ranking,) = response.json()["rankings"]
    (best,) = ranking["best"]
    assert (best["table_id"], best["a_week"], best["first_price"], best["hours_sold"]) == (
        till.table,
        "35.00",
        "1.00",
        "168.0",
    )
    assert best["why"][0] == "Out of order for 4 days."
    assert (best["days_out_of_order"], ranking["worst"]) == ("4.0", [])
    for query in (
        "from=2026-11-03&to=2026-11-03",
        "from=2026-11-03&to=2026-12-01&count=0",
        "from=2000-01-01&to=2099-01-01",
    ):
        assert at_noon.get(f"/v1/reports/best-and-worst?{query}").status_code == 422
