"""Pictures: well-formed, named for a screen reader, true to their numbers, and running nothing."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET

import pytest
from baizebook.pictures.line_chart import Series, TimeChart, time_chart
from fastapi.testclient import TestClient

from tests.conftest import NOON, Route

SVG = "{http://www.w3.org/2000/svg}"
DAY = datetime(2026, 11, 1, 12, tzinfo=UTC)


def drawn(client: TestClient, path: str) -> ET.Element:
    answer = client.get(path)
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "image/svg+xml"), answer.text
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    picture = ET.fromstring(answer.content)
    assert picture.find(f"{SVG}title") is not None
    assert picture.find(f"{SVG}desc") is not None
    assert not [node for node in picture.iter() if node.tag in (f"{SVG}script", f"{SVG}image", f"{SVG}foreignObject")]
    return picture


def said(picture: ET.Element) -> list[str]:
    return [node.text or "" for node in picture.iter(f"{SVG}text")]


@pytest.fixture
def table(at_noon: TestClient, route: Route) -> dict[str, str]:
    """A table at a venue with a closed window, twelve readings of its battery, and a clock that nobody set back."""
    venue = route.venue(name="The <b>Copper</b> Lantern")["id"]
    weekly = [{"name": "Shut", "days": ["tue"], "from": "06:00", "to": "18:00", "tariff": None}]
    route.schedule(venue, route.tariff()["id"], weekly=weekly)
    power = {"kind": "battery", "chemistry": "flooded", "nominal_volts": 12}
    id_ = route.table(venue, power=power)["id"]
    readings = []
    for day in range(12):
        taken_at = datetime(2026, 10, 26, 17, tzinfo=UTC) + timedelta(days=2 * day)
        shown = "13:00"
        readings.append({
            "id": f"0198c0de-0000-4000-8000-0000000001{day:02}", "table_id": id_, "taken_at": taken_at.isoformat(),
            "supply": {"volts": f"{12.70 - day * 0.01:.2f}", "rested_minutes": 600},
            "clock": {"weekday": ("mon", "wed", "fri", "sun", "tue", "thu", "sat")[day % 7], "time": shown, "display": "24h"},
        })  # fmt: skip
    route.post("/readings", {"readings": readings})
    at_noon.app.state.clock = lambda: NOON  # type: ignore[attr-defined]
    return {"venue": venue, "table": id_}


def test_the_week_has_a_box_for_each_window(at_noon: TestClient, table: dict[str, str]) -> None:
    path = f"/v1/venues/{table['venue']}/week.svg?on=2026-12-01"
    picture = drawn(at_noon, path)
    words = said(picture)
    assert "The <b>Copper</b> Lantern, week of Mon 30 Nov 2026" in words
    assert [word for word in words if word in ("closed", "Base")] == ["Base", "closed", "Base", *["Base"] * 5]
    assert "weekday: Base" in words
    lines = at_noon.get(f"{path}&format=csv").text.splitlines()
    assert lines[0] == "on,from_at,from_at_offset,to_at,to_at_offset,window,sells"
    assert lines[2] == "2026-12-01,2026-12-01 06:00:00,-05:00,2026-12-01 18:00:00,-05:00,Shut,closed"
    assert len(lines) == 9


def test_the_battery_has_its_readings_its_level_and_its_forecast(at_noon: TestClient, table: dict[str, str]) -> None:
    path = f"/v1/tables/{table['table']}/battery.svg"
    picture = drawn(at_noon, path)
    health = at_noon.get(f"/v1/tables/{table['table']}/health").json()["battery"]
    lines = at_noon.get(f"{path}?format=csv").text.splitlines()
    assert len(list(picture.iter(f"{SVG}circle"))) == len(lines) - 1 == 12
    assert lines[1] == "2026-10-26 13:00:00,-04:00,12.700"
    assert lines[-1] == "2026-11-17 12:00:00,-05:00,12.590"
    assert len(list(picture.iter(f"{SVG}polyline"))) == 3, "the line of the forecast, and the two ends of its band"
    assert any(health["level_volts"] in word for word in said(picture))


def test_the_clock_shows_the_change_that_nobody_made(at_noon: TestClient, table: dict[str, str]) -> None:
    path = f"/v1/tables/{table['table']}/clock.svg"
    words = said(drawn(at_noon, path))
    assert "clocks back 60 min" in words
    ahead = [float(line.rsplit(",", 1)[1]) for line in at_noon.get(f"{path}?format=csv").text.splitlines()[1:]]
    assert [round(value) for value in ahead] == [0, 0, 0, *[60] * 9]


def test_over_and_short_has_a_mark_for_each_collection(at_noon: TestClient, table: dict[str, str]) -> None:
    path = f"/v1/reports/differences.svg?table_id={table['table']}"
    words = " ".join(said(drawn(at_noon, path)))
    assert "a chart needs 8" in words
    assert at_noon.get(f"{path}&format=csv").text.startswith("collected_at,collected_at_offset,collection_id,expected,")
    assert at_noon.get("/v1/reports/differences.svg").status_code == 422


def chart(words: Callable[[float], str] = str, **more: object) -> ET.Element:
    options = {"title": "T", "description": "D", "series": [], "value_words": words, **more}
    return ET.fromstring(time_chart(TimeChart(**options)))  # type: ignore[arg-type]


def test_a_chart_of_nothing_and_of_one_value_is_a_picture() -> None:
    assert "No readings yet." in said(chart())
    one = chart(series=[Series(points=[(DAY, 1.0)], kind="marks")])
    assert len(list(one.iter(f"{SVG}circle"))) == 1


def test_a_higher_value_is_drawn_higher_and_a_later_one_further_right() -> None:
    points = [(DAY, 1.0), (DAY + timedelta(days=1), 3.0), (DAY + timedelta(days=2), 2.0)]
    marks = [
        (float(node.get("cx", "")), float(node.get("cy", "")))
        for node in chart(series=[Series(points=points, kind="marks")]).iter(f"{SVG}circle")
    ]
    assert [x for x, _ in marks] == sorted(x for x, _ in marks)
    assert marks[1][1] < marks[2][1] < marks[0][1]
    assert marks[0][1] - marks[2][1] == pytest.approx(marks[2][1] - marks[1][1], abs=0.2)
