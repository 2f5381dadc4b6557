"""Tariffs through the service: published, checked, listed, never changed."""

from fastapi.testclient import TestClient

from tests.conftest import WEEKDAY, Route

ABSENT = "00000000-0000-4000-8000-000000000000"
HALL = {
    "code": "hall",
    "name": "Hall time",
    "currency": "USD",
    "metered": {
        "start_fee": "1",
        "per": "player",
        "tiers": [
            {"from_minutes": 0, "price": "9.00", "per_minutes": 60, "step_minutes": 15},
            {"from_minutes": 120, "price": "7.5", "per_minutes": 60},
        ],
        "minimum": "3.00",
        "maximum": {"amount": "40.00", "per_minutes": 720},
    },
}


def test_a_tariff_is_published_and_read_with_every_field_there(client: TestClient) -> None:
    made = client.post("/v1/tariffs", json=WEEKDAY)
    assert made.status_code == 201
    tariff = made.json()
    assert (tariff["code"], tariff["version"], tariff["free"], tariff["metered"]) == ("weekday", 1, False, None)
    assert tariff["games"] == {
        "prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}, {"price": "7.00", "units": 11}],
        "counting": "repeat",
    }
    assert client.get(made.headers["Location"]).json() == tariff


def test_metered_rates_are_read_with_full_decimals_and_their_steps(route: Route) -> None:
    metered = route.post("/tariffs", HALL)["metered"]
    assert (metered["start_fee"], metered["tier_mode"], metered["per"], metered["minimum"]) == (
        "1.00", "add", "player", "3.00",
    )  # fmt: skip
    assert metered["tiers"][1] == {"from_minutes": 120, "price": "7.50", "per_minutes": 60, "step_minutes": 60}
    assert metered["maximum"] == {"amount": "40.00", "per_minutes": 720}
    tiers = [{"from_minutes": 0, "price": "5.00"}, {"from_minutes": 60, "price": "8.00"}]
    set_price = route.post("/tariffs", {**HALL, "metered": {"tier_mode": "set", "tiers": tiers}})["metered"]
    assert set_price["tiers"][0] == {"from_minutes": 0, "price": "5.00", "per_minutes": None, "step_minutes": None}
    assert set_price["maximum"] is None


def test_versions_count_up_for_each_code(client: TestClient, route: Route) -> None:
    made = [route.tariff(), route.tariff(name="Dearer"), route.tariff(code="weekend")]
    assert [(tariff["code"], tariff["version"]) for tariff in made] == [("weekday", 1), ("weekday", 2), ("weekend", 1)]
    first = client.get("/v1/tariffs?limit=2")
    assert [tariff["id"] for tariff in first.json()["items"]] == [tariff["id"] for tariff in made[:2]]
    rest = client.get(first.headers["Link"].partition(">")[0].lstrip("<")).json()
    assert rest == {"items": made[2:], "next": None}
    assert made[0]["name"] == "Weekday play"


def test_a_free_tariff_carries_no_prices(route: Route) -> None:
    free = route.post("/tariffs", {"code": "open-house", "name": "Open house", "currency": "EUR", "free": True})
    assert (free["free"], free["games"], free["minutes"], free["metered"], free["advice"]) == (
        True,
        None,
        None,
        None,
        [],
    )


def test_advice_comes_with_a_tariff_and_refuses_nothing(client: TestClient) -> None:
    rungs = [{"price": "1.00", "units": 1}, {"price": "4.00", "units": 4}, {"price": "6.00", "units": 7}]
    made = client.post("/v1/tariffs", json={**WEEKDAY, "games": {"prices": rungs}, "minutes": {"prices": rungs[:1]}})
    assert made.status_code == 201
    advice = made.json()["advice"]
    assert [(item["code"], item["kind"]) for item in advice][:1] == [("break_adds_nothing", "games")]
    assert (advice[0]["amount"], advice[0]["units"]) == ("4.00", 4)
    assert all(item["detail"] for item in advice)


def test_a_check_judges_like_publishing_and_stores_nothing(client: TestClient) -> None:
    checked = client.post("/v1/tariffs/check", json=WEEKDAY)
    assert checked.status_code == 200
    assert client.get("/v1/tariffs").json()["items"] == []
    published = client.post("/v1/tariffs", json=WEEKDAY).json()
    assert {**published, **checked.json()} == published
    assert set(published) - set(checked.json()) == {"id", "version", "published_at"}
    falling = {**WEEKDAY, "games": {"prices": [{"price": "1.00", "units": 2}, {"price": "3.00", "units": 5}]}}
    for path in ("/v1/tariffs", "/v1/tariffs/check"):
        refused = client.post(path, json=falling).json()
        assert (refused["status"], refused["type"]) == (422, "/problems/price_break_worse")
        assert refused["errors"][0]["where"] == "games.prices[1].units"
        assert "6" in refused["errors"][0]["expected"]


def test_all_mistakes_of_a_tariff_are_said_at_once(client: TestClient) -> None:
    games = {"prices": [{"price": "0.755", "units": 1}, {"price": "4.00", "units": 6}]}
    metered = {"tiers": [{"from_minutes": 5, "price": "9.00", "per_minutes": 60}], "start_fee": "1.005"}
    answer = client.post("/v1/tariffs", json={**WEEKDAY, "games": games, "metered": metered}).json()
    assert [error["where"] for error in answer["errors"]] == ["games.prices[0].price", "metered.start_fee"]


