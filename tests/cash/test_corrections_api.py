"""Never changed: reversals, corrections in the same place, late arrivals, and what they leave for the next settlement."""

from typing import Any

from tests.cash.conftest import Till

LICENCE = [{"name": "Licence", "amount": "60.00", "per": "month", "starts_on": "2026-10-01"}]


def lines(told: dict[str, Any]) -> list[tuple[str, str]]:
    return [(line["code"], line["amount"]) for line in told["settlement"]["lines"]]


def again(till: Till, on: str, dollars: int, **changes: Any) -> dict[str, Any]:
    """Record a new collection where another stood."""
    return till.collect(on, dollars, **changes)


def test_a_reversal_brings_all_balances_back(till: Till) -> None:
    till.agree(first_money=LICENCE, loan_repay_percent="25")
    till.route.post(
        "/ledger/entries", {"kind": "loan_advance", "amount": "100.00", "venue_id": till.venue, "on": "2026-10-02"}
    )
    before = till.balances()
    assert before == {"venue_loans": "100.00", "bank": "-100.00"}
    told = till.collect("2026-10-10", 100, refunds_by_venue="2.00", house_money="3.00", test_money="1.00")
    assert lines(told) == [
        ("gross", "100.00"),
        ("refunds_by_venue", "2.00"),
        ("house_money", "3.00"),
        ("test_money", "1.00"),
        ("first_money", "60.00"),
        ("operator_share", "17.00"),
        ("loan_repayment", "4.25"),
        ("to_venue_now", "12.75"),
    ]
    reversed_ = till.reverse(told)
    assert (reversed_["status"], reversed_["reversal"]["reason"]) == ("reversed", "miscounted")
    assert reversed_["settlement"] == told["settlement"]
    assert till.balances() == before
    mirror = till.client.get("/v1/ledger/entries").json()["items"][-1]
    assert (mirror["id"], mirror["kind"], mirror["source_id"]) == (
        reversed_["reversal"]["entry_id"],
        "reversal",
        told["entry_id"],
    )
    assert mirror["on"] == "2026-10-10"
    assert till.client.get("/v1/ledger/verify").json()["ok"] is True


def test_a_reversal_is_not_reversed(till: Till) -> None:
    told = till.collect("2026-10-10", 100)
    till.reverse(told)
    assert till.refused({"reason": "no"}, f"/collections/{told['id']}/reversal")[:2] == (409, "already_reversed")
    assert till.client.post(f"/v1/collections/{told['id']}/settle").status_code == 409


def test_a_reversal_has_a_reason(till: Till) -> None:
    told = till.collect("2026-10-10", 100)
    assert till.refused({"reason": ""}, f"/collections/{told['id']}/reversal") == (422, "invalid", ["reason"])
    assert till.refused({}, f"/collections/{told['id']}/reversal") == (422, "invalid", ["reason"])


def test_the_same_collection_recorded_anew_in_its_place_settles_as_before(till: Till) -> None:
    till.agree(first_money=LICENCE)
    till.collect("2026-10-03", 40, cash=0)
    told = till.collect("2026-10-10", 100, cash=400)
    till.collect("2026-10-17", 80, cash=720)
    books = till.balances()
    till.reverse(told)
    corrected = again(till, "2026-10-10", 100, cash=400)
    assert corrected["corrects"] == told["id"]
    assert "late_arrival" not in corrected["cautions"]
    assert corrected["tables"] == told["tables"]
    assert lines(corrected) == lines(told)
    assert till.balances() == books


def test_what_a_correction_changes_in_the_carry_is_a_line_of_the_next(till: Till) -> None:
    # 60.00 are due on the 1st. 10 October brings 40.00 and carries 20.00, which 17 October takes. There were really
    # 70.00 on the 10th: the correction takes all 60.00, so the 20.00 of the 17th were taken too much.
    till.agree(first_money=LICENCE)
    first = till.collect("2026-10-10", 40)
    assert lines(first) == [
        ("gross", "40.00"),
        ("first_money", "40.00"),
        ("operator_share", "0.00"),
        ("to_venue_now", "0.00"),
    ]
    assert first["settlement"]["carried_forward"] == "20.00"
    assert first["settlement"]["claims_carried"] == [
        {"code": "first_money", "name": "Licence", "due_on": "2026-10-01", "amount": "20.00"}
    ]
    second = till.collect("2026-10-17", 50)
    assert lines(second)[1] == ("first_money", "20.00")
    till.reverse(first)
    corrected = again(till, "2026-10-10", 70)
    assert lines(corrected) == [
        ("gross", "70.00"),
        ("first_money", "60.00"),
        ("operator_share", "5.00"),
        ("to_venue_now", "5.00"),
    ]
    assert till.client.get(f"/v1/collections/{second['id']}").json() == second
    third = till.collect("2026-10-24", 30)
    assert lines(third) == [
        ("gross", "30.00"),
        ("correction", "-20.00"),
        ("operator_share", "25.00"),
        ("to_venue_now", "25.00"),
    ]
    assert till.balances()["first_money"] == "-60.00"


def test_first_money_of_a_reversed_collection_falls_to_the_next(till: Till) -> None:
    till.agree(first_money=LICENCE)
    told = till.collect("2026-10-10", 100)
    till.reverse(told)
    following = till.collect("2026-10-17", 100)
    assert lines(following)[1] == ("first_money", "60.00")
    november = till.collect("2026-11-07", 100)
    assert lines(november)[1] == ("first_money", "60.00")
    assert till.balances()["first_money"] == "-120.00"


