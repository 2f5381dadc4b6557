"""Order of recording: a counter's numbers follow commits, on both databases."""

from datetime import timedelta
from threading import Event, Thread

from baizebook.store.db import writing
from baizebook.store.sequence import last_recorded_at, next_number
from sqlalchemy import Engine

from tests.conftest import NOON


def test_numbers_count_from_one_and_a_failed_transaction_leaves_no_gap(engine: Engine) -> None:
    with writing(engine) as session:
        assert [next_number(session, "cash", now=NOON).number for _ in range(3)] == [1, 2, 3]
        assert next_number(session, "another", now=NOON).number == 1
    try:
        with writing(engine) as session:
            assert next_number(session, "cash", now=NOON).number == 4
            raise RuntimeError
    except RuntimeError:
        pass
    with writing(engine) as session:
        assert next_number(session, "cash", now=NOON).number == 4


def test_whoever_asks_second_waits_until_the_first_has_committed(engine: Engine) -> None:
    first_has_asked, first_may_commit = Event(), Event()
    order: list[str] = []

    def first() -> None:
        with writing(engine) as session:
            next_number(session, "cash", now=NOON)
            first_has_asked.set()
            assert first_may_commit.wait(4)
            order.append("first commits")

    def second() -> None:
        assert first_has_asked.wait(4)
        with writing(engine) as session:
            order.append(f"second got {next_number(session, 'cash', now=NOON).number}")

    threads = [Thread(target=first), Thread(target=second)]
    for thread in threads:
        thread.start()
    assert first_has_asked.wait(4)
    threads[1].join(0.3)
    assert order == []
    first_may_commit.set()
    for thread in threads:
        thread.join(5)
    assert order == ["first commits", "second got 2"]


def test_instants_of_a_counter_never_run_backwards(engine: Engine) -> None:
    with writing(engine) as session:
        assert next_number(session, "cash", now=NOON).at == NOON
        assert next_number(session, "cash", now=NOON - timedelta(hours=1)).at == NOON
        later = NOON + timedelta(microseconds=1)
        assert next_number(session, "cash", now=later).at == later
        assert last_recorded_at(session) == later
