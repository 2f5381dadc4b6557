"""Readings on record: paged by arrival without a skip, struck by a later note, their newest by when they were taken."""

import threading
from datetime import UTC, datetime
from uuid import UUID, uuid4

from baizebook.readings import queries, service
from baizebook.readings.admission import Sender
from baizebook.readings.schemas import ReadingIn
from baizebook.store.db import reading, writing
from sqlalchemy import Engine
from sqlmodel import Session

from tests.readings.conftest import Readings

SINCE = datetime(2026, 1, 1, tzinfo=UTC)


def test_pages_follow_the_order_of_arrival_whatever_was_taken_when(readings: Readings) -> None:
    minutes = (4, 1, 3, 2, 1)
    for n, minute in enumerate(minutes):
        readings.post(readings.reading(taken_at=f"2026-11-25T12:0{minute}:00-05:00", note=str(n)))
    first = readings.client.get("/v1/readings?limit=2")
    second = readings.client.get(f"/v1/readings?limit=2&after={first.json()['next']}").json()
    third = readings.client.get(f"/v1/readings?limit=2&after={second['next']}").json()
    pages = [first.json(), second, third]
    assert [[item["note"] for item in page["items"]] for page in pages] == [["0", "1"], ["2", "3"], ["4"]]
    assert third["next"] is None
    assert first.headers["Link"] == f'</v1/readings?limit=2&after={first.json()["next"]}>; rel="next"'


def test_the_list_goes_on_after_the_last_one_seen(readings: Readings) -> None:
    sent = [readings.reading() for _ in range(3)]
    readings.post(*sent)
    assert readings.stored(f"after={sent[2]['id']}") == []
    later = readings.reading()
    readings.post(later)
    assert [item["id"] for item in readings.stored(f"after={sent[2]['id']}")] == [later["id"]]


def test_after_names_a_reading(readings: Readings) -> None:
    response = readings.client.get(f"/v1/readings?after={uuid4()}")
    assert (response.status_code, response.json()["errors"][0]["where"]) == (422, "after")


def test_who_records_at_once_is_numbered_in_the_order_of_commit(readings: Readings, engine: Engine) -> None:
    table_id = readings.table["id"]

    def record(session: Session, note: str) -> None:
        sent = ReadingIn.model_validate(readings.reading(note=note))
        service.record_readings(session, [sent], sender=Sender("a test"), now=datetime(2026, 11, 25, 17, 2, tzinfo=UTC))

    def record_second() -> None:
        with writing(engine) as session:
            record(session, "second")

    with writing(engine) as session:
        record(session, "first")
        second = threading.Thread(target=record_second)
        second.start()
        second.join(0.3)
        assert second.is_alive()  # it waits for the first to be committed
    second.join(5)
    assert [item["note"] for item in readings.stored(f"table_id={table_id}")] == ["first", "second"]


def test_a_struck_reading_stays_visible_and_counts_no_more(readings: Readings, engine: Engine) -> None:
    kept, wrong = (readings.reading(supply={"volts": volts}) for volts in ("12.50", "21.50"))
    readings.post(kept, wrong)
    struck = readings.route.post(f"/readings/{wrong['id']}/void", {"reason": "digits swapped"})
    assert (struck["voided"]["reason"], struck["voided"]["voided_by"]) == ("digits swapped", "the owner")
    assert [item["voided"] is None for item in readings.stored()] == [True, False]
    assert voltages(engine, readings) == [12_500]
    again = readings.client.post(f"/v1/readings/{wrong['id']}/void", json={"reason": "once more"})
    assert (again.status_code, again.json()["type"]) == (409, "/problems/already_void")
    assert readings.post(wrong)["duplicate"] == 1


def test_a_reading_that_does_not_exist_cannot_be_struck(readings: Readings) -> None:
    assert readings.client.post(f"/v1/readings/{uuid4()}/void", json={"reason": "no"}).status_code == 404


def test_the_newest_is_the_last_taken_and_neither_late_nor_odd_ones_are(readings: Readings, engine: Engine) -> None:
    taken = (("12:04:00", "12.40"), ("12:01:00", "12.60"), ("12:06:00", "12.10"))
    for at, volts in taken:
        readings.post(readings.reading(taken_at=f"2026-11-25T{at}-05:00", supply={"volts": volts}))
    assert voltages(engine, readings) == [12_600, 12_400]
    assert voltages(engine, readings, rows_max=1) == [12_400]


def voltages(engine: Engine, readings: Readings, rows_max: int = 10) -> list[int]:
    table_id = UUID(readings.table["id"])
    with reading(engine) as session:
        found = queries.history(session, [table_id], "supply", since=SINCE, rows_max=rows_max)[table_id]
    return [row.battery_mv for row in found]


def test_several_histories_in_one_scan_are_those_of_each_kind_alone(readings: Readings, engine: Engine) -> None:
    shown = [
        {"supply": {"volts": "12.50"}, "meters": {"cash": 1}},
        {"clock": {"time": "12:01"}, "done": ["clock_set"]},
        {"supply": {"volts": "12.40"}},
        {"meters": {"cash": 2}},
        {"supply": {"volts": "12.30"}, "clock": {"time": "12:01"}, "meters": {"cash": 3}},
        {"note": "nothing read"},
    ]
    readings.post(
        *(readings.reading(taken_at=f"2026-11-25T11:0{n // 2}:00-05:00", **one) for n, one in enumerate(shown))
    )
    table_id = UUID(readings.table["id"])
    rows_max: dict[queries.ReadingPart, int] = {"supply": 2, "clock": 500, "meters": 2}
    with reading(engine) as session:
        found = queries.histories(session, [table_id], rows_max, since=SINCE)
        for kind, most in rows_max.items():
            alone = queries.history(session, [table_id], kind, since=SINCE, rows_max=most)[table_id]
            assert len(alone) == 2
            assert [row._mapping for row in alone] == [
                {name: row._mapping[name] for name in alone[0]._fields} for row in found[kind][table_id]
            ]
