"""Whether a change of prices paid, over HTTP (N3)."""

from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route
from tests.price_changes.conftest import CHANGED_ON, TwoVenues


def asked(client: TestClient, **query: object) -> tuple[int, dict[str, object]]:
    response = client.get("/v1/reports/price-change", params=query)  # type: ignore[arg-type]
    return response.status_code, response.json()


def test_a_change_that_brought_more_is_judged_so(two_venues: TwoVenues) -> None:
    two_venues.weeks_of_trade(more_after=20)
    client = two_venues.client
    status, found = asked(client, tariff_id=two_venues.dear, weeks=5)
    assert status == 200, found
    assert (found["verdict"], found["effect"]) == ("more", "20.00")
    assert found["sentence"] == (
        "The change brought 20.00 USD more per table and week than no change: "
        f"between {found['interval'][0]} and {found['interval'][1]} more, at nine chances in ten."  # type: ignore[index]
    )
    assert (found["changed"]["tables"], found["beside"]["tables"]) == (6, 6)  # type: ignore[index]
    assert found["first_changed_on"] == found["last_changed_on"] == CHANGED_ON.isoformat()
    assert [week["week"] for week in found["by_week"]] == [*range(-5, 0), *range(1, 6)]  # type: ignore[attr-defined]
    assert found["games"]["verdict"] == "less"  # type: ignore[index]
    assert found["cannot_know"]
    assert asked(client, tariff_id=two_venues.dear, weeks=5) == (200, found)
    drawn = client.get(f"/v1/reports/price-change?tariff_id={two_venues.dear}&weeks=5&format=svg")
    assert (drawn.status_code, drawn.text.count("<polyline")) == (200, 4)
    lines = client.get(f"/v1/reports/price-change?tariff_id={two_venues.dear}&weeks=5&format=csv").text.splitlines()
    assert (lines[0], len(lines)) == ("week,currency,changed,beside", 11)


def test_a_schedule_is_asked_about_like_its_tariff(two_venues: TwoVenues) -> None:
    two_venues.weeks_of_trade(more_after=0)
    schedules = two_venues.client.get(f"/v1/venues/{two_venues.venues[0]}/schedules").json()["items"]
    by_schedule = asked(two_venues.client, schedule_id=schedules[-1]["id"], weeks=3)
    assert by_schedule == asked(two_venues.client, tariff_id=two_venues.dear, weeks=3)
    assert by_schedule[1]["verdict"] == "cannot_tell"
    assert str(by_schedule[1]["sentence"]).startswith("Cannot tell whether the change paid: it brought between")


def test_too_few_weeks_and_no_tables_beside_cannot_tell(two_venues: TwoVenues) -> None:
    two_venues.change_prices(0)
    status, found = asked(two_venues.client, tariff_id=two_venues.dear)
    assert (status, found["verdict"], found["effect"], found["interval"]) == (200, "cannot_tell", None, None)
    assert found["sentence"] == (
        "Cannot tell whether the change paid: it takes at least 5 tables that changed, each with 2 whole collected weeks "
        "before and after the change; there are none yet."
    )
    assert {one["why"] for one in found["left_out"]} == {"nothing_collected"}  # type: ignore[attr-defined]
    two_venues.change_prices(1)
    _, found = asked(two_venues.client, tariff_id=two_venues.dear)
    assert (found["verdict"], found["beside"]["tables"]) == ("cannot_tell", 0)  # type: ignore[index]


def test_questions_without_an_answer_are_refused(client: TestClient, two_venues: TwoVenues) -> None:
    never = asked(client, tariff_id=two_venues.dear)[1]
    assert (never["code"], never["errors"][0]["where"]) == ("no_price_change", "query.tariff_id")  # type: ignore[index]
    assert never["errors"][0]["found"].endswith(", version 1")  # type: ignore[index]
    assert asked(client, tariff_id=two_venues.cheap)[1]["code"] == "no_price_change"
    assert asked(client, tariff_id=str(uuid4()))[0] == asked(client, schedule_id=str(uuid4()))[0] == 404
    assert asked(client)[0] == asked(client, tariff_id=str(uuid4()), schedule_id=str(uuid4()))[0] == 422


@pytest.mark.parametrize("weeks", ["1", "0", "-8", "53", "eight"])
def test_weeks_are_two_to_fifty_two(at_noon: TestClient, weeks: str) -> None:
    status, found = asked(at_noon, tariff_id=str(uuid4()), weeks=weeks)
    assert (status, found["errors"][0]["where"]) == (422, "query.weeks")  # type: ignore[index]


def test_a_collector_and_a_venue_see_none_of_it(at_noon: TestClient, route: Route) -> None:
    for headers in (route.token("collector"), route.token("venue", venue_id=route.venue()["id"])):
        assert at_noon.get(f"/v1/reports/price-change?tariff_id={uuid4()}", headers=headers).status_code == 403
