"""What every test can ask for: a database of its own, a session on it, the service on it, and a route to work with."""

import gc
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from baizebook.app import create_app, work_on
from baizebook.ops.cli import main
from baizebook.store.db import get_engine, mark_preview, writing
from baizebook.store.settings import get_settings
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import settings
from sqlalchemy import Engine
from sqlmodel import Session

from tests.databases import OWNER_TOKEN, kinds_for, postgres_database, settings_for, shared_engine, sqlite_database

settings.register_profile("baizebook", deadline=None)
settings.load_profile("baizebook")

WEEKDAY = {
    "code": "weekday",
    "name": "Weekday play",
    "currency": "USD",
    "games": {
        "prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}, {"price": "7.00", "units": 11}],
    },
    "minutes": {"prices": [{"price": "4.00", "units": 25}, {"price": "12.00", "units": 84}]},
}
NOON = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)
"""Wednesday 2026-11-25, noon in New York: when tests happen that need the service's clock to stand still."""


def pytest_sessionstart() -> None:
    """Look for no garbage while tests are collected: it took a third of that time."""
    gc.disable()


def pytest_collection_finish() -> None:
    """Look for garbage again, but never in what was loaded until now."""
    gc.freeze()
    gc.enable()


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run what needs a database on each of the kinds that matter to it."""
    if "database_kind" in metafunc.fixturenames:
        metafunc.parametrize("database_kind", kinds_for(Path(metafunc.definition.path)))


LONGEST = (
    "test_schemathesis.py",
    "test_package.py",
    "test_permissions.py",
    "test_trouble.py",
    "test_examples.py",
    "test_demo.py",
    "test_any_order.py",
    "test_sells.py",
    "test_clock_order.py",
    "test_connection.py",
    "test_interleavings.py",
    "test_migrations_whole.py",
    "test_pages.py",
)
"""Files whose tests take longest: they begin first, so that in the end no worker waits for another."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest tests first."""
    items.sort(key=lambda item: LONGEST.index(item.path.name) if item.path.name in LONGEST else len(LONGEST))


@pytest.fixture
def database_url(database_kind: str) -> Iterator[str]:
    """A migrated database of this test's own, of each kind in turn (see ``tests.databases.ON_SQLITE_ALONE``)."""
    with sqlite_database() if database_kind == "sqlite" else postgres_database() as url:
        yield url


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    """The service's engine on this test's database."""
    engine = shared_engine(database_url)
    yield engine
    engine.dispose()


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    """A writing session on this test's database."""
    with writing(engine) as session:
        yield session


@pytest.fixture(scope="session")
def application() -> FastAPI:
    """One application for all tests, and never garbage: the collector need not look at it again and again."""
    with sqlite_database() as url:
        application = create_app(settings_for(url), shared_engine(url))
    gc.collect()
    gc.freeze()
    return application


@pytest.fixture(scope="session")
def contract(application: FastAPI) -> dict[str, Any]:
    """The contract that the service generates; nobody changes it."""
    return application.openapi()


@pytest.fixture
def client(application: FastAPI, engine: Engine, database_url: str) -> Iterator[TestClient]:
    """The service, asked with the owner's token; what it cannot answer is an answer of 500, not an exception."""
    work_on(application, settings_for(database_url), engine)
    headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
    with TestClient(application, headers=headers, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def at_noon(client: TestClient) -> TestClient:
    """The service with its clock standing at ``NOON``."""
    client.app.state.clock = lambda: NOON  # type: ignore[attr-defined]
    return client


Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(database_url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Iterator[Run]:
    """Runs a command in this process, on this test's database; returns its status and what it wrote."""
    monkeypatch.setenv("BAIZEBOOK_DATABASE_URL", database_url)
    monkeypatch.setenv("BAIZEBOOK_OWNER_TOKEN", OWNER_TOKEN)
    get_settings.cache_clear()
    get_engine.cache_clear()

    def run(*arguments: str) -> tuple[int, str, str]:
        status = main(arguments)
        written = capsys.readouterr()
        return status, written.out, written.err

    yield run
    get_engine().dispose()
    get_settings.cache_clear()
    get_engine.cache_clear()


def patiently(ask: Callable[[], Any]) -> Any:
    """Ask, and ask again for as long as the service is too busy to answer (503), as Retry-After says."""
    while (response := ask()).status_code == 503:
        time.sleep(float(response.headers["Retry-After"]))
    return response


def store_nothing(client: TestClient) -> None:
    """Let every request see what it would store, and store nothing of it."""
    transactions = client.app.state.transactions  # type: ignore[attr-defined]
    properly = transactions.write

    def taken_back(work: Callable[[Session], Any], **options: Any) -> Any:
        def work_in_vain(session: Session) -> Any:
            mark_preview(session)
            return work(session)

        return properly(work_in_vain, **options)

    transactions.write = taken_back


class Route:
    """Makes what a test needs through the service itself, and fails loudly where the service refuses."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        """Post and return the answer, which must be a success."""
        response = self.client.post(f"/v1{path}", json=body)
        assert response.is_success, response.text
        return response.json()  # type: ignore[no-any-return]

    def venue(self, **changes: Any) -> dict[str, Any]:
        """Make a venue in New York that sells in US dollars."""
        venue = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}
        return self.post("/venues", {**venue, **changes})

    def tariff(self, **changes: Any) -> dict[str, Any]:
        """Publish the weekday tariff, or what is changed of it."""
        return self.post("/tariffs", {**WEEKDAY, **changes})

    def schedule(self, venue_id: str, base: str | None, **changes: Any) -> dict[str, Any]:
        """Publish a schedule in force since the start of 2026."""
        return self.post(f"/venues/{venue_id}/schedules", {"effective_on": "2026-01-01", "base": base, **changes})

    def table(self, venue_id: str, **changes: Any) -> dict[str, Any]:
        """Make a table that takes quarters and notes."""
        table = {"label": "Window side", "accepts": ["0.25", "1.00", "5.00", "20.00"]}
        return self.post(f"/venues/{venue_id}/tables", {**table, **changes})

    def token(self, role: str, **bound: Any) -> dict[str, str]:
        """Make a token and return the headers that carry it."""
        made = self.post("/tokens", {"name": f"a {role}", "role": role, **bound})
        return {"Authorization": f"Bearer {made['token']}"}


@pytest.fixture
def route(client: TestClient) -> Route:
    """A maker of venues, tariffs, schedules, tables and tokens."""
    return Route(client)
