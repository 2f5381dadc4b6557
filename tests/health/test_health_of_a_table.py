"""A table's health asked through the service, on both databases."""

from typing import Any
from uuid import uuid4

from tests.health.conftest import EARLY, Watched


def test_a_table_of_which_nothing_was_read_says_so(watched: Watched) -> None:
    health = watched.health()
    assert health["battery"] is None
    assert health["why_no_battery"] == "No voltage reading yet."
    assert health["clock"] is None
    assert health["why_no_clock"] == "No clock reading yet at this venue."
    assert (health["meters"], health["settings"], health["cautions"]) == ([], [], [])


def test_a_table_that_was_read_only_before_its_battery_was_charged_and_its_clock_set_says_so(watched: Watched) -> None:
    watched.volts(0.1, "12.20", clock={"time": "14:24"})
    watched.read(0.2, done=["battery_charged", "clock_set"])
    health = watched.health()
    assert health["why_no_battery"] == "No voltage reading since the battery was last charged or replaced."
    assert health["why_no_clock"] == "No clock reading since the clock was last set."


def test_a_voltage_that_its_temperature_moves_is_said_as_read_and_as_compared(watched: Watched) -> None:
    # 45 °C is 113 °F: 33 °F above 80, so 0.0792 V less than was read
    watched.read(0.1, supply={"volts": "12.45", "temperature_c": "45", "rested_minutes": 600})
    battery = watched.health()["battery"]
    assert battery["verdict"] == "plan_charge"
    assert battery["why"] == "12.45 V (12.371 V at 80 °F): below 12.40 V, plan a charge."


def test_a_voltage_just_below_a_level_is_not_rounded_onto_it(watched: Watched) -> None:
    watched.read(0.1, supply={"volts": "12.399", "rested_minutes": 600})
    assert watched.health()["battery"]["why"] == "12.399 V: below 12.40 V, plan a charge."


def test_a_voltage_that_no_such_battery_has_is_judged_with_the_remark_that_it_is_odd(watched: Watched) -> None:
    watched.volts(0.1, "24.10")
    battery = watched.health()["battery"]
    assert battery["verdict"] == "good"
    assert battery["caveats"] == ["24.10 V is odd for a 12 V battery: read it again."]


def test_a_low_battery_is_to_be_charged_with_the_level_and_the_cautions(watched: Watched) -> None:
    watched.volts(0.1, "12.20")
    health = watched.health()
    battery = health["battery"]
    assert (battery["volts"], battery["state_percent"], battery["rest"]) == ("12.20", "44.4", "rested")
    assert (battery["verdict"], battery["level"], battery["level_volts"]) == ("charge_now", "charge_now", "12.24")
    assert battery["basis"] == "flooded, 80 °F"
    assert battery["why_no_forecast"]["code"] == "already_reached"
    codes = [caution["code"] for caution in health["cautions"]]
    assert {"eyes_and_hands", "no_sparks", "ventilate", "lifting_battery", "local_rules"} <= set(codes)


def test_a_falling_battery_has_a_date(watched: Watched) -> None:
    for days, volts in ((0, "12.65"), (4, "12.61"), (8, "12.57")):
        watched.volts(days, volts)
    battery = watched.health()["battery"]
    assert battery["verdict"] == "good"
    forecast = battery["forecast"]
    assert (forecast["reaches_on"], forecast["mv_per_day"], forecast["readings"]) == ("2027-01-05", "-10.00", 3)
    assert battery["why_no_forecast"] is None


def test_an_unknown_chemistry_has_a_spread_and_no_single_figure(watched: Watched) -> None:
    watched.add(power={"kind": "battery"})
    watched.volts(0.1, "12.40")
    battery = watched.health()["battery"]
    assert (battery["state_percent"], battery["basis"]) == (None, None)
    low, high = map(float, battery["spread_percent"])
    assert low < 58.4
    assert high >= 75


