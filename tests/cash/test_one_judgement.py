"""One collection asked for is judged by the few facts that decide it, many by all: the judgement is the same."""

from tests.cash.conftest import Till


def test_a_collection_by_itself_is_judged_as_in_the_list_of_all(till: Till) -> None:
    till.agree()
    till.collect("2026-10-03", 10, meters={"cash": 0, "plays": 0})
    till.collect("2026-10-10", 10, meters={"cash": 40, "plays": 16})
    till.collect("2026-10-17", 12, meters={"cash": 88})
    wrong = till.collect("2026-10-24", 9, meters={"cash": 100})
    till.client.post(f"/v1/collections/{wrong['id']}/reversal", json={"reason": "the wrong bag"})
    till.collect("2026-10-24", 10, meters={"cash": 128, "plays": 40})
    till.collect("2026-10-24", 0, meters={"cash": 128})  # at the same instant as the one before
    stated = {"at": "2026-10-05T12:00:00Z", "meters": {"cash": 20}}
    till.collect("2026-11-07", 10, meters={"cash": 168}, emptied_before=stated)
    till.collect("2026-10-06", 1, meters={"cash": 24})  # arrives late
    listed = till.client.get("/v1/collections").json()["items"]
    assert len(listed) == 8
    for collection in listed:
        assert till.client.get(f"/v1/collections/{collection['id']}").json() == collection


def test_a_meter_that_the_last_collection_did_not_read_has_no_known_start_and_is_no_first_reading(till: Till) -> None:
    till.collect("2026-10-03", 10, meters={"cash": 0, "plays": 0})
    till.collect("2026-10-10", 10, meters={"cash": 40})
    told = till.collect("2026-10-17", 10, meters={"cash": 80, "plays": 16})
    assert told["tables"][0]["cautions"] == ["start_unknown"]
