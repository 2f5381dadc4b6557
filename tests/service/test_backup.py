"""Backups: verified before they get their name, whole though others write meanwhile, and put back only where asked."""

import os
import threading
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from baizebook.ops.backup import back_up, restore
from baizebook.store import migrate
from baizebook.store.db import make_engine, writing
from baizebook.store.settings import Settings
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text

from tests.conftest import Route
from tests.databases import empty_sqlite, postgres_clients, postgres_database, settings_for


@pytest.fixture(autouse=True)
def _clients(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clients that came with the PostgreSQL server of the tests: they are as new as it is."""
    monkeypatch.setenv("PATH", f"{postgres_clients()}:{os.environ['PATH']}")


@pytest.fixture
def settings(database_url: str) -> Settings:
    return settings_for(database_url)


@pytest.fixture
def elsewhere(settings: Settings) -> Iterator[Settings]:
    """An empty database of the same kind."""
    with empty_sqlite() if settings.on_sqlite else postgres_database(empty=True) as url:
        yield settings_for(url)


def names_in(settings: Settings) -> set[str]:
    engine = make_engine(settings)
    with engine.connect() as connection:
        names = set(connection.execute(text("SELECT name FROM venue")).scalars())
    engine.dispose()
    return names


def test_a_backup_holds_all_and_can_be_put_back_elsewhere(
    client: TestClient, route: Route, engine: Engine, settings: Settings, elsewhere: Settings, tmp_path: Path
) -> None:
    venue = route.venue()
    entry = {"kind": "opening", "account": "bank", "amount": "25.00", "currency": "USD", "on": "2026-01-01"}
    booked = client.post("/v1/ledger/entries", json=entry)
    assert booked.status_code == 201, booked.text
    file = tmp_path / "route.backup"
    said = back_up(settings, engine, file)
    assert " 1 entries" in said
    assert file.stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["route.backup"]
    target = make_engine(elsewhere)
    assert restore(elsewhere, target, file, force=False) == said
    target.dispose()
    assert names_in(elsewhere) == {venue["name"]}


def test_everything_answered_before_a_backup_began_is_in_it(
    client: TestClient, engine: Engine, settings: Settings, elsewhere: Settings, tmp_path: Path
) -> None:
    stop, answered = threading.Event(), set()

    def write() -> None:
        while not stop.is_set():
            name = f"Bar {uuid4()}"
            venue = {"name": name, "time_zone": "America/New_York", "currency": "USD"}
            if client.post("/v1/venues", json=venue).status_code == 201:
                answered.add(name)

    writers = [threading.Thread(target=write) for _ in range(3)]
    for writer in writers:
        writer.start()
    try:
        while len(answered) < 5:
            pass
        before = set(answered)
        file = tmp_path / "under-load.backup"
        back_up(settings, engine, file)
        after = set(answered)
    finally:
        stop.set()
        for writer in writers:
            writer.join()
    target = make_engine(elsewhere)
    restore(elsewhere, target, file, force=False)
    target.dispose()
    assert before <= names_in(elsewhere) <= set(answered)
    assert after != before, "nobody wrote while the backup was made"


def test_a_backup_never_replaces_a_file(engine: Engine, settings: Settings, tmp_path: Path) -> None:
    file = tmp_path / "route.backup"
    file.write_text("the only copy")
    with pytest.raises(ValueError, match="is there already"):
        back_up(settings, engine, file)
    assert file.read_text() == "the only copy"


def test_a_database_that_holds_data_is_replaced_only_by_force(
    client: TestClient, route: Route, engine: Engine, settings: Settings, tmp_path: Path
) -> None:
    route.venue(name="Before")
    file = tmp_path / "route.backup"
    back_up(settings, engine, file)
    route.venue(name="After")
    client.close()
    with pytest.raises(ValueError, match="The database holds data"):
        restore(settings, engine, file, force=False)
    assert names_in(settings) == {"Before", "After"}
    engine.dispose()
    restore(settings, engine, file, force=True)
    assert names_in(settings) == {"Before"}


def test_a_damaged_backup_is_refused_and_nothing_is_lost(
    client: TestClient, route: Route, engine: Engine, settings: Settings, tmp_path: Path
) -> None:
    route.venue(name="Before")
    file = tmp_path / "route.backup"
    back_up(settings, engine, file)
    client.close()
    engine.dispose()
    whole = file.read_bytes()
    for damaged in (whole[: len(whole) // 2], b"no backup at all", b""):
        file.write_bytes(damaged)
        with pytest.raises(ValueError, match=r"route\.backup|pg_restore"):
            restore(settings, engine, file, force=True)
    with pytest.raises(ValueError, match="There is no file"):
        restore(settings, engine, tmp_path / "none", force=True)
    assert names_in(settings) == {"Before"}


def test_books_that_do_not_hold_together_make_no_backup(
    client: TestClient, engine: Engine, settings: Settings, tmp_path: Path
) -> None:
    entry = {"kind": "opening", "account": "bank", "amount": "25.00", "currency": "USD", "on": "2026-01-01"}
    assert client.post("/v1/ledger/entries", json=entry).status_code == 201
    off = (
        "DROP TRIGGER ledger_posting_no_update"
        if settings.on_sqlite
        else "ALTER TABLE ledger_posting DISABLE TRIGGER USER"
    )
    with writing(engine) as session:
        session.execute(text(off))
        session.execute(text("UPDATE ledger_posting SET amount_minor = amount_minor * 2"))
    with pytest.raises(ValueError, match="the books do not hold together at entry 1"):
        back_up(settings, engine, tmp_path / "route.backup")
    assert list(tmp_path.iterdir()) == []


def test_a_database_in_use_is_not_replaced(tmp_path: Path) -> None:
    settings = settings_for(f"sqlite:///{tmp_path}/live.db")
    engine, other = make_engine(settings), make_engine(settings)
    with pytest.raises(ValueError, match="There is no file"):
        restore(settings, engine, tmp_path / "none", force=False)
    migrate.upgrade(engine)
    file = tmp_path / "route.backup"
    back_up(settings, engine, file)
    with other.connect() as connection:
        connection.execute(text("SELECT 1 FROM venue")).all()
        with pytest.raises(ValueError, match="stop the service first"):
            restore(settings, engine, file, force=True)
    other.dispose()
    restore(settings, engine, file, force=True)
    engine.dispose()


def test_a_copy_of_a_file_in_use_is_no_backup(tmp_path: Path) -> None:
    settings = settings_for(f"sqlite:///{tmp_path}/live.db")
    engine = make_engine(settings)
    for name in ("copied.db", "copied.db-wal"):
        (tmp_path / name).write_bytes(b"")
    with pytest.raises(ValueError, match="is a database in use, no backup"):
        restore(settings, engine, tmp_path / "copied.db", force=True)
    engine.dispose()