def test_a_table_on_mains_has_no_battery_and_says_so(watched: Watched) -> None:
    watched.add(power={"kind": "mains"})
    watched.read(0.1, supply={"volts": "12.00"})
    health = watched.health()
    assert (health["battery"], health["why_no_battery"]) == (None, "The table runs on mains and has no battery.")


def test_the_newest_reading_is_the_last_taken_and_one_that_counts(watched: Watched) -> None:
    watched.volts(2, "12.50")
    watched.volts(1, "12.60")
    wrong = watched.volts(3, "11.50")
    watched.route.post(f"/readings/{wrong}/void", {"reason": "read at another table"})
    future = {"id": str(uuid4()), "table_id": watched.table["id"], "taken_at": watched.at(5).isoformat()}
    watched.route.post("/readings", {"readings": [{**future, "supply": {"volts": "11.00"}}]})
    assert watched.health()["battery"]["volts"] == "12.50"


def test_a_charge_starts_the_battery_again(watched: Watched) -> None:
    for days in (0, 4, 8):
        watched.volts(days, f"12.{60 - days}")
    watched.read(9, done=["battery_charged"])
    assert watched.health()["battery"] is None
    watched.volts(10, "12.70")
    battery = watched.health()["battery"]
    assert (battery["verdict"], battery["why_no_forecast"]["code"]) == ("good", "too_few_readings")


def test_a_clock_that_nobody_set_back_sells_an_hour_too_early(watched: Watched) -> None:
    weekday, early, _ = watched.prices()
    watched.read(1, clock={"time": "13:00", "weekday": "thu", "display": "24h"})
    clock = watched.health()["clock"]
    assert (clock["verdict"], clock["cause"], clock["offset_s"]) == ("off", "hour_off", [3600, 3660])
    assert clock["change_at"] == "2026-11-01T01:00:00-05:00"
    wrong = [(pair["sells"]["code"], pair["instead_of"]["code"], pair["minutes"]) for pair in clock["wrong_price"]]
    assert sorted(wrong) == [("early", "weekday", 300), ("weekday", "early", 300)]
    first = clock["wrong_changes"][0]
    assert (first["due_at"], first["made_at"]) == ("2026-11-26T15:00:00-05:00", "2026-11-26T14:00:00-05:00")
    assert (first["before"]["id"], first["after"]["id"]) == (weekday["id"], early["id"])
    assert [(moment["what"], moment["name"]) for moment in clock["coming"]] == [("price_change", "Early")]


def test_a_table_with_one_price_all_week_is_never_wrong_whatever_its_windows_are_called(watched: Watched) -> None:
    weekday = watched.route.tariff()
    alike = watched.route.tariff(code="alike")
    watched.route.schedule(watched.venue["id"], weekday["id"], weekly=[{**EARLY, "tariff": alike["id"]}])
    watched.read(1, clock={"time": "13:00", "weekday": "thu", "display": "24h"})
    clock = watched.health()["clock"]
    assert (clock["cause"], clock["wrong_price"], clock["wrong_changes"]) == ("hour_off", [], [])


def test_a_change_due_at_this_very_instant_is_not_among_those_to_come(watched: Watched) -> None:
    watched.prices()
    watched.read(1, clock={"time": "13:00", "weekday": "thu", "display": "24h"})
    watched.now = watched.at(1 + 3 / 24)  # Thursday 15:00, when early play starts
    due = [change["due_at"] for change in watched.health()["clock"]["wrong_changes"]]
    assert (due[0], len(due)) == ("2026-11-26T18:00:00-05:00", 10)


