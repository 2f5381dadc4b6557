"""Trips through the service: planned in one call, their sheet as the work is now, seen by whom they were given to (O2)."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from baizebook.store.db import writing
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from tests.conftest import Route

METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]
PLACES = {"north": (42.0, -74.0), "east": (41.0, -72.5), "south": (40.0, -74.0), "west": (41.0, -75.5)}


class Roads:
    """Four venues around a town, on Wednesday 2026-11-25 at noon, and a collector who drives."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route = client, route
        self.token = route.post("/tokens", {"name": "Rosalind", "role": "collector"})
        self.collector = {"Authorization": f"Bearer {self.token['token']}"}
        self.venues = {
            name: route.venue(name=name, latitude=latitude, longitude=longitude)["id"]
            for name, (latitude, longitude) in PLACES.items()
        }

    def trip(self, *names: str, **more: Any) -> dict[str, Any]:
        stops = {"stops": [self.venues[name] for name in names]} if names else {}
        return {"on": "2026-11-26", "person": "Rosalind", **stops, **more}

    def plan(self, *names: str, **more: Any) -> dict[str, Any]:
        return self.route.post("/trips", self.trip(*names, **more))

    def refused(self, body: dict[str, Any]) -> tuple[int, str, str]:
        answer = self.client.post("/v1/trips", json=body)
        problem = answer.json()
        return answer.status_code, problem["code"], problem["errors"][0]["where"]

    def read(self, trip_id: str, **headers: str) -> dict[str, Any]:
        answer = self.client.get(f"/v1/trips/{trip_id}", headers=headers or None)
        assert answer.status_code == 200, answer.text
        return answer.json()  # type: ignore[no-any-return]


@pytest.fixture
def roads(at_noon: TestClient, route: Route) -> Roads:
    return Roads(at_noon, route)


def names_of(trip: dict[str, Any]) -> list[str]:
    return [stop["venue"] for stop in trip["stops"]]


def test_stops_stay_in_the_order_given_or_go_the_shortest_way_round(roads: Roads) -> None:
    given = roads.plan("north", "south", "east", "west", order="given")
    assert names_of(given) == ["north", "south", "east", "west"]
    shortest = roads.plan("north", "south", "east", "west", order="shortest")
    assert names_of(shortest) == ["north", "east", "south", "west"]
    assert shortest["round_km"] < given["round_km"]
    assert shortest["stops"][0]["leg_km"] is None
    home = {"latitude": 41.0, "longitude": -76.0}
    from_home = roads.plan("east", "south", "west", "north", order="shortest", start=home)
    assert names_of(from_home) == ["west", "south", "east", "north"]
    assert roads.read(from_home["id"]) == from_home
    alone = roads.plan("west", start=home)
    assert (
        alone["stops"][0]["leg_km"] == 42.0
    )  # half a degree along the 41st parallel: cos 41° · 111.195 km / 2 = 41.96
    assert alone["round_km"] == 83.9


def test_a_collector_sees_and_ends_the_trips_given_to_them_alone(roads: Roads) -> None:
    own, other = roads.plan("north"), roads.plan("south", person="the owner")
    listed = roads.client.get("/v1/trips", headers=roads.collector).json()["items"]
    assert [trip["id"] for trip in listed] == [own["id"]]
    assert [trip["id"] for trip in roads.client.get("/v1/trips").json()["items"]] == [own["id"], other["id"]]
    assert roads.client.get("/v1/trips?person=Rosalind&on=2026-11-27").json()["items"] == []
    assert roads.read(own["id"], **roads.collector)["stops"][0]["venue"] == "north"
    for path in ("", "/completion"):
        answer = roads.client.request(
            "POST" if path else "GET",
            f"/v1/trips/{other['id']}{path}",
            json={} if path else None,
            headers=roads.collector,
        )
        assert answer.status_code == 404
    done = roads.client.post(
        f"/v1/trips/{own['id']}/completion", json={"words": "Snow."}, headers=roads.collector
    ).json()
    assert (done["state"], done["end"]["words"], done["end"]["by"]) == ("done", "Snow.", "Rosalind")
    again = roads.client.post(f"/v1/trips/{own['id']}/cancellation", json={"reason": "Late."})
    assert (again.status_code, again.json()["code"]) == (409, "trip_ended")
    cancelled = roads.route.post(f"/trips/{other['id']}/cancellation", {"reason": "Late."})
    assert (cancelled["state"], cancelled["end"]["words"]) == ("cancelled", "Late.")


