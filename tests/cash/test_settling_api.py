"""Settling through the service: agreements over time, taxes by area, first money carried, loans, and settling later."""

from typing import Any

from tests.cash.conftest import Till
from tests.conftest import Route

EIGHT = {"code": "lantern-county", "name": "Lantern county", "rates": [{"from_on": "2026-01-01", "rate_percent": "8"}]}


def amounts(told: dict[str, Any]) -> dict[str, str]:
    return {line["code"]: line["amount"] for line in told["settlement"]["lines"]}


def test_without_an_agreement_it_is_recorded_and_settled_later_by_one_call(till: Till) -> None:
    told = till.collect("2026-10-10", 100)
    assert (told["status"], told["settlement"], told["entry_id"]) == ("unsettled", None, None)
    assert "no_agreement" in told["cautions"]
    assert till.balances() == {}
    response = till.client.post(f"/v1/collections/{told['id']}/settle")
    assert (response.status_code, response.json()["type"]) == (409, "/problems/no_agreement")
    agreement = till.agree()
    settled = till.client.post(f"/v1/collections/{told['id']}/settle")
    assert settled.status_code == 200
    assert settled.json()["status"] == "settled"
    assert settled.json()["settlement"]["agreement_id"] == agreement["id"]
    assert "no_agreement" not in settled.json()["cautions"]
    assert till.balances() == {"cash_in_bags": "50.00", "play_takings": "-100.00", "venue_share": "50.00"}
    again = till.client.post(f"/v1/collections/{told['id']}/settle")
    assert (again.status_code, again.json()["type"]) == (409, "/problems/already_settled")


def test_an_unsettled_collection_is_reversed_without_an_entry(till: Till) -> None:
    reversed_ = till.reverse(till.collect("2026-10-10", 100))
    assert (reversed_["status"], reversed_["reversal"]["entry_id"]) == ("reversed", None)
    assert "no_agreement" not in reversed_["cautions"]


def test_the_tax_is_that_of_the_venues_area_on_the_trading_date(till: Till, route: Route) -> None:
    # 8 % inside 108.00 is 8.00; from November 7.5 % by the divisor 1.075: 107.50 − 100.00.
    route.post("/tax-areas", EIGHT)
    etag = till.client.get(f"/v1/venues/{till.venue}").headers["etag"]
    change = till.client.patch(
        f"/v1/venues/{till.venue}",
        json={"tax_area": "lantern-county", "from_on": "2026-01-01"},
        headers={"If-Match": etag},
    )
    assert change.is_success, change.text
    route.post("/tax-areas", {**EIGHT, "rates": [{"from_on": "2026-11-01", "divisor": "1.075"}]})
    till.agree()
    before = till.collect("2026-10-31", 108)
    assert (before["settlement"]["tax"], before["settlement"]["tax_area"]) == ("8.00", "lantern-county")
    assert amounts(before) == {"gross": "108.00", "tax": "8.00", "operator_share": "50.00", "to_venue_now": "50.00"}
    after = till.collect("2026-11-01", 0, counted={"0.25": 430})
    assert after["settlement"]["tax"] == "7.50"
    early = till.collect("2025-12-31", 108)
    assert early["status"] == "unsettled"
    till.agree(effective_on="2025-01-01")
    settled = till.client.post(f"/v1/collections/{early['id']}/settle").json()
    assert (settled["settlement"]["tax"], settled["settlement"]["tax_area"]) == ("0.00", None)
    assert till.balances()["tax_payable"] == "-15.50"
    report = till.client.get("/v1/reports/tax?from=2026-10-01&to=2026-11-30").json()
    assert [(i["month"], i["rate"], i["collections"], i["taxed"], i["tax"]) for i in report["items"]] == [
        ("2026-10", "8 % inside the price", 1, "108.00", "8.00"),
        ("2026-11", "the amount divided by 1.075", 1, "107.50", "7.50"),
    ]
    till.reverse(after)
    report = till.client.get("/v1/reports/tax?from=2026-11-01&to=2026-11-30").json()
    assert report["items"] == []
    assert "no tax or legal advice" in report["notice"]


def test_a_correction_takes_the_tax_area_of_its_own_trading_date(till: Till, route: Route) -> None:
    # 5 % inside 100.00 is 4.76, 10 % inside it 9.09.
    for code, percent in (("five", "5"), ("ten", "10")):
        rates = [{"from_on": "2026-01-01", "rate_percent": percent}]
        route.post("/tax-areas", {"code": code, "name": code, "rates": rates})

    def belongs_to(code: str | None, from_on: str) -> None:
        change = {"tax_area": code, "from_on": from_on}
        answer = till.client.patch(f"/v1/venues/{till.venue}", json=change, headers={"If-Match": "*"})
        assert answer.is_success, answer.text

    belongs_to("five", "2026-01-01")
    till.agree()
    october = till.collect("2026-10-10", 100)
    assert october["settlement"]["tax"] == "4.76"
    belongs_to("ten", "2026-11-01")
    till.reverse(october)
    corrected = till.collect("2026-10-10", 100)
    assert corrected["corrects"] == october["id"]
    assert (corrected["settlement"]["tax"], corrected["settlement"]["tax_area"]) == ("4.76", "five")
    november = till.collect("2026-11-01", 100)
    assert (november["settlement"]["tax"], november["settlement"]["tax_area"]) == ("9.09", "ten")
    belongs_to(None, "2026-11-15")
    assert till.collect("2026-11-16", 100)["settlement"]["tax_area"] is None