def test_the_next_recurring_event_is_foretold_too(watched: Watched) -> None:
    weekday = watched.route.tariff()
    event = {"name": "Team night", "starts_on": "2026-12-01", "rrule": "FREQ=WEEKLY;BYDAY=TU", "from": "19:00"}
    watched.route.schedule(watched.venue["id"], weekday["id"], recurring=[{**event, "to": "23:00", "tariff": None}])
    watched.read(1, clock={"time": "12:00", "weekday": "thu"})
    clock = watched.health()["clock"]
    assert (clock["verdict"], clock["wrong_price"], clock["wrong_changes"]) == ("ok", [], [])
    moment = clock["coming"][1]
    assert (moment["what"], moment["name"], moment["at"]) == (
        "recurring_event",
        "Team night",
        "2026-12-01T19:00:00-05:00",
    )


def test_a_clock_without_any_prices_is_judged_all_the_same(watched: Watched) -> None:
    watched.read(1, clock={"time": "13:00", "weekday": "thu"})
    clock = watched.health()["clock"]
    assert (clock["cause"], clock["coming"], clock["wrong_price"]) == ("hour_off", [], [])


def test_setting_the_clock_starts_it_again(watched: Watched) -> None:
    watched.read(1, clock={"time": "13:00", "weekday": "thu"})
    watched.read(2, done=["clock_set"])
    assert watched.health()["clock"] is None
    watched.read(3, clock={"time": "12:00", "weekday": "sat"})
    assert watched.health()["clock"]["verdict"] == "ok"


def test_a_table_in_the_workshop_has_no_time_to_be_held_against(watched: Watched) -> None:
    watched.read(1, clock={"time": "13:00", "weekday": "thu"}, supply={"volts": "12.60"})
    moved = {"venue_id": None, "moved_at": watched.at(1).isoformat()}
    watched.route.post(f"/tables/{watched.table['id']}/moves", moved)
    health = watched.health()
    assert health["clock"] is None
    assert health["why_no_clock"].startswith("In the workshop:")
    assert health["battery"]["volts"] == "12.60"


def test_meters_tell_what_was_counted_and_what_nobody_can_tell(watched: Watched) -> None:
    watched.read(0, meters={"cash": 99_900, "bills": 10, "plays": 100})
    watched.read(1, meters={"cash": 60, "bills": 50, "plays": 40})
    cash, bills, plays = watched.health()["meters"]
    assert (cash["kind"], cash["delta"], cash["amount"]) == ("rolled_over", 160, "40.00")
    assert (bills["kind"], bills["delta"], bills["amount"], bills["disagreement"]) == ("counted", 40, "40.00", None)
    assert (plays["kind"], plays["delta"], plays["counted"], plays["amount"]) == ("needs_review", None, 0, None)
    assert [(row["before"], row["value"]) for row in plays["needs_review"]] == [(100, 40)]
    watched.read(2, meters={"cash": 100, "bills": 70, "plays": 41})
    cash, bills, plays = watched.health()["meters"]
    assert cash["disagreement"] == {"meter": "bills", "amount": "50.00", "other_amount": "60.00", "apart": "10.00"}
    assert bills["disagreement"]["amount"] == "60.00"
    assert plays["counted"] == 1


SHEET_DAY: dict[str, Any] = {
    "day": "mon",
    "windows": [
        {"from": "00:00", "to": "15:00", "free": False, "games": "weekday", "minutes": "weekday"},
        {"from": "15:00", "to": "18:00", "free": False, "games": "early", "minutes": "weekday"},
        {"from": "18:00", "to": "00:00", "free": False, "games": "weekday", "minutes": "weekday"},
    ],
}
LADDERS: dict[tuple[str, str], dict[str, Any]] = {
    ("games", "weekday"): {
        "prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}, {"price": "7.00", "units": 11}]
    },
    ("games", "early"): {"prices": [{"price": "0.50", "units": 1}]},
    ("minutes", "weekday"): {"prices": [{"price": "4.00", "units": 25}, {"price": "12.00", "units": 84}]},
}


def monday(**first_window: Any) -> dict[str, Any]:
    """Return the settings of a Monday that are right, but for what is changed of the first window."""
    windows = [
        {**window, **{kind: LADDERS[kind, window[kind]] for kind in ("games", "minutes")}}
        for window in SHEET_DAY["windows"]
    ]
    return {"days": [{"day": "mon", "windows": [{**windows[0], **first_window}, *windows[1:]]}]}


