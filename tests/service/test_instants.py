"""Instants as they are stored: as SQLAlchemy itself writes them, so that every program reads the file alike."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from baizebook.store.db import Utc
from sqlalchemy import DateTime
from sqlalchemy.dialects import sqlite

SQLITE = sqlite.dialect()


@pytest.mark.parametrize(
    "instant",
    [
        datetime(2026, 11, 25, 17, 0, tzinfo=UTC),
        datetime(2026, 11, 25, 17, 0, 0, 1, tzinfo=UTC),
        datetime(2026, 11, 1, 1, 30, tzinfo=timezone(timedelta(hours=-5))),
        datetime(2000, 1, 1, 3, 45, 59, 999_999, tzinfo=timezone(timedelta(hours=5, minutes=45))),
    ],
)
def test_an_instant_is_written_for_sqlite_as_sqlalchemy_writes_it(instant: datetime) -> None:
    ours, theirs = Utc().bind_processor(SQLITE), DateTime().dialect_impl(SQLITE).bind_processor(SQLITE)
    assert ours is not None
    assert theirs is not None
    assert ours(instant) == theirs(instant.astimezone(UTC).replace(tzinfo=None))


def test_no_instant_is_none_and_a_naive_one_is_refused() -> None:
    write = Utc().bind_processor(SQLITE)
    assert write is not None
    assert write(None) is None
    with pytest.raises(ValueError, match="an aware instant"):
        write(datetime(2026, 11, 25, 17, 0))  # noqa: DTZ001