def test_wrong_amounts_are_said_as_money_not_in_minor_units(client: TestClient) -> None:
    def refused(**kinds: object) -> list[dict[str, str]]:
        answer = client.post("/v1/tariffs", json={"code": "a", "name": "a", "currency": "USD", **kinds})
        errors: list[dict[str, str]] = answer.json()["errors"]
        return errors

    assert refused(games={"prices": [{"price": "4.00", "units": 1}, {"price": "2.5", "units": 2}]}) == [
        {"where": "games.prices[1].price", "found": "2.50", "expected": "more than 4.00, as in the price before it"}
    ]
    assert refused(games={"prices": [{"price": "0.00", "units": 1}]}) == [
        {"where": "games.prices[0].price", "found": "0.00", "expected": "more than 0"}
    ]
    metered = {"tiers": [{"from_minutes": 0, "price": "9.00", "per_minutes": 60}], "minimum": "50.00"}
    assert refused(metered={**metered, "maximum": {"amount": "40.00"}}) == [
        {"where": "metered.minimum", "found": "50.00", "expected": "at most the maximum, 40.00"}
    ]


def test_a_tariff_that_is_not_there_is_not_found(client: TestClient) -> None:
    answer = client.get(f"/v1/tariffs/{ABSENT}")
    assert (answer.status_code, answer.json()["detail"]) == (404, "Tariff not found.")
    for method in ("PUT", "PATCH"):
        refused = client.request(method, f"/v1/tariffs/{ABSENT}")
        assert (refused.status_code, refused.headers["Allow"]) == (405, "DELETE, GET, HEAD")


EXAMPLE_C = {"prices": [{"price": "1.00", "units": 1}, {"price": "3.00", "units": 4}, {"price": "10.00", "units": 16}]}


def test_the_way_a_controller_counts_is_found_out_with_a_few_coins(route: Route) -> None:
    asked = {"currency": "USD", "settings": [EXAMPLE_C], "observations": [], "accepts": ["1.00", "5.00"]}
    first = route.post("/tariffs/counting-check", asked)
    assert [fit["counting"] for fit in first["fits"]] == ["repeat", "climb", "climb_once"]
    assert first["next_sum"]["money"] == "16.00"
    assert first["next_sum"]["outcomes"] == [
        {"units": 22, "fits": [2]}, {"units": 23, "fits": [1]}, {"units": 24, "fits": [0]},
    ]  # fmt: skip
    coins = {"inserted": ["1.00", "1.00", "1.00", "1.00", "1.00", "1.00"], "shown": [1, 2, 4, 5, 6, 7]}
    at_the_end = {"inserted": ["10.00", "5.00", "1.00"], "shown": [23]}
    found = route.post("/tariffs/counting-check", {**asked, "observations": [coins, at_the_end]})
    assert (found["detail"], found["next_sum"]) == ("One way fits.", None)
    assert [(fit["settings"], fit["counting"]) for fit in found["fits"]] == [(0, "climb")]
    assert [
        (row["counting"], row["observation"], row["coin"], row["money"], row["shown"], row["expected"])
        for row in found["ruled_out"]
    ] == [("repeat", 0, 5, "6.00", 7, 8), ("climb_once", 1, 2, "16.00", 23, 22)]


def test_prices_that_are_not_sent_are_read_from_what_was_seen(route: Route) -> None:
    coins = {"inserted": ["1.00"] * 10, "shown": [1, 2, 4, 5, 6, 7, 8, 9, 10, 16]}
    found = route.post("/tariffs/counting-check", {"currency": "USD", "observations": [coins]})
    assert [fit["counting"] for fit in found["fits"]] == ["climb", "climb_once"]
    assert all(fit["prices"] == EXAMPLE_C["prices"] and fit["settings"] is None for fit in found["fits"])
    assert found["next_sum"]["money"] == "13.00"


def test_a_way_that_these_prices_do_not_allow_is_ruled_out_and_a_wrong_price_refused(
    client: TestClient, route: Route
) -> None:
    climbing = {"prices": [*EXAMPLE_C["prices"][:2], {"price": "10.00", "units": 12}]}
    found = route.post("/tariffs/counting-check", {"currency": "USD", "settings": [climbing], "observations": []})
    assert [fit["counting"] for fit in found["fits"]] == ["climb", "climb_once"]
    (never,) = found["ruled_out"]
    assert (never["counting"], never["observation"], never["money"]) == ("repeat", None, None)
    assert "at least 13" in never["detail"]
    wrong = {
        "currency": "USD",
        "settings": [{"prices": [{"price": "1.005", "units": 1}]}, {**climbing, "counting": "repeat"}],
        "observations": [{"inserted": ["1.00", "0.00"], "shown": [1, 1, 1]}],
    }
    refused = client.post("/v1/tariffs/counting-check", json=wrong)
    assert refused.status_code == 422
    assert [error["where"] for error in refused.json()["errors"]] == [
        "observations[0].inserted[1]",
        "observations[0].shown",
        "settings[0].prices[0].price",
        "settings[1].prices[2].units",
    ]
