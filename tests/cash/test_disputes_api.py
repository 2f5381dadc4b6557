"""Disputes hang on a collection until they are answered."""

from tests.cash.conftest import Till

CLAIM = {"by": "The landlord", "claims": "12.00 more was in the box", "reason": "He counted along."}
ANSWER = {"by": "The owner", "answer": "Counted again: the note was in the bag. 12.00 follow."}


def test_a_dispute_hangs_on_its_collection_until_it_is_answered(till: Till) -> None:
    told = till.collect("2026-10-10", 100)
    dispute = till.route.post(f"/collections/{told['id']}/disputes", CLAIM)
    assert (dispute["by"], dispute["claims"], dispute["answer"]) == (CLAIM["by"], CLAIM["claims"], None)
    path = f"/collections/{told['id']}/disputes/{dispute['id']}/answer"
    assert till.client.get(f"/v1/collections/{told['id']}").json()["disputes"] == [dispute]
    answered = till.route.post(path, ANSWER)
    assert (answered["answer"], answered["answered_at"]) == (ANSWER["answer"], "2026-11-25T17:00:00Z")
    assert till.client.get(f"/v1/collections/{told['id']}").json()["disputes"] == [answered]
    assert till.refused(ANSWER, path)[:2] == (409, "already_answered")


def test_a_dispute_is_answered_only_where_it_hangs_and_by_an_owner(till: Till) -> None:
    one = till.collect("2026-10-10", 100, collector="a collector")
    other = till.collect("2026-10-11", 100)
    collector = till.route.token("collector")
    raised = till.client.post(f"/v1/collections/{one['id']}/disputes", json=CLAIM, headers=collector)
    assert raised.status_code == 201
    dispute = raised.json()["id"]
    assert till.refused(ANSWER, f"/collections/{other['id']}/disputes/{dispute}/answer")[:2] == (404, "not_found")
    path = f"/v1/collections/{one['id']}/disputes/{dispute}/answer"
    assert till.client.post(path, json=ANSWER, headers=collector).status_code == 403


def test_a_dispute_says_who_what_and_why(till: Till) -> None:
    told = till.collect("2026-10-10", 100)
    for name in CLAIM:
        path = f"/collections/{told['id']}/disputes"
        assert till.refused({**CLAIM, name: ""}, path) == (422, "invalid", [name])
