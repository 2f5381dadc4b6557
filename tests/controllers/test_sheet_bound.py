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


def long_ladder(*, first: int) -> dict[str, object]:
    prices = [{"price": f"{first + 37 * n}.00", "units": 1 + 3 * n} for n in range(50)]
    return {"prices": prices, "counting": "climb_once"}


def test_a_sheet_of_more_differences_than_anybody_reads_says_what_to_make_smaller(
    at_noon: TestClient, route: Route
) -> None:
    """A hundred tariffs of fifty prices on a controller of two made a sheet of 20 MB."""
    venue = route.venue()["id"]
    long = [
        route.post("/tariffs", {**WEEKDAY, "code": f"long-{number}", "games": long_ladder(first=100 + number)})["id"]
        for number in range(3)
    ]
    weekly = [
        {"name": f"W{n}", "days": ["mon"], "from": f"{12 + n}:00", "to": f"{13 + n}:00", "tariff": tariff}
        for n, tariff in enumerate(long)
    ]
    small = route.table(venue, label="Small", controller={"games": {"prices_max": 2}})
    most = route.table(venue, label="Most", controller={"games": {"prices_max": 45}})
    # Of each of three tariffs 48 prices are dropped, each with all the amounts that then buy something else.
    route.schedule(venue, long[0], weekly=weekly)
    refused = at_noon.get(f"/v1/tables/{small['id']}/settings-sheet")
    assert (refused.status_code, refused.json()["code"]) == (422, "too_much_work")
    (error,) = refused.json()["errors"]
    assert error["found"].endswith("amounts that buy something else than listed")
    assert at_noon.get(f"/v1/tables/{most['id']}/settings-sheet").status_code == 200
