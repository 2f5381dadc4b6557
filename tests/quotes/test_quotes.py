"""What does this money buy, here, then? Asked through the service, on both databases."""

from fastapi.testclient import TestClient

from tests.conftest import Route


def test_ten_dollars_on_tuesday_at_nine_buy_fifteen_games(client: TestClient, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    route.schedule(venue["id"], tariff["id"])
    answer = client.get(f"/v1/quotes?venue_id={venue['id']}&day=tuesday&time=21:00&money=10.00").json()
    games, minutes = answer["offers"]
    assert (games["units"], games["spends"], games["left"], games["per_unit"]) == (15, "10.00", "0.00", "0.67")
    assert games["next_break"] == {"add": "1.00", "units": 17}
    assert (minutes["units"], minutes["spends"], minutes["left"]) == (50, "8.00", "2.00")
    assert minutes["next_break"] == {"add": "2.00", "units": 84}
    assert answer["at"].endswith("T21:00:00-05:00") or answer["at"].endswith("T21:00:00-04:00")
    assert answer["window"]["name"] == "Base"
