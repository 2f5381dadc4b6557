"""Exports of journals that are too long to hold: the same text, a part at a time."""

import errno
import os
import tracemalloc
from datetime import UTC, date, datetime
from hashlib import sha256
from tempfile import SpooledTemporaryFile

import baizebook.web.long_answer
import pytest
from baizebook.ledger.export.beancount import journal_beancount
from baizebook.ledger.export.period import ExportPeriod
from baizebook.ledger.queries import read_entries, read_extract, venues_in_books
from baizebook.pricing.effort import Stop, Stopped
from baizebook.store.db import reading
from baizebook.web.long_answer import HELD_BYTES, long_answer
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from tests.ledger.extracts import beancount_of, csv_of, extract, ledger_of
from tests.ledger.test_reports_api import Books
from tests.ledger.test_verify_api import add_many, change

NOW = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)
PERIODS = ((None, None), (date(2026, 11, 1), date(2026, 11, 30)), (date(2026, 11, 10), date(2027, 12, 31)))


@pytest.fixture
def books(engine: Engine, route) -> Books:
    return Books(engine, route)


@pytest.mark.usefixtures("books")
def test_an_export_from_the_database_is_that_of_all_entries_added_up_one_by_one(engine: Engine) -> None:
    with reading(engine) as session:
        entries, venues = read_entries(session), venues_in_books(session)
        for from_on, to_on in PERIODS:
            for close in (None, "year"):
                for opening in ("none", "balances"):
                    for currency in (None, "JPY", "EUR"):
                        found = read_extract(
                            session,
                            from_on=from_on,
                            to_on=to_on,
                            opening=opening,
                            close=close,
                            currency=currency,
                            now=NOW,
                        )
                        whole = extract(entries, found.period, opening=opening, close=close, currency=currency)
                        assert list(found.transactions) == list(whole.transactions)
                        for write in (beancount_of, ledger_of):
                            assert write(found, venues=venues) == write(whole, venues=venues)
                        assert csv_of(found, profile="contra", venues=venues) == csv_of(
                            whole, profile="contra", venues=venues
                        )


def test_a_year_is_closed_after_its_own_entries_also_where_the_period_begins_later(books: Books) -> None:
    books.collect(books.corner, "USD", date(2027, 2, 1), counted=1000, share=500)
    with reading(books.engine) as session:
        found = read_extract(
            session,
            from_on=date(2026, 12, 1),
            to_on=date(2027, 12, 31),
            opening="none",
            close="year",
            currency=None,
            now=NOW,
        )
        assert [(one.on.isoformat(), one.kind, one.currency) for one in found.transactions] == [
            ("2026-12-31", "year_closing", "JPY"),
            ("2026-12-31", "year_closing", "USD"),
            ("2027-02-01", "collection", "USD"),
            ("2027-12-31", "year_closing", "USD"),
        ]


def test_an_export_holds_a_part_of_the_journal_at_a_time_however_long_it_is(engine: Engine) -> None:
    peaks = []
    for more in (1, 600, 1200):
        add_many(engine, more)
        with reading(engine) as session:
            entries, period = read_entries(session), ExportPeriod(date(2026, 11, 25), date(2026, 11, 25))
            expected = "".join(journal_beancount(extract(entries, period, opening="none"), venues={})).encode()
            tracemalloc.start()
            part = read_extract(session, from_on=None, to_on=None, opening="none", close=None, currency=None, now=NOW)
            answer = long_answer(
                journal_beancount(part, venues={}), media_type="text/plain", file_name="x", stop=Stop()
            )
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
        assert int(answer.headers["content-length"]) == len(expected)
        assert answer.headers.get("etag") in (None, f'W/"{sha256(expected).hexdigest()[:32]}"')
    assert peaks[2] < 2 * peaks[1], "three times as many entries, about the same memory"


def test_a_long_export_has_its_length_and_its_tag_and_is_sent_only_once(engine: Engine, client: TestClient) -> None:
    add_many(engine, 1000)
    with reading(engine) as session:
        entries = read_entries(session)
    whole = beancount_of(
        extract(entries, ExportPeriod(date(2026, 11, 25), date(2026, 11, 25)), opening="none"), venues={}
    )
    assert len(whole) > 2 * HELD_BYTES
    for coding in ("identity", "gzip"):
        got = client.get("/v1/ledger/export?format=beancount", headers={"Accept-Encoding": coding})
        assert (got.status_code, got.text) == (200, whole)
        known = {"If-None-Match": got.headers["etag"], "Accept-Encoding": coding}
        again = client.get("/v1/ledger/export?format=beancount", headers=known)
        assert (again.status_code, again.content) == (304, b"")
    head = client.head("/v1/ledger/export?format=beancount", headers={"Accept-Encoding": "identity"})
    assert (head.status_code, head.content, head.headers["content-length"]) == (200, b"", str(len(whole.encode())))
    comma = client.get("/v1/ledger/export?profile=signed&decimal=comma&separator=semicolon").text
    assert comma.count(";0,01;") == comma.count(";-0,01;") == 1000


def test_a_long_answer_that_is_not_wanted_any_more_ends() -> None:
    stop = Stop()

    def lines():
        for n in range(100_000):
            if n == 2_000:
                stop.end()
            if n > 10_000:
                raise RuntimeError("nobody looked")
            yield "a line\n"

    with pytest.raises(Stopped):
        long_answer(lines(), media_type="text/plain", file_name="x", stop=stop)


def test_an_export_that_finds_no_room_for_a_file_is_asked_to_come_back(
    engine: Engine, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full(SpooledTemporaryFile):  # type: ignore[type-arg]
        def rollover(self) -> None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    add_many(engine, 1000)
    monkeypatch.setattr(baizebook.web.long_answer, "SpooledTemporaryFile", Full)
    got = client.get("/v1/ledger/export?format=beancount")
    assert (got.status_code, got.json()["code"], got.headers["retry-after"]) == (503, "unavailable", "60")
    assert "No space left on device" in got.json()["detail"]


def test_entries_before_the_period_that_do_not_balance_are_not_reported_from(
    engine: Engine, client: TestClient
) -> None:
    add_many(engine, 3)
    december = "/v1/ledger/export?from=2026-12-01&to=2026-12-31&format=beancount"
    assert client.get(december).status_code == 200
    for table in ("ledger_entry", "ledger_posting"):
        if engine.dialect.name == "postgresql":
            change(engine, f"ALTER TABLE {table} DISABLE TRIGGER USER")
        else:
            change(engine, f"DROP TRIGGER {table}_no_update")
    change(engine, "UPDATE ledger_posting SET amount_minor = amount_minor + 1 WHERE entry_number = 2 AND place = 0")
    answer = client.get(december)
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/books_damaged")
