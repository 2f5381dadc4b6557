"""A sheet that nobody could key is refused before it is made (E4)."""

from fastapi.testclient import TestClient

from tests.conftest import WEEKDAY, Route

DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
FIFTY = {"prices": [{"price": f"{n}.00", "units": n} for n in range(1, 51)]}


def test_a_sheet_of_more_prices_than_anybody_keys_says_what_to_state(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    dear = [
        route.post("/tariffs", {**WEEKDAY, "code": f"long-{n}", "games": {**FIFTY, "counting": counting}})["id"]
        for n, counting in enumerate(("repeat", "climb_once"))
    ]
    weekly = [
        {"name": f"W{n}", "days": DAYS, "from": f"{6 + n // 2:02}:{30 * (n % 2):02}", "tariff": dear[n % 2]}
        for n in range(30)
    ]
    route.schedule(venue, None, weekly=weekly)
    table = route.table(venue)
    refused = at_noon.get(f"/v1/tables/{table['id']}/settings-sheet")
    assert (refused.status_code, refused.json()["code"]) == (422, "too_much_work")
    (error,) = refused.json()["errors"]
    # 7 days of 31 windows (midnight cuts one), each of 50 prices of games and 2 of minutes.
    assert (error["where"], error["found"]) == ("table_id", f"{7 * 31 * 52} prices to key")
    stated = route.table(venue, label="Stated", controller={"windows_per_day": 4})
    assert at_noon.get(f"/v1/tables/{stated['id']}/settings-sheet").status_code == 200
