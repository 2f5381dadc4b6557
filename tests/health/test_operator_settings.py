"""Levels and tolerances are the operator's to set; what is not set is the default."""

from tests.health.conftest import Watched

FLOODED = {"flooded": {"plan_charge_volts": "12.60", "charge_now_volts": "12.50"}}


def test_without_settings_all_levels_are_the_defaults(watched: Watched) -> None:
    response = watched.client.get("/v1/settings")
    settings = response.json()
    assert settings["battery"]["levels"]["flooded"] == {"plan_charge_volts": "12.40", "charge_now_volts": "12.24"}
    assert (settings["battery"]["rest_minutes"], settings["clock"]["tolerance_s"]) == (480, 120)
    assert response.headers["ETag"] == '"0"'


def test_tables_are_judged_by_the_levels_that_are_set(watched: Watched) -> None:
    watched.volts(0.1, "12.50")
    watched.read(0.2, clock={"time": "16:50", "weekday": "wed"})
    assert watched.health()["battery"]["verdict"] == "good"
    assert watched.health()["clock"]["verdict"] == "ok"
    body = {"battery": {"levels": FLOODED}, "clock": {"tolerance_s": 30}}
    assert watched.client.put("/v1/settings", json=body).json()["clock"] == {"tolerance_s": 30}
    health = watched.health()
    assert (health["battery"]["verdict"], health["battery"]["level_volts"]) == ("charge_now", "12.50")
    assert health["clock"]["verdict"] == "off"


def test_settings_are_replaced_as_a_whole(watched: Watched) -> None:
    watched.client.put("/v1/settings", json={"battery": {"levels": FLOODED, "rest_minutes": 60}})
    settings = watched.client.put("/v1/settings", json={"clock": {"tolerance_s": 60}}).json()
    assert settings["battery"]["rest_minutes"] == 480
    assert settings["battery"]["levels"]["flooded"]["plan_charge_volts"] == "12.40"
    assert watched.client.get("/v1/settings").json() == settings


def test_nobodys_change_of_settings_is_lost_where_the_etag_is_sent(watched: Watched) -> None:
    seen = watched.client.get("/v1/settings").headers["ETag"]
    first = watched.client.put("/v1/settings", json={}, headers={"If-Match": seen})
    assert (first.status_code, first.headers["ETag"]) == (200, '"1"')
    assert watched.client.put("/v1/settings", json={}, headers={"If-Match": seen}).status_code == 412
    assert watched.client.put("/v1/settings", json={}, headers={"If-Match": "*"}).status_code == 200
    assert watched.client.put("/v1/settings", json={}).headers["ETag"] == '"3"'


def test_levels_out_of_order_are_refused_all_at_once(watched: Watched) -> None:
    wrong = {"plan_charge_volts": "12.20", "charge_now_volts": "12.40"}
    response = watched.client.put("/v1/settings", json={"battery": {"levels": {"agm": wrong, "gel": wrong}}})
    assert response.status_code == 422
    assert response.json()["errors"] == [
        {
            "where": f"battery.levels.{chemistry}.charge_now_volts",
            "found": "12.40",
            "expected": "below plan_charge_volts, which is 12.20",
        }
        for chemistry in ("agm", "gel")
    ]
    for body in ({"clock": {"tolerance_s": 1800}}, {"clock": {"tolerance_s": -1}}, {"volume": 11}, {"battery": None}):
        assert watched.client.put("/v1/settings", json=body).status_code == 422