def test_settings_as_they_should_be_show_no_difference(watched: Watched) -> None:
    watched.prices()
    watched.read(1, settings=monday())
    assert watched.health()["settings"] == []


def test_a_wrong_price_found_is_shown_with_what_it_gives_away_until_it_is_keyed_anew(watched: Watched) -> None:
    *_, schedule = watched.prices()
    cheap = {"prices": [{"price": "0.50", "units": 1}, {"price": "4.00", "units": 8}, {"price": "7.00", "units": 14}]}
    watched.read(1, settings=monday(games=cheap))
    (row,) = watched.health()["settings"]
    assert (row["against"], row["day"], row["from"], row["to"], row["sells"]) == (
        "listed",
        "mon",
        "00:00",
        "15:00",
        "games",
    )
    assert row["values"][0] == {"name": "prices[0].price", "wanted": "0.75", "found": "0.50"}
    assert {"sells": "games", "amount": "1.00", "wanted": 1, "found": 2} in row["effects"]
    keying = {"schedule_id": schedule["id"], "keyed_at": watched.at(1).isoformat(), "by": "Ada"}
    watched.route.post(f"/tables/{watched.table['id']}/keyings", keying)
    assert [row["against"] for row in watched.health()["settings"]] == ["keyed", "listed"]
    watched.now = watched.at(2)
    keying["keyed_at"] = watched.at(2).isoformat()
    watched.route.post(f"/tables/{watched.table['id']}/keyings", keying)
    assert watched.health()["settings"] == []


def test_a_table_not_keyed_after_a_price_change_differs_from_what_is_listed_only(watched: Watched) -> None:
    *_, schedule = watched.prices()
    keying = {"schedule_id": schedule["id"], "keyed_at": watched.at(0).isoformat(), "by": "Ada"}
    watched.route.post(f"/tables/{watched.table['id']}/keyings", keying)
    dearer = watched.route.tariff(code="dearer", games={"prices": [{"price": "1.00", "units": 1}]})
    watched.route.schedule(watched.venue["id"], dearer["id"], effective_on="2026-11-27")
    watched.read(4, settings=monday())
    rows = watched.health()["settings"]
    assert {row["against"] for row in rows} == {"listed"}
    assert {"name": "prices[0].price", "wanted": "1.00", "found": "0.75"} in rows[0]["values"]