def test_what_a_correction_changes_in_the_loan_is_a_line_of_the_next(till: Till) -> None:
    # A loan of 30.00, repaid with half of the venue's share. 100.00 repay 25.00, 20.00 more the last 5.00; the first
    # was really 200.00, of which 30.00 would have been repaid: 5.00 too much, given back by the third.
    till.agree(loan_repay_percent="50")
    till.route.post(
        "/ledger/entries", {"kind": "loan_advance", "amount": "30.00", "venue_id": till.venue, "on": "2026-10-02"}
    )
    first = till.collect("2026-10-10", 100)
    second = till.collect("2026-10-17", 20)
    assert [told["settlement"]["loan_repaid"] for told in (first, second)] == ["25.00", "5.00"]
    till.reverse(first)
    corrected = again(till, "2026-10-10", 200)
    assert corrected["settlement"]["loan_repaid"] == "30.00"
    third = till.collect("2026-10-24", 40)
    assert ("loan_repayment", "-5.00") in lines(third)
    assert (third["settlement"]["venue_share"], third["settlement"]["to_venue_now"]) == ("20.00", "25.00")
    assert "venue_loans" not in till.balances()


def test_a_collection_that_arrives_after_a_later_one_is_kept_and_flagged(till: Till) -> None:
    till.agree(first_money=LICENCE)
    till.collect("2026-10-03", 10, cash=0)
    later = till.collect("2026-10-17", 100, cash=400)
    late = till.collect("2026-10-10", 50, cash=200)
    assert late["cautions"] == ["late_arrival"]
    assert (late["status"], late["expected"]) == ("settled", {"least": "50.00", "most": "50.00"})
    assert lines(late) == [("gross", "50.00"), ("operator_share", "25.00"), ("to_venue_now", "25.00")]
    now = till.client.get(f"/v1/collections/{later['id']}").json()
    assert (later["expected"], later["difference"]) == ({"least": "100.00", "most": "100.00"}, "0.00")
    assert (now["expected"], now["difference"]) == ({"least": "50.00", "most": "50.00"}, "50.00")
    assert now["as_recorded"] == {
        "expected": {"least": "100.00", "most": "100.00"},
        "difference": "0.00",
        "difference_percent": "0.00",
    }
    assert now["settlement"] == later["settlement"]


def test_another_collection_of_the_same_time_is_flagged_unless_the_first_was_reversed(till: Till) -> None:
    first = till.collect("2026-10-10", 100, cash=0)
    second = again(till, "2026-10-10", 100, cash=0)
    assert "same_time_as_another" in second["cautions"]
    till.reverse(first)
    till.reverse(second)
    third = again(till, "2026-10-10", 100, cash=0)
    assert third["corrects"] == second["id"]
    assert "same_time_as_another" not in third["cautions"]


def test_a_correction_of_a_correction_stands_in_the_same_place(till: Till) -> None:
    till.agree(first_money=LICENCE)
    told = till.collect("2026-10-10", 100)
    for _ in range(2):
        till.reverse(told)
        told = {**again(till, "2026-10-10", 100), "was": told["id"]}
        assert told["corrects"] == told["was"]
        assert lines(told) == [
            ("gross", "100.00"),
            ("first_money", "60.00"),
            ("operator_share", "20.00"),
            ("to_venue_now", "20.00"),
        ]
    assert till.balances() == {
        "cash_in_bags": "80.00",
        "play_takings": "-40.00",
        "first_money": "-60.00",
        "venue_share": "20.00",
    }


def test_after_a_reversal_the_expectation_goes_on_from_the_collection_before(till: Till) -> None:
    till.collect("2026-10-03", 10, cash=0)
    wrong = till.collect("2026-10-10", 100, cash=4000)
    till.reverse(wrong)
    following = till.collect("2026-10-17", 100, cash=400)
    assert following["tables"][0]["since"] == "2026-10-03T16:00:00Z"
    assert following["difference"] == "0.00"


def test_a_whole_history_reversed_in_any_order_leaves_nothing(till: Till) -> None:
    till.agree(
        first_money=[*LICENCE, {"name": "Charge", "amount": "10.00", "per": "collection", "starts_on": "2026-01-01"}],
        operator_minimum={"amount": "20.00", "kind": "front"},
        loan_repay_percent="25",
        odd_unit_to="venue",
    )
    till.route.post(
        "/ledger/entries", {"kind": "loan_advance", "amount": "40.00", "venue_id": till.venue, "on": "2026-10-01"}
    )
    before = till.balances()
    days = (10, 3, 24, 17, 31, 17, 28, 7)
    made = [
        till.collect(f"2026-10-{day:02}", 13 * day, refunds_by_venue="2.00", house_money="30.05", test_money="1.00")
        for day in days
    ]
    for place in (3, 0, 7, 5, 1, 6, 2, 4):
        till.reverse(made[place])
    assert till.balances() == before
    fresh = till.collect("2026-10-31", 200)
    assert lines(fresh) == [
        ("gross", "200.00"),
        ("first_money", "60.00"),
        ("first_money", "10.00"),
        ("operator_minimum", "20.00"),
        ("operator_share", "55.00"),
        ("loan_repayment", "13.75"),
        ("to_venue_now", "41.25"),
    ]
    assert till.client.get("/v1/ledger/verify").json()["ok"] is True