def test_the_sheet_has_work_tables_boxes_and_what_is_carried(roads: Roads) -> None:
    tariff = roads.route.tariff()
    roads.route.schedule(
        roads.venues["north"], tariff["id"], weekly=[{"name": "Closed", "days": ["thu"], "tariff": None}]
    )
    power = {"kind": "battery", "chemistry": "agm", "nominal_volts": 12}
    table = roads.route.table(
        roads.venues["north"], label="Bay", meters=METERS, power=power, placed_at="2026-11-01T12:00:00Z"
    )
    for at, cash, quarters, fives in (("2026-11-05", 1000, 0, 0), ("2026-11-15", 1800, 400, 20)):
        box = {"table_id": table["id"], "meters": {"cash": cash}, "counted": {"0.25": quarters, "5.00": fives}}
        body = {
            "id": str(uuid4()),
            "venue_id": table["venue_id"],
            "collected_at": f"{at}T23:00:00Z",
            "collector": "Ana",
        }
        roads.route.post("/collections", {**body, "tables": [box]})
    roads.route.table(roads.venues["south"], label="New")
    job = {
        "id": str(uuid4()),
        "table_id": table["id"],
        "reported_at": "2026-11-24T12:00:00Z",
        "fault": "lamp_out",
        "playable": True,
    }
    roads.route.post("/jobs", job)
    roads.route.post(f"/jobs/{job['id']}/waiting", {"words": "A lamp, 60 W."})
    trip = roads.read(roads.plan("north", "south")["id"])
    north, south = trip["stops"]
    assert north["hours"] == []  # closed on Thursday
    assert south["hours"] is None
    (bay,) = north["tables"]
    # 200.00 in ten days, and 11 days from 15 November, 18:00, to 18:00 of the 26th at the venue: 220.00, in the same mix.
    assert bay["box"] == {
        "currency": "USD",
        "amount": "220.00",
        "pieces": [{"denomination": "0.25", "count": 440}, {"denomination": "5.00", "count": 22}],
        "coins_kg": "2.49",  # 440 × 5.670 g (US Mint)
    }
    assert (bay["empty"], bay["needs_key"], bay["read"]) == (
        True, True, ["battery voltage", "day and time on its clock", "meter cash"],
    )  # fmt: skip
    assert [work["code"] for work in bay["work"]] == ["not_keyed"]
    assert bay["key"] == [bay["work"][0]["refers_to"]]
    assert [(one["fault"], one["waits_for"]) for one in bay["jobs"]] == [("lamp_out", "A lamp, 60 W.")]
    assert (north["bags"], north["not_known"], south["bags"], south["not_known"]) == (1, 0, 1, 1)
    assert north["carried"] == {"amounts": [{"currency": "USD", "amount": "220.00"}], "coins_kg": "2.49"}
    assert south["carried"] == north["carried"]
    bring = trip["bring"]
    assert bring["keys"] == ["Bay, north", "New, south"]
    assert [sheet["path"] for sheet in bring["sheets"]] == [f"/v1/tables/{table['id']}/settings-sheet?on=2026-11-26"]
    assert [sheet["on"] for sheet in bring["sheets"]] == ["2026-11-26"]
    assert bring["parts"] == [{"item": "A lamp, 60 W", "tables": ["Bay"]}]
    keying = {"schedule_id": bay["key"][0], "keyed_at": "2026-11-25T16:00:00Z", "by": "Ana"}
    roads.route.post(f"/tables/{table['id']}/keyings", keying)
    confirmed_by = roads.read(trip["id"])["bring"]["sheets"]  # due a week later, but read on the day of the trip
    assert [sheet["path"] for sheet in confirmed_by] == [sheet["path"] for sheet in bring["sheets"]]
    assert (bring["bags"], bring["seals"]) == (2, 2)
    codes = [caution["code"] for caution in trip["cautions"]]
    assert {"not_alone", "hand_it_over", "lifting_cash"} <= set(codes)
    assert codes[-1] == "local_rules"
    assert codes.count("local_rules") == 1
    assert sum(Decimal(one["amount"]) for one in south["carried"]["amounts"]) == Decimal(bay["box"]["amount"])