def test_settings_that_no_ladder_can_be_are_a_difference_of_that_day(watched: Watched) -> None:
    watched.prices()
    back = {"prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 3}]}
    watched.read(1, settings=monday(games=back))
    (row,) = watched.health()["settings"]
    assert (row["day"], row["sells"], row["effects"]) == ("mon", None, [])
    assert row["values"][0]["name"].startswith("games.prices[1]")


def test_a_day_that_was_reported_twice_is_a_difference_and_neither_is_believed(watched: Watched) -> None:
    watched.prices()
    (day,) = monday()["days"]
    watched.read(1, settings={"days": [day, {**day, "windows": []}]})
    (row,) = watched.health()["settings"]
    assert (row["day"], row["sells"], row["effects"]) == ("mon", None, [])
    assert row["values"] == [{"name": "day", "wanted": "each day once", "found": "this day 2 times"}]


def test_a_venue_sees_its_own_tables_health_only(watched: Watched) -> None:
    watched.volts(0.1, "12.50")
    own = watched.route.token("venue", venue_id=watched.venue["id"])
    assert watched.health(own)["battery"]["volts"] == "12.50"
    other = watched.route.token("venue", venue_id=watched.route.venue(name="The Tin Heron")["id"])
    theirs = watched.client.get(f"/v1/tables/{watched.table['id']}/health", headers=other)
    absent = watched.client.get(f"/v1/tables/{uuid4()}/health", headers=other)
    assert (theirs.status_code, theirs.content) == (404, absent.content)


def test_who_may_not_ask_is_told_so(watched: Watched) -> None:
    path = f"/v1/tables/{watched.table['id']}/health"
    device = watched.route.token("device", table_id=watched.table["id"])
    for headers in (device, watched.route.token("accountant")):
        assert watched.client.get(path, headers=headers).status_code == 403
    collector = watched.route.token("collector")
    assert watched.client.get(path, headers=collector).status_code == 200
    assert watched.client.get("/v1/settings", headers=collector).status_code == 200
    assert watched.client.put("/v1/settings", json={}, headers=collector).status_code == 403


def test_a_venue_is_not_told_what_a_table_took_where_it_stood_before(watched: Watched) -> None:
    watched.volts(0.1, "12.70", meters={"cash": 100})
    watched.volts(1, "12.65", meters={"cash": 900})
    other = watched.route.venue(name="The Tin Heron")
    watched.now = watched.at(2)
    move = {"venue_id": other["id"], "moved_at": watched.at(2).isoformat(), "meters": {"cash": 1000}}
    watched.route.post(f"/tables/{watched.table['id']}/moves", move)
    theirs = watched.route.token("venue", venue_id=other["id"])
    (told,) = watched.health(theirs)["meters"]  # what it showed when it came
    assert (told["since_at"], told["value"], told["amount"]) == ("2026-11-27T17:00:00Z", 1000, "0.00")
    assert watched.health(theirs)["why_no_battery"] == "No voltage reading yet."
    watched.volts(3, "12.60", meters={"cash": 1100})
    (told,) = watched.health(theirs)["meters"]
    assert (told["since_at"], told["value"], told["amount"]) == ("2026-11-27T17:00:00Z", 1100, "25.00")
    (known,) = watched.health()["meters"]
    assert (known["since_at"], known["amount"]) == ("2026-11-25T19:24:00Z", "250.00")


def test_a_drift_is_given_with_what_the_minutes_shown_allow(watched: Watched) -> None:
    # read within a minute's start, then within its end: the clock is right, and a line through both gains 19 s a day
    for days, second in ((1, 57), (2, 38), (3, 19), (4, 0)):
        at = watched.at(days).replace(second=second)
        watched.now = at
        reading = {"id": str(uuid4()), "table_id": watched.table["id"], "taken_at": at.isoformat()}
        watched.route.post("/readings", {"readings": [{**reading, "clock": {"time": "12:00"}}]})
    clock = watched.health()["clock"]
    assert (clock["drift_s_per_day"], clock["drift_range_s_per_day"]) == ("19.00", ["-1.00", "39.01"])
    assert "aining" not in clock["why"]
    watched.add()
    watched.read(5, clock={"time": "12:00"})
    assert watched.health()["clock"]["drift_range_s_per_day"] is None


def test_settings_found_before_a_move_are_still_what_the_controller_holds_but_not_the_new_venues_to_see(
    watched: Watched,
) -> None:
    watched.prices()
    other = watched.route.venue(name="The Tin Heron")["id"]
    weekday = watched.route.tariff()
    watched.route.schedule(other, weekday["id"])
    cheap = {"prices": [{"price": "0.50", "units": 1}, {"price": "4.00", "units": 8}, {"price": "7.00", "units": 14}]}
    watched.read(1, settings=monday(games=cheap))
    assert [row["against"] for row in watched.health()["settings"]] == ["listed"]
    watched.now = watched.at(2)
    move = {"venue_id": other, "moved_at": watched.at(2).isoformat()}
    watched.route.post(f"/tables/{watched.table['id']}/moves", move)
    rows = watched.health()["settings"]
    assert {row["against"] for row in rows} == {"listed"}
    assert rows[0]["values"][0] == {"name": "prices[0].price", "wanted": "0.75", "found": "0.50"}
    assert watched.health(watched.route.token("venue", venue_id=other))["settings"] == []
