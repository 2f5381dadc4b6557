"""Every kind of work, planted through the service, shown with its numbers and date, and gone when it is done (V1)."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from baizebook.store.db import writing
from baizebook.worklist.queries import ChartsOfCollectors
from baizebook.worklist.service import sweep
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from tests.conftest import Route
from tests.worklist.conftest import Calendar

AGM = {"kind": "battery", "chemistry": "agm", "nominal_volts": 12, "capacity_ah": "9.0"}
CASH_METER = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 6, "resets": "never"}]
AT_80_F = {"temperature_c": "26.7", "rested_minutes": 600}


def codes(items: list[dict[str, Any]]) -> list[str]:
    return [item["code"] for item in items]


def test_a_battery_at_its_service_level_is_to_be_charged_until_it_was(calendar: Calendar, route: Route) -> None:
    venue = route.venue()
    table = route.table(venue["id"], power=AGM)
    calendar.on("2026-11-03")
    calendar.read(table, supply={"volts": "12.20", **AT_80_F})
    (item,) = calendar.only("charge_battery")
    cautions = item.pop("cautions")
    assert item == {
        "id": item["id"],
        "due_at": "2026-11-03T17:00:00Z",
        "kind": "charge_battery",
        "code": "charge_now",
        "table_id": table["id"],
        "table": "Window side",
        "venue_id": venue["id"],
        "venue": "The Copper Lantern",
        "reason": "12.20 V: below 12.30 V, charge now.",
        "bring": [
            "a charged 12 V AGM battery of 9.0 Ah, or the charger",
            "eye and hand protection",
            "a voltmeter",
        ],
        "needs_key": True,
        "contact": "",
        "words": "",
        "refers_to": None,
        "closes_by": "record",
        "closes_when": "A reading that shows the battery charged or replaced.",
        "person": None,
        "deferral": None,
    }
    assert [caution["code"] for caution in cautions] == [
        "eyes_and_hands",
        "no_sparks",
        "ventilate",
        "charger_off",
        "rinse_water",
        "lifting_battery",
        "local_rules",
    ]
    calendar.on("2026-11-04")
    calendar.read(table, supply={"volts": "12.85", **AT_80_F}, done=["battery_charged"])
    assert calendar.only("charge_battery") == []


def test_a_battery_that_is_good_comes_up_two_weeks_before_its_forecast_by_time_alone(
    calendar: Calendar, route: Route
) -> None:
    table = route.table(route.venue()["id"], power=AGM)
    for day, volts in (("2026-11-01", "12.90"), ("2026-11-08", "12.85"), ("2026-11-15", "12.80")):
        calendar.on(day)
        calendar.read(table, supply={"volts": volts, **AT_80_F})
    # 50 mV a week from 12.80 V on 15 November: 12.30 V ten weeks later, on 24 January.
    for early in ("2026-11-15", "2027-01-09"):
        calendar.on(early)
        assert calendar.only("charge_battery") == []
    calendar.on("2027-01-11")
    (item,) = calendar.only("charge_battery")
    assert (item["code"], item["due_at"]) == ("plan_charge", "2027-01-24T05:00:00Z")
    assert item["reason"] == "12.80 V: above 12.60 V. Reaches 12.30 V (charge now) about 24 Jan 2027."


def test_a_clock_an_hour_slow_is_to_be_set_until_it_was(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"], power={"kind": "mains"})
    calendar.on("2026-11-03")
    calendar.read(table, clock={"time": "11:00", "weekday": "tue", "display": "24h"})
    (item,) = calendar.only("set_clock")
    assert (item["code"], item["due_at"], item["needs_key"]) == ("off", "2026-11-03T17:00:00Z", True)
    assert "slow" in item["reason"]
    assert item["bring"] == ["an accurate watch or phone"]
    assert [caution["code"] for caution in item["cautions"]] == ["unplug", "qualified_person", "local_rules"]
    calendar.read(table, clock={"time": "12:00", "weekday": "tue", "display": "24h"}, done=["clock_set"])
    assert calendar.only("set_clock") == []


def test_a_controller_without_summer_time_is_to_be_set_a_week_before_the_clocks_change(
    calendar: Calendar, route: Route
) -> None:
    table = route.table(route.venue()["id"], controller={"changes_for_summer_time": False})
    calendar.on("2027-03-01")
    calendar.read(table, clock={"time": "12:00", "weekday": "mon", "display": "24h"})
    assert calendar.only("set_clock") == []
    calendar.on("2027-03-07T06:59:59+00:00")
    assert calendar.only("set_clock") == []
    for instant in ("2027-03-07T07:00:00+00:00", "2027-04-20T07:00:00+00:00"):
        calendar.on(instant)
        (item,) = calendar.only("set_clock")
        assert (item["code"], item["due_at"]) == ("clocks_change", "2027-03-14T07:00:00Z")
        assert item["reason"].startswith(
            "Clocks at the venue go forward 1 h on 14 Mar 2027; the table does not change by itself: set it."
        )
    calendar.read(table, clock={"time": "03:00", "weekday": "tue", "display": "24h"}, done=["clock_set"])
    assert calendar.only("set_clock") == []


def test_a_clock_that_drifts_comes_up_two_weeks_before_it_leaves_the_tolerance_by_time_alone(
    calendar: Calendar, route: Route
) -> None:
    table = route.table(route.venue()["id"])
    shown = (("2026-11-02", "mon", "12:00"), ("2026-11-22", "sun", "11:59"), ("2026-12-12", "sat", "11:58"))
    for day, weekday, time in shown:
        calendar.on(f"{day}T17:00:30+00:00")
        calendar.read(table, clock={"time": time, "weekday": weekday, "display": "24h"})
    # At least 1.5 s a day by the minutes shown; it may have lost as little as 90 s so far: 120 s after 20 days more.
    calendar.on("2026-12-18T17:00:29+00:00")
    assert calendar.only("set_clock") == []
    calendar.on("2026-12-18T17:00:30+00:00")
    (item,) = calendar.only("set_clock")
    assert (item["code"], item["due_at"]) == ("drifting", "2027-01-01T17:00:30Z")
    assert item["reason"] == "Loses 1.5 s a day: 2 min off about 1 Jan 2027."


def test_a_clock_that_does_not_tell_the_day_is_asked_about(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue(contact="Odile, 555-0142")["id"])
    calendar.on("2026-11-03")
    calendar.read(table, clock={"time": "12:00", "display": "24h"})
    (item,) = calendar.only("ask_venue")
    assert (item["code"], item["due_at"], item["contact"]) == (
        "clock_not_told",
        "2026-11-03T17:00:00Z",
        "Odile, 555-0142",
    )
    calendar.read(table, clock={"time": "12:00", "weekday": "tue", "display": "24h"})
    assert calendar.only("ask_venue") == []


def test_a_price_change_is_to_be_keyed_by_its_start_then_confirmed_then_it_is_done(
    calendar: Calendar, route: Route
) -> None:
    venue, tariff = route.venue(), route.tariff()
    table = route.table(venue["id"])
    coming = route.schedule(venue["id"], tariff["id"], effective_on="2026-12-01")
    (item,) = calendar.only("key_settings")
    assert (item["code"], item["due_at"], item["refers_to"]) == ("not_keyed", "2026-12-01T11:00:00Z", coming["id"])
    assert item["reason"] == ("Prices effective 1 Dec 2026, 06:00, have not been keyed. Nothing has been keyed yet.")
    calendar.on("2026-11-30")
    keying = {"schedule_id": coming["id"], "keyed_at": "2026-11-30T16:00:00Z", "by": "Rosalind"}
    route.post(f"/tables/{table['id']}/keyings", keying)
    (item,) = calendar.only("key_settings")
    assert (item["code"], item["due_at"]) == ("not_confirmed", "2026-12-08T11:00:00Z")
    assert item["reason"] == "Keyed by Rosalind on 30 Nov 2026: read the settings to confirm."
    calendar.read(table, done=["settings_keyed"])
    assert calendar.only("key_settings") == []


def test_of_two_coming_schedules_the_first_is_over_when_the_second_starts(calendar: Calendar, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    route.table(venue["id"])
    first = route.schedule(venue["id"], tariff["id"], effective_on="2026-12-01")
    second = route.schedule(venue["id"], tariff["id"], effective_on="2027-01-01")
    assert [item["refers_to"] for item in calendar.only("key_settings")] == [first["id"], second["id"]]
    calendar.on("2027-01-02")
    assert [item["refers_to"] for item in calendar.only("key_settings")] == [second["id"]]


def test_a_roll_out_is_to_be_keyed_at_every_table_that_it_touches(calendar: Calendar, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    route.schedule(venue["id"], tariff["id"])
    tables = [route.table(venue["id"], label=label) for label in ("Left", "Right")]
    dearer = route.tariff(code="dearer")
    rollout = {"replacement": dearer["id"], "effective_on": "2026-12-24"}
    (published,) = route.post(f"/tariffs/{tariff['id']}/rollout", rollout)["schedules"]
    found = [item for item in calendar.only("key_settings") if item["refers_to"] == published["id"]]
    assert sorted(item["table_id"] for item in found) == sorted(table["id"] for table in tables)
    assert {item["due_at"] for item in found} == {"2026-12-24T11:00:00Z"}


def test_settings_found_otherwise_than_keyed_are_to_be_keyed_again(calendar: Calendar, route: Route) -> None:
    venue = route.venue()
    tariff = route.tariff(
        games={"prices": [{"price": "1.00", "units": 1}]}, minutes={"prices": [{"price": "4.00", "units": 30}]}
    )
    schedule = route.schedule(venue["id"], tariff["id"])
    table = route.table(venue["id"])
    calendar.on("2026-11-02")
    keying = {"schedule_id": schedule["id"], "keyed_at": calendar.now.isoformat(), "by": "Ignatius"}
    route.post(f"/tables/{table['id']}/keyings", keying)
    minutes = {"prices": [{"price": "4.00", "units": 30}], "counting": "repeat"}
    cheap = {"from": "00:00", "to": "00:00", "games": {"prices": [{"price": "0.75", "units": 1}]}, "minutes": minutes}
    right = {"from": "00:00", "to": "00:00", "games": {"prices": [{"price": "1.00", "units": 1}]}, "minutes": minutes}
    calendar.on("2026-11-03")
    calendar.read(table, settings={"days": [{"day": "mon", "windows": [cheap]}]})
    (item,) = calendar.only("key_settings")
    assert (item["code"], item["due_at"]) == ("found_different", "2026-11-03T17:00:00Z")
    assert item["reason"].startswith(
        "Settings found on 3 Nov 2026 differ from those keyed: Monday, games: price 1 is 0.75 instead of 1.00 ("
    )
    calendar.on("2026-11-04")
    calendar.read(table, settings={"days": [{"day": "mon", "windows": [right]}]})
    assert calendar.only("key_settings") == []


def test_settings_that_cannot_be_are_said_with_money_as_the_currency_writes_it(
    calendar: Calendar, route: Route
) -> None:
    venue = route.venue()
    schedule = route.schedule(venue["id"], route.tariff()["id"])
    table = route.table(venue["id"])
    calendar.on("2026-11-02")
    keying = {"schedule_id": schedule["id"], "keyed_at": calendar.now.isoformat(), "by": "Ignatius"}
    route.post(f"/tables/{table['id']}/keyings", keying)
    calendar.on("2026-11-03")
    falling = {"prices": [{"price": "5.00", "units": 6}, {"price": "1.00", "units": 1}]}
    windows = [{"from": "00:00", "to": "00:00", "games": falling}]
    calendar.read(table, settings={"days": [{"day": "mon", "windows": windows}, {"day": "tue", "windows": windows}]})
    (item,) = calendar.only("key_settings")
    assert item["reason"] == (
        "Settings found on 3 Nov 2026 differ from those keyed: Monday and Tuesday: these settings are not valid: price 2 "
        "for games is 1.00, expected more than 5.00, as in the price before it; units of price 2 for games is 1, expected "
        "more than 6, as in the price before it."
    )


def test_a_silent_table_is_asked_about_then_visited_by_time_alone(calendar: Calendar, route: Route) -> None:
    venue = route.venue(contact="Odile, 555-0142, after 16:00")
    table = route.table(venue["id"], power=AGM, meters=CASH_METER)
    calendar.on("2026-11-02")
    calendar.read(table, meters={"cash": 100})
    calendar.on("2026-11-16T16:59:59+00:00")
    assert calendar.work() == []
    calendar.on("2026-11-16")
    (item,) = calendar.work()
    assert (item["kind"], item["code"], item["due_at"]) == ("ask_venue", "no_reading", "2026-11-16T17:00:00Z")
    assert item["reason"] == "No reading since 2 Nov 2026: call the venue."
    assert item["contact"] == "Odile, 555-0142, after 16:00"
    assert item["words"] == (
        "Please read me from the table “Window side”: the battery voltage, the day and time on its clock "
        "and its meters (cash)."
    )
    assert (item["bring"], item["needs_key"], item["cautions"]) == ([], False, [])
    calendar.on("2026-11-30")
    (item,) = calendar.work()
    assert (item["kind"], item["due_at"], item["needs_key"]) == ("visit", "2026-11-30T17:00:00Z", True)
    calendar.read(table, meters={"cash": 130})
    assert calendar.work() == []


def test_a_table_that_was_never_read_is_asked_about_two_weeks_after_it_came(calendar: Calendar, route: Route) -> None:
    route.table(route.venue()["id"])
    calendar.on("2026-11-15")
    (item,) = calendar.work()
    assert item["reason"] == "No reading since the table came here on 1 Nov 2026: call the venue."


def test_a_box_is_to_be_collected_before_its_value_limit_at_its_meters_rate(calendar: Calendar, route: Route) -> None:
    box = {"coins_max": 4000, "value_max": "500.00"}
    table = route.table(route.venue()["id"], meters=CASH_METER, cash_box=box)
    calendar.read(table, meters={"cash": 1000})
    calendar.on("2026-11-02")
    calendar.collect(table, {"0.25": 0}, meters={"cash": 1000})
    calendar.on("2026-11-12")
    calendar.read(table, meters={"cash": 1800})
    assert calendar.only("collect") == []
    # 800 counts of 0.25 in ten days: 20.00 a day, 500.00 after 25 days; it comes up seven days before.
    calendar.on("2026-11-20")
    (item,) = calendar.only("collect")
    assert (item["code"], item["due_at"], item["needs_key"]) == ("value_limit", "2026-11-27T17:00:00Z", True)
    assert item["reason"] == (
        "About 200.00 USD in the box on 12 Nov 2026 by the meter, 40 % of the 500.00 USD it holds. "
        "Fills by about 20.00 USD a day: full about 27 Nov 2026."
    )
    assert [caution["code"] for caution in item["cautions"]][-2:] == ["lifting_cash", "local_rules"]
    calendar.collect(table, {"0.25": 1440}, meters={"cash": 2440})
    assert calendar.only("collect") == []


def test_the_usual_rate_is_over_the_days_that_the_meter_counted_not_those_before_its_first_reading(
    calendar: Calendar, route: Route
) -> None:
    table = route.table(route.venue()["id"], meters=CASH_METER, cash_box={"value_max": "500.00"})
    calendar.on("2026-11-21")  # it has stood there for twenty days, and nobody read it
    calendar.read(table, meters={"cash": 1000})
    calendar.on("2026-11-25")
    calendar.read(table, meters={"cash": 2600})
    (item,) = calendar.only("collect")
    # 1600 counts of 0.25 in four days: 100.00 a day
    assert item["reason"] == (
        "About 400.00 USD in the box on 25 Nov 2026 by the meter, 80 % of the 500.00 USD it holds. "
        "Fills by about 100.00 USD a day: full about 26 Nov 2026."
    )


def test_a_box_is_to_be_collected_before_its_coins_reach_their_limit_at_the_usual_rate(
    calendar: Calendar, route: Route
) -> None:
    box = {"coins_max": 400, "notes_max": 1000, "value_max": "9000.00"}
    table = route.table(route.venue()["id"], cash_box=box)
    calendar.on("2026-11-02")
    calendar.collect(table, {"0.25": 10})
    calendar.on("2026-11-12")
    calendar.collect(table, {"0.25": 200, "5.00": 30})
    # Twenty coins and three notes a day: 400 coins after twenty days, on 2 December.
    calendar.on("2026-11-24")
    assert calendar.only("collect") == []
    calendar.on("2026-11-26")
    (item,) = calendar.only("collect")
    assert (item["code"], item["due_at"]) == ("coins_limit", "2026-12-02T17:00:00Z")
    assert (
        item["reason"] == "Empty on 12 Nov 2026; holds 400 coins. Fills by about 20 coins a day: full about 2 Dec 2026."
    )


def test_a_meter_that_went_down_is_to_be_looked_into_until_its_reading_is_struck(
    calendar: Calendar, route: Route
) -> None:
    table = route.table(route.venue()["id"], meters=CASH_METER)
    calendar.read(table, meters={"cash": 5000})
    calendar.on("2026-11-02")
    calendar.read(table, meters={"cash": 4000})
    (item,) = calendar.only("review")
    assert (item["code"], item["due_at"]) == ("meter_went_down", "2026-11-02T17:00:00Z")
    assert item["reason"] == (
        "Meter cash went down from 5000 to 4000 on 2 Nov 2026. Read it again; if the meters were reset or the board replaced, "
        "report that."
    )
    readings = calendar.client.get("/v1/readings").json()["items"]
    route.post(f"/readings/{readings[1]['id']}/void", {"reason": "misread"})
    assert calendar.only("review") == []


def test_two_meters_that_cannot_both_be_right_are_to_be_looked_into(calendar: Calendar, route: Route) -> None:
    meters = [*CASH_METER, {**CASH_METER[0], "name": "till", "unit_value": "1.00"}]
    table = route.table(route.venue()["id"], meters=meters)
    calendar.read(table, meters={"cash": 0, "till": 0})
    calendar.on("2026-11-02")
    calendar.read(table, meters={"cash": 400, "till": 90})
    (item,) = calendar.only("review")
    assert item["code"] == "meters_disagree"
    assert item["reason"] == "Two meters disagree by 10.00: cash counts 100.00 and till counts 90.00."


def test_a_difference_stays_until_somebody_says_what_it_was_whatever_the_next_box_holds(
    calendar: Calendar, route: Route
) -> None:
    venue = route.venue()
    table = route.table(venue["id"], meters=CASH_METER)
    calendar.collect(table, {"0.25": 0}, meters={"cash": 1000})
    calendar.on("2026-11-08")
    collection = calendar.collect(table, {"0.25": 360}, meters={"cash": 1400})
    (item,) = calendar.only("review")
    assert (item["code"], item["refers_to"]) == ("difference", collection["id"])
    assert item["reason"] == (
        "10.00 short on 8 Nov 2026: counted 90.00, expected 100.00 (10.0 %). Look into it, then say what it was."
    )
    calendar.on("2026-11-15")
    calendar.collect(table, {"0.25": 400}, meters={"cash": 1800})
    assert calendar.only("review") == [item]
    answer = route.post(f"/worklist/{item['id']}/completion", {"outcome": "found", "words": "A jam behind the chute."})
    assert answer == {
        "work_id": item["id"],
        "table_id": table["id"],
        "code": "difference",
        "reason": item["reason"],
        "refers_to": collection["id"],
        "outcome": "found",
        "words": "A jam behind the chute.",
        "completed_at": "2026-11-15T17:00:00Z",
        "completed_by": answer["completed_by"],
    }
    assert calendar.only("review") == []
    calendar.now += timedelta(minutes=1)
    calendar.read(table, meters={"cash": 1801})
    assert calendar.only("review") == []
    again = calendar.client.post(f"/v1/worklist/{item['id']}/completion", json={"outcome": "found", "words": "Again."})
    assert (again.status_code, again.json()["type"]) == (409, "/problems/already_completed")


def test_what_was_said_of_work_is_never_changed(engine: Engine, calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"], meters=CASH_METER)
    calendar.collect(table, {"0.25": 0}, meters={"cash": 1000})
    calendar.on("2026-11-08")
    calendar.collect(table, {"0.25": 360}, meters={"cash": 1400})
    (item,) = calendar.only("review")
    route.post(f"/worklist/{item['id']}/completion", {"outcome": "accepted", "words": "Known."})
    for statement in ("UPDATE work_completion SET words = 'Other.'", "DELETE FROM work_completion"):
        with pytest.raises(DBAPIError, match="append-only"), writing(engine) as session:
            session.execute(text(statement))


def test_work_that_a_record_closes_is_not_closed_in_words(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"])
    calendar.read(table, clock={"time": "11:00", "weekday": "sun", "display": "24h"})
    (item,) = calendar.only("set_clock")
    path = f"/v1/worklist/{item['id']}/completion"
    answer = calendar.client.post(path, json={"outcome": "accepted", "words": "Leave it."})
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/closed_by_a_record")
    for wrong in ({"outcome": "accepted"}, {"outcome": "gone", "words": "x"}, {"outcome": "found", "words": ""}):
        assert calendar.client.post(path, json=wrong).status_code == 422
    assert calendar.only("set_clock") == [item]


def test_a_signal_of_a_chart_is_work_until_somebody_says_what_it_was(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"], meters=CASH_METER)
    calendar.collect(table, {"0.25": 0}, meters={"cash": 0})
    for week in range(1, 11):
        calendar.now += timedelta(days=7)
        short = 0 if week < 5 else 16  # 4 % of 100.00: never past the tolerance by itself
        calendar.collect(table, {"0.25": 400 - short}, meters={"cash": 400 * week})
    (item,) = calendar.only("review")
    assert item["code"] == "leaning"
    assert item["reason"].startswith("Counts of this table lean short since ")
    assert "not an accusation" in item["reason"]
    route.post(f"/worklist/{item['id']}/completion", {"outcome": "miscounted", "words": "Rolls of 39 coins."})
    calendar.now += timedelta(minutes=1)
    calendar.read(table, meters={"cash": 4001})
    assert calendar.only("review") == []


def test_one_history_of_a_meter_has_collections_and_moves_and_a_reading_below_them_is_work(
    calendar: Calendar, route: Route
) -> None:
    venue, other = route.venue(), route.venue(name="The Tin Heron")
    table = route.table(venue["id"], meters=CASH_METER)
    calendar.collect(table, {"0.25": 0}, meters={"cash": 1000})
    calendar.on("2026-11-02")
    calendar.read(table, meters={"cash": 900})
    (item,) = calendar.only("review")
    assert item["code"] == "meter_went_down"
    assert item["reason"].startswith("Meter cash went down from 1000 to 900 on 2 Nov 2026.")
    calendar.on("2026-11-03")
    move = {"venue_id": other["id"], "moved_at": calendar.now.isoformat(), "meters": {"cash": 1100}}
    route.post(f"/tables/{table['id']}/moves", move)
    (cash,) = calendar.client.get(f"/v1/tables/{table['id']}/health").json()["meters"]
    assert (cash["value"], cash["delta"], cash["read_at"]) == (1100, 200, "2026-11-03T17:00:00Z")


def test_a_dispute_is_on_the_list_until_it_is_answered(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"])
    collection = calendar.collect(table, {"0.25": 400})
    calendar.on("2026-11-02")
    dispute = {"by": "Odile", "claims": "20.00 more", "reason": "Refunds were not counted."}
    raised = route.post(f"/collections/{collection['id']}/disputes", dispute)
    (item,) = calendar.only("review")
    assert (item["code"], item["refers_to"], item["due_at"]) == ("dispute", collection["id"], "2026-11-02T17:00:00Z")
    assert item["reason"] == "Dispute by Odile: 20.00 more."
    answer = {"by": "Rosalind", "answer": "The slip was found."}
    route.post(f"/collections/{collection['id']}/disputes/{raised['id']}/answer", answer)
    assert calendar.only("review") == []


def test_a_licence_comes_up_sixty_days_before_it_expires(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"], licence={"number": "MF-2231", "expires_on": "2027-01-31"})
    calendar.on("2026-12-02T10:59:59+00:00")
    assert calendar.only("licence") == []
    calendar.on("2026-12-02T11:00:00+00:00")
    (item,) = calendar.only("licence")
    assert (item["due_at"], item["reason"]) == ("2027-01-31T11:00:00Z", "Licence MF-2231 expires on 31 Jan 2027.")
    address = f"/v1/tables/{table['id']}"
    etag = calendar.client.get(address).headers["ETag"]
    change = {"licence": {"number": "MF-2240", "expires_on": "2028-01-31"}}
    assert calendar.client.patch(address, json=change, headers={"If-Match": etag}).status_code == 200
    assert calendar.only("licence") == []


def test_in_the_workshop_a_table_keeps_only_what_is_not_done_at_a_venue(calendar: Calendar, route: Route) -> None:
    venue = route.venue()
    route.schedule(venue["id"], route.tariff()["id"])
    table = route.table(venue["id"], licence={"number": "MF-2231", "expires_on": "2026-11-20"}, power=AGM)
    calendar.read(table, supply={"volts": "12.20", **AT_80_F})
    assert sorted(item["kind"] for item in calendar.work()) == ["charge_battery", "key_settings", "licence"]
    route.post(f"/tables/{table['id']}/moves", {"venue_id": None, "moved_at": calendar.now.isoformat()})
    (item,) = calendar.work()
    assert (item["kind"], item["venue_id"], item["venue"], item["contact"]) == ("licence", None, None, "")


def test_other_levels_are_applied_to_what_was_read_before(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"])
    calendar.read(table, clock={"time": "12:05", "weekday": "sun", "display": "24h"})
    assert codes(calendar.only("set_clock")) == ["off"]
    answer = calendar.client.put("/v1/settings", json={"clock": {"tolerance_s": 600}})
    assert answer.status_code == 200
    assert calendar.only("set_clock") == []


def test_a_preview_puts_nothing_on_the_list(calendar: Calendar, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    route.table(venue["id"])
    schedule = {"effective_on": "2026-12-01", "base": tariff["id"]}
    route.post(f"/venues/{venue['id']}/schedules?preview=true", schedule)
    assert calendar.work() == []


def test_a_signal_of_a_collectors_chart_is_work_that_an_owner_alone_sees_and_closes_in_words(
    calendar: Calendar, route: Route, engine: Engine
) -> None:
    venue = route.venue()["id"]
    tables = [route.table(venue, label=label, meters=CASH_METER) for label in ("One", "Two", "Three")]
    for table in tables:
        calendar.collect(table, {"0.25": 0}, meters={"cash": 0})
    collected = 0

    def collect(weeks: int, *, short: int) -> None:  # each table in turn: no table has enough for a chart of its own
        nonlocal collected
        for _ in range(weeks):
            calendar.now += timedelta(days=7)
            meters = {"cash": 400 * (collected // 3 + 1)}
            calendar.collect(tables[collected % 3], {"0.25": 400 - short}, meters=meters)
            collected += 1

    collect(5, short=0)
    collect(6, short=16)
    (item,) = calendar.only("review")
    assert item["code"] == "collector_leaning"
    assert item["reason"].startswith("Collections by the owner lean short since ")
    assert "not an accusation" in item["reason"]
    charts = ChartsOfCollectors()
    made = []
    for _ in range(2):
        sweep(engine, after=None, now=calendar.now, charts=charts)
        made += charts.signals.values()
        assert calendar.only("review") == [item]
    assert len(made) == 2
    assert made[0] is made[1], "a sweep makes a chart once while nothing is recorded"
    collector = route.token("collector")
    seen = calendar.client.get("/v1/worklist", headers=collector).json()["items"]
    assert [work for work in seen if work["kind"] == "review"] == []
    fed = calendar.client.get("/v1/worklist/changes?limit=500", headers=collector)
    assert "lean" not in fed.text
    said = {"outcome": "accepted", "words": "Rolls of 39 coins."}
    for path, body in (
        ("completion", said),
        ("assignment", {"person": "Ana"}),
        ("deferral", {"until": "2027-03-01", "reason": "x"}),
    ):
        answer = calendar.client.post(f"/v1/worklist/{item['id']}/{path}", json=body, headers=collector)
        assert (answer.status_code, answer.json()["code"]) == (404, "not_found"), path
    listed = calendar.client.get("/v1/tables").json()["items"]
    assert [work for line in listed for work in line["work"] if work["kind"] == "review"] == []
    route.post(f"/worklist/{item['id']}/completion", said)
    collect(1, short=16)
    assert calendar.only("review") == []
    sweep(engine, after=None, now=calendar.now, charts=charts)
    assert made[0] not in charts.signals.values(), "a chart from before the last record is not used"
    collect(9, short=16)
    assert [work["code"] for work in calendar.only("review") if work["code"] == "collector_leaning"] == [
        "collector_leaning"
    ]


def test_a_table_entered_with_an_older_history_has_no_work_that_is_overdue_at_once(
    calendar: Calendar, route: Route
) -> None:
    entered = calendar.now
    venue = route.venue()["id"]
    route.schedule(venue, route.tariff()["id"])
    table = route.table(venue, placed_at="2026-01-05T12:00:00Z")
    reading = {"id": str(uuid4()), "table_id": table["id"], "taken_at": "2026-08-03T12:00:00Z", "meters": {}}
    route.post("/readings", {"readings": [reading]})
    (keying,) = calendar.only("key_settings")
    assert keying["due_at"] == entered.isoformat().replace("+00:00", "Z")
    assert calendar.only("ask_venue") == calendar.only("visit") == []
    calendar.now += timedelta(days=14, minutes=1)
    (call,) = calendar.only("ask_venue")
    assert call["reason"] == "No reading since 3 Aug 2026: call the venue."
