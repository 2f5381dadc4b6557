"""Backups: verified before they get their name, whole though others write meanwhile, and put back only where asked."""

import errno
import os
import threading
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
import uvicorn
from baizebook.ops import backup
from baizebook.ops.backup import back_up, restore, serving
from baizebook.ops.cli import main
from baizebook.store import migrate
from baizebook.store.db import get_engine, make_engine, writing
from baizebook.store.settings import Settings, get_settings
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text

from tests.conftest import Route
from tests.databases import empty_sqlite, postgres_clients, postgres_database, settings_for
from tests.serving import free_port


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
    route.post(f"/venues/{venue['id']}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    file = tmp_path / "route.backup"
    said = back_up(settings, engine, file)
    verdict = client.get("/v1/ledger/verify").json()
    assert f" 1 entries, last hash {verdict['last_hash']}" in said
    assert f"digest of record 1 {verdict['last_record_digest']}" in said
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
    with pytest.raises(ValueError, match="exists: a backup never replaces a file"):
        back_up(settings, engine, file)
    assert file.read_text() == "the only copy"
    with pytest.raises(ValueError, match=f"There is no folder {tmp_path / 'nowhere'}"):
        back_up(settings, engine, tmp_path / "nowhere" / "route.backup")


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
        with pytest.raises(ValueError, match=r"route\.backup is (damaged|no backup)"):
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


def test_every_changed_bit_is_found(tmp_path: Path) -> None:
    settings = settings_for(f"sqlite:///{tmp_path}/live.db")
    engine = make_engine(settings)
    migrate.upgrade(engine)
    file, damaged = tmp_path / "route.backup", tmp_path / "damaged.backup"
    back_up(settings, engine, file)
    engine.dispose()
    whole = file.read_bytes()
    head = 8 * (whole.index(b"\n") + 1)
    content = range(head, 8 * len(whole), 8 * len(whole) // 100)
    for bit in (*range(head), *content, 8 * len(whole) - 1):
        flipped = bytearray(whole)
        flipped[bit // 8] ^= 1 << bit % 8
        damaged.write_bytes(flipped)
        with pytest.raises(ValueError, match=r"damaged\.backup is (damaged|no backup|a backup of)"):
            restore(settings, engine, damaged, force=True)
    for length in (0, 10, head // 8, len(whole) - 1):
        damaged.write_bytes(whole[:length])
        with pytest.raises(ValueError, match=r"damaged\.backup is (damaged|no backup)"):
            restore(settings, engine, damaged, force=True)
    assert restore(settings, engine, file, force=True).startswith("revision ")
    engine.dispose()


def test_of_two_backups_to_one_name_one_wins_and_the_other_says_so(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    settings = settings_for(f"sqlite:///{tmp_path}/live.db")
    engine = make_engine(settings)
    migrate.upgrade(engine)
    read_back = backup._read_back
    for name, links in (("linked.backup", True), ("claimed.backup", False)):
        if not links:
            monkeypatch.setattr(os, "link", no_links)
        file, both, outcomes = tmp_path / name, threading.Barrier(2), []

        def meet(unfinished: Path, both: threading.Barrier = both) -> None:
            read_back(unfinished)
            both.wait(20)

        def make(file: Path = file, outcomes: list[str] = outcomes) -> None:
            try:
                outcomes.append(back_up(settings, engine, file))
            except ValueError as error:
                outcomes.append(str(error))

        monkeypatch.setattr(backup, "_read_back", meet)
        makers = [threading.Thread(target=make) for _ in range(2)]
        for maker in makers:
            maker.start()
        for maker in makers:
            maker.join()
        assert sorted(outcome.split(" ")[0] for outcome in outcomes) == sorted([str(file), "revision"])
        assert f"{file} exists: a backup never replaces a file. Choose another name." in outcomes
        backup._unseal(file, None, kind="sqlite")
        assert file.stat().st_mode & 0o777 == 0o600
    assert {path.name for path in tmp_path.iterdir() if ".db" not in path.name} == {"linked.backup", "claimed.backup"}
    engine.dispose()


def no_links(source: Path, target: Path) -> None:
    raise OSError(errno.EPERM, "Operation not permitted", str(source), None, str(target))


def test_what_the_disk_lost_is_noticed_before_the_name_is_given(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    settings = settings_for(f"sqlite:///{tmp_path}/live.db")
    engine = make_engine(settings)
    migrate.upgrade(engine)
    seal = backup.write_with_hash

    def lose_a_bit(content: Path, file: Path, *, kind: str) -> None:
        seal(content, file, kind=kind)
        written = bytearray(file.read_bytes())
        written[-1000] ^= 4
        file.write_bytes(written)

    monkeypatch.setattr(backup, "write_with_hash", lose_a_bit)
    with pytest.raises(ValueError, match="is damaged: its content has the SHA-256"):
        back_up(settings, engine, tmp_path / "route.backup")
    assert {path.name.partition("-")[0] for path in tmp_path.iterdir()} == {"live.db"}
    engine.dispose()


def test_a_postgresql_database_is_restored_only_while_no_service_runs(tmp_path: Path) -> None:
    with postgres_database() as url:
        settings = settings_for(url)
        engine = make_engine(settings)
        file = tmp_path / "route.backup"
        back_up(settings, engine, file)
        with serving(engine), serving(engine), pytest.raises(ValueError, match="in use: stop the service first"):
            restore(settings, engine, file, force=True)
        other = make_engine(settings)
        with other.connect(), pytest.raises(ValueError, match="in use: stop the service first"):
            restore(settings, engine, file, force=True)
        other.dispose()
        with backup._not_served(engine), pytest.raises(ValueError, match="A backup is being restored"), serving(engine):
            pass
        sqlite = settings_for(f"sqlite:///{tmp_path}/other.db")
        with pytest.raises(ValueError, match="is a backup of PostgreSQL, this database is SQLite"):
            restore(sqlite, make_engine(sqlite), file, force=False)
        assert restore(settings, engine, file, force=True).startswith("revision ")
        engine.dispose()


def test_a_served_postgresql_database_is_not_restored(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with postgres_database() as url:
        settings = settings_for(url)
        engine = make_engine(settings)
        file, refused = tmp_path / "route.backup", []
        back_up(settings, engine, file)

        def instead_of_serving(*_: object, **__: object) -> None:
            with pytest.raises(ValueError, match="in use: stop the service first"):
                restore(settings, engine, file, force=True)
            refused.append(True)

        monkeypatch.setenv("BAIZEBOOK_DATABASE_URL", url)
        monkeypatch.setattr(uvicorn, "run", instead_of_serving)
        get_settings.cache_clear()
        get_engine.cache_clear()
        assert main(["serve", "--port", str(free_port())]) == 0
        get_engine().dispose()
        get_settings.cache_clear()
        get_engine.cache_clear()
        assert refused == [True]
        assert restore(settings, engine, file, force=True).startswith("revision ")
        engine.dispose()