def test_a_trip_from_work_stops_where_the_work_is_and_empties_only_what_it_says(roads: Roads) -> None:
    table = roads.route.table(roads.venues["west"], label="Bay", meters=METERS)
    roads.client.app.state.clock = lambda: datetime(2026, 12, 20, 17, tzinfo=UTC)  # type: ignore[attr-defined]
    (item,) = roads.client.get("/v1/worklist", params={"venue_id": roads.venues["west"]}).json()["items"]
    trip = roads.plan("east", work=[item["id"]], on="2026-12-21")
    assert names_of(trip) == ["east", "west"]
    (bay,) = trip["stops"][1]["tables"]
    assert (bay["id"], bay["empty"], [work["id"] for work in bay["work"]]) == (table["id"], False, [item["id"]])
    assert trip["bring"]["bags"] == 0
    assert "not_alone" not in [caution["code"] for caution in trip["cautions"]]


def test_what_cannot_be_is_refused(roads: Roads) -> None:
    nowhere = roads.route.venue(name="nowhere")["id"]
    left = roads.route.venue(name="left")["id"]
    roads.route.post(f"/venues/{left}/departure", {"on": "2026-11-25"})
    absent = str(uuid4())
    north = roads.venues["north"]
    for body, expected in (
        (roads.trip("north", "north"), (422, "invalid", "stops[1]")),
        (roads.trip(), (422, "invalid", "stops")),
        (roads.trip(stops=[]), (422, "invalid", "stops")),
        (roads.trip(stops=[north, absent]), (404, "not_found", "stops[1]")),
        (roads.trip(work=[absent]), (404, "not_found", "work[0]")),
        (roads.trip(work=[absent, absent]), (422, "invalid", "work[1]")),
        (roads.trip("north", on="2026-11-24"), (422, "invalid", "on")),
        (roads.trip("north", person="Nobody"), (422, "unknown_person", "person")),
        (roads.trip(stops=[left]), (409, "venue_left", "stops[0]")),
        (roads.trip(stops=[north, nowhere], order="shortest"), (422, "no_coordinates", "stops[1]")),
        (roads.trip("north", order="nearest"), (422, "invalid", "order")),
        (roads.trip("north", start={"latitude": 91, "longitude": 0}), (422, "invalid", "start.latitude")),
    ):
        assert roads.refused(body) == expected, body
    roads.client.delete(f"/v1/tokens/{roads.token['id']}")
    assert roads.refused(roads.trip("north")) == (422, "unknown_person", "person")
    assert roads.client.get("/v1/trips").json()["items"] == []


def test_thirteen_stops_are_too_many_for_the_shortest_round_and_fine_as_given(roads: Roads) -> None:
    stops = [
        roads.route.venue(name=f"stop {place}", latitude=40 + place / 10, longitude=-74)["id"] for place in range(13)
    ]
    assert roads.refused(roads.trip(stops=stops, order="shortest", person="the owner")) == (
        422,
        "too_many_stops",
        "stops",
    )
    assert len(roads.plan(stops=stops)["stops"]) == 13
    assert len(roads.plan(stops=stops[:12], order="shortest")["stops"]) == 12


def test_coordinates_come_in_pairs_and_can_be_changed_and_taken_out(roads: Roads) -> None:
    def change(**values: Any) -> tuple[int, Any]:
        answer = roads.client.patch(f"/v1/venues/{roads.venues['north']}", json=values, headers={"If-Match": "*"})
        body = answer.json()
        return answer.status_code, (body["latitude"], body["longitude"]) if answer.is_success else body["errors"][0][
            "where"
        ]

    assert change(latitude=42.5) == (200, (42.5, -74.0))
    assert change(latitude=None) == (422, "latitude")
    assert change(latitude=None, longitude=None) == (200, (None, None))
    assert change(longitude=7) == (422, "latitude")
    assert change(latitude="42", longitude=7) == (422, "latitude")
    for wrong in ({"latitude": 1}, {"latitude": -90.1, "longitude": 0}, {"latitude": 0, "longitude": 180.5}):
        body = {"name": "x", "time_zone": "UTC", "currency": "USD", **wrong}
        assert roads.client.post("/v1/venues", json=body).status_code == 422


def test_a_trip_is_never_changed(engine: Engine, roads: Roads) -> None:
    roads.plan("north")
    for statement in ("UPDATE trip SET person = 'x'", "DELETE FROM trip_stop"):
        with pytest.raises(DBAPIError, match="append-only"), writing(engine) as session:
            session.execute(text(statement))
