"""Differences charted per table and per collector (X1); only an owner sees collectors'."""

from datetime import date, timedelta

from tests.cash.conftest import Till


def collect_weekly(till: Till, counted: list[int], *, collector: str = "Ana") -> list[str]:
    """Collect every week of 100.00 on the money meter; return the ids."""
    start, ids = date(2026, 6, 7), []
    till.collect(start.isoformat(), 0, cash=0, collector=collector)
    for week, dollars in enumerate(counted, start=1):
        on = (start + week * timedelta(days=7)).isoformat()
        ids.append(till.collect(on, dollars, cash=400 * week, collector=collector)["id"])
    return ids


def test_a_short_series_is_found_and_the_signal_names_where_it_began(till: Till) -> None:
    ids = collect_weekly(till, [100, 101, 99, 100, 101, 99, 100, 90, 88, 87, 86])
    told = till.client.get(f"/v1/reports/differences?table_id={till.table}").json()
    assert [point["collection_id"] for point in told["points"]] == ids
    assert told["points"][7]["difference"] == "-10.00"
    assert told["points"][7]["difference_percent"] == "-10.00"
    (cusum,) = (signal for signal in told["signals"] if signal["chart"] == "cusum")
    assert (cusum["side"], cusum["points_to"]) == ("short", ids[7])
    assert "not an accusation" in told["notice"]
    assert told["why_no_chart"] is None
    of_collector = till.client.get("/v1/reports/differences?collector=Ana").json()
    assert of_collector["signals"] == told["signals"]


def test_too_few_collections_make_no_chart_and_say_so(till: Till) -> None:
    collect_weekly(till, [100, 101])
    told = till.client.get(f"/v1/reports/differences?table_id={till.table}").json()
    assert (len(told["points"]), told["signals"], told["sigma_percent"]) == (2, [], None)
    assert told["why_no_chart"] == "2 collections with a money meter's figure; a chart needs 8."


def test_reversed_collections_and_ranges_make_no_points(till: Till) -> None:
    ids = collect_weekly(till, [100, 101])
    till.reverse({"id": ids[0]})
    till.collect("2026-08-01", 5, meters={"plays": 0})
    till.collect("2026-08-02", 5, meters={"plays": 5})
    told = till.client.get(f"/v1/reports/differences?table_id={till.table}").json()
    assert [point["collection_id"] for point in told["points"]] == ids[1:]


def test_a_figure_that_a_late_arrival_cuts_in_two_is_judged_from_the_late_one(till: Till) -> None:
    till.collect("2026-06-01", 0, cash=0)
    later = till.collect("2026-06-15", 100, cash=800, collector="Bo")
    assert later["difference"] == "-100.00"
    late = till.collect("2026-06-08", 100, cash=400)
    exact = {late["id"]: "0.00", later["id"]: "0.00"}
    for query, ids in (
        (f"table_id={till.table}", [late["id"], later["id"]]),
        ("collector=Bo", [later["id"]]),
        ("collector=Ana", [late["id"]]),
    ):
        told = till.client.get(f"/v1/reports/differences?{query}").json()
        points = {point["collection_id"]: point["difference"] for point in told["points"]}
        assert points == {id_: exact[id_] for id_ in ids}, query


def test_a_figure_that_went_on_from_a_wrong_reading_goes_on_from_the_right_one_once_that_is_corrected(
    till: Till,
) -> None:
    ids = collect_weekly(till, [100, 100, 100])
    till.reverse({"id": ids[1]})
    right = till.collect("2026-06-21", 100, cash=804)
    told = till.client.get(f"/v1/reports/differences?table_id={till.table}").json()
    assert [(point["collection_id"], point["difference"]) for point in told["points"]] == [
        (ids[0], "0.00"),
        (right["id"], "-1.00"),
        (ids[2], "1.00"),
    ]
    till.reverse(right)
    same = till.collect("2026-06-21", 98, cash=800)
    told = till.client.get(f"/v1/reports/differences?table_id={till.table}").json()
    assert [point["collection_id"] for point in told["points"]] == [ids[0], same["id"], ids[2]]


def test_a_meter_that_is_reset_at_each_collection_makes_points(till: Till) -> None:
    meter = {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "at_collection"}
    till.table = till.route.table(till.venue, meters=[meter])["id"]
    for week, on in enumerate(("2026-06-01", "2026-06-08", "2026-06-15")):
        till.collect(on, 100 - week, cash=400)
    told = till.client.get(f"/v1/reports/differences?table_id={till.table}").json()
    assert [point["difference"] for point in told["points"]] == ["-1.00", "-2.00"]


def test_only_an_owner_sees_the_charts_of_collectors(till: Till) -> None:
    accountant = till.route.token("accountant")
    of_table = till.client.get(f"/v1/reports/differences?table_id={till.table}", headers=accountant)
    assert of_table.status_code == 200
    assert till.client.get("/v1/reports/differences?collector=Ana", headers=accountant).status_code == 403
    collector = till.route.token("collector")
    assert till.client.get("/v1/reports/differences?collector=Ana", headers=collector).status_code == 403


def test_one_table_or_one_collector_is_asked_about(till: Till) -> None:
    for query in ("", f"?table_id={till.table}&collector=Ana"):
        assert till.client.get(f"/v1/reports/differences{query}").status_code == 422
    assert till.client.get("/v1/reports/tax?from=2026-02-01&to=2026-01-31").status_code == 422