def test_a_trading_date_decides_not_the_calendars(till: Till) -> None:
    # 03:00 in New York on 1 November still belongs to 31 October.
    till.agree(effective_on="2026-11-01")
    body = {**till.body("2026-11-01", 10), "collected_at": "2026-11-01T03:00:00-05:00"}
    told = till.route.post("/collections", body)
    assert (told["trading_on"], told["status"]) == ("2026-10-31", "unsettled")


def test_what_first_money_could_not_take_is_carried_across_versions(till: Till) -> None:
    licence = {"name": "Licence", "amount": "60.00", "per": "once", "starts_on": "2026-10-01"}
    till.agree(effective_on="2026-10-01", first_money=[licence])
    first = till.collect("2026-10-10", 45)
    assert first["settlement"]["carried_forward"] == "15.00"
    till.agree(effective_on="2026-10-12", venue_percent="40")
    second = till.collect("2026-10-17", 115)
    assert amounts(second) == {
        "gross": "115.00",
        "first_money": "15.00",
        "operator_share": "60.00",
        "to_venue_now": "40.00",
    }
    assert (second["settlement"]["agreement_version"], second["settlement"]["carried_forward"]) == (2, "0.00")


def test_a_service_charge_per_collection_comes_off_every_one(till: Till) -> None:
    # A trade newsletter of June 1978: 10.00 off the top of every collection, then halves. Derived: 110.00 → 10 + 50 / 50.
    charge = {"name": "Service", "amount": "10.00", "per": "collection", "starts_on": "2026-01-01"}
    till.agree(first_money=[charge])
    for on in ("2026-10-03", "2026-10-03", "2026-10-10"):
        told = till.collect(on, 110)
        assert amounts(told) == {
            "gross": "110.00",
            "first_money": "10.00",
            "operator_share": "50.00",
            "to_venue_now": "50.00",
        }


def test_the_venue_has_60_percent_for_26_weeks_and_then_half(till: Till) -> None:
    # All Star Amusement v. Jones, 727 S.W.2d 930 (Mo. App. 1987): 675 a week; 270 to the operator, then 337.50.
    steps = [{"from_week": 1, "venue_percent": "60"}, {"from_week": 27, "venue_percent": "50"}]
    terms = {"effective_on": "2026-01-05", "steps": steps}
    till.route.post(f"/venues/{till.venue}/agreements", terms)
    assert till.collect("2026-07-05", 675)["settlement"]["operator_share"] == "270.00"
    assert till.collect("2026-07-06", 675)["settlement"]["operator_share"] == "337.50"


def test_paid_monthly_goes_onto_the_venues_balance(till: Till) -> None:
    till.agree(pays="monthly")
    told = till.collect("2026-10-10", 101)
    assert (told["settlement"]["to_venue_now"], told["settlement"]["to_venue_balance"]) == ("0.00", "50.50")
    assert till.balances() == {
        "cash_in_bags": "101.00",
        "play_takings": "-101.00",
        "owed_to_venues": "-50.50",
        "venue_share": "50.50",
    }


def test_a_share_above_the_cap_brings_advice_with_the_caps_name(till: Till) -> None:
    # Texas Occupations Code 2153: 60 of first money, then at most half to the location: 1470.00 of 3000.00.
    till.agree(
        venue_percent="60",
        first_money=[{"name": "State tax", "amount": "60.00", "per": "year", "starts_on": "2026-01-01"}],
        cap={"name": "Occupations Code 2153.205", "venue_percent_max": "50"},
    )
    told = till.collect("2026-10-10", 3000)
    (advice,) = (item for item in told["advice"] if item["code"] == "cap_exceeded")
    assert "Occupations Code 2153.205" in advice["detail"]
    assert "1470.00" in advice["detail"]
    assert told["settlement"]["venue_share"] == "1764.00"


def test_an_empty_box_is_settled_without_an_entry(till: Till) -> None:
    till.agree()
    told = till.collect("2026-10-10", 0)
    assert (told["status"], told["entry_id"], told["counted"]) == ("settled", None, "0.00")
    assert till.client.get("/v1/ledger/entries").json()["items"] == []


def test_settled_on_the_expectation_the_operator_bears_the_difference(till: Till) -> None:
    till.agree(settles_on="expected")
    till.collect("2026-10-03", 1, cash=0)
    told = till.collect("2026-10-10", 90, cash=400)
    assert (told["difference"], told["settlement"]["lines"][0]["amount"]) == ("-10.00", "100.00")
    assert (told["settlement"]["venue_share"], told["settlement"]["to_bag"]) == ("50.00", "40.00")
    assert [item["detail"] for item in told["advice"] if item["code"] == "settled_on_expectation"] == [
        "90.00 was counted and 100.00 divided, as the agreement says; the operator makes up 10.00."
    ]
    over = till.collect("2026-10-17", 103, cash=800)
    assert [item["detail"] for item in over["advice"] if item["code"] == "settled_on_expectation"] == [
        "103.00 was counted and 100.00 divided, as the agreement says; the operator keeps 3.00."
    ]
