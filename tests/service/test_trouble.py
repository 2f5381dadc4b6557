"""Trouble that passes: a full disk, a database that restarts, two that met, too much at once. Then all goes on."""

import io
import logging
import resource
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import httpx2
import pytest
from baizebook.app import create_app
from baizebook.store.db import lock, make_engine
from baizebook.web.auth import OwnerDep
from baizebook.web.dependencies import SessionDep
from baizebook.web.operation import Route as GatedRoute
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine, create_engine, make_url, text

from tests.databases import OWNER_TOKEN, postgres_database, postgres_server, settings_for, sqlite_database
from tests.serving import answering, free_port, start

HEADERS = {"Authorization": f"Bearer {OWNER_TOKEN}"}
VENUE = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}


def must_come_back(answer: httpx2.Response) -> None:
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/unavailable"), answer.text
    assert answer.headers["Retry-After"] == "1"


class Service(NamedTuple):
    """A running service, its database and its log."""

    process: subprocess.Popen[bytes]
    url: str
    database: str
    log: Path


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A process on SQLite that three tests share, one after the other; the last of them ends it."""
    log = tmp_path_factory.mktemp("service") / "log"
    port = free_port()
    with sqlite_database() as database, log.open("wb") as file:
        process = start(database, port=port, log=file)
        yield Service(process, f"http://127.0.0.1:{port}", database, log)
        process.terminate()
        process.wait(20)


@pytest.mark.xdist_group("one service")
def test_a_full_disk_is_said_and_writes_come_back_by_themselves(service: Service) -> None:
    size = Path(make_url(service.database).database or "").stat().st_size
    with httpx2.Client(base_url=f"{service.url}/v1", headers=HEADERS, timeout=10) as client:
        assert client.post("/venues", json=VENUE).status_code == 201
        resource.prlimit(service.process.pid, resource.RLIMIT_FSIZE, (size // 16, resource.RLIM_INFINITY))
        full = [client.post("/venues", json={**VENUE, "notes": "x" * 1900}) for _ in range(40)]
        stored = 1 + sum(answer.status_code == 201 for answer in full)
        assert {answer.status_code for answer in full[-5:]} == {503}
        must_come_back(full[-1])
        assert client.get("/venues").status_code == 200
        resource.prlimit(service.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        assert client.post("/venues", json=VENUE).status_code == 201
        assert len(client.get("/venues", params={"limit": 500}).json()["items"]) == stored + 1


@pytest.mark.xdist_group("one service")
def test_the_log_has_neither_queries_nor_tokens(service: Service) -> None:
    token = "bz_" + "Ab3-_" * 8

    def ask(url: str) -> None:
        httpx2.get(f"{url}/v1/venues?access_token={token}&after=secret")
        httpx2.get(f"{url}/v1/venues/{token}", headers=HEADERS)

    careless, logger = io.StringIO(), logging.getLogger("uvicorn.access")
    handler, level = logging.StreamHandler(careless), logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    settings = settings_for(service.database)
    with answering(create_app(settings, make_engine(settings))) as url:
        ask(url)
    logger.removeHandler(handler)
    logger.setLevel(level)
    assert token in careless.getvalue(), "the control: a log that is not discreet has it"
    ask(service.url)
    until = time.monotonic() + 10
    while "GET /v1/venues/{venue_id} 422" not in (log := service.log.read_text()):
        assert time.monotonic() < until, log
        time.sleep(0.02)
    assert "GET /v1/venues 401" in log
    for secret in (token, "secret", "access_token", OWNER_TOKEN):
        assert secret not in log


def test_a_database_that_cuts_its_connections_is_answered_503_at_most_and_comes_back() -> None:
    """What a restart does to the service: all its connections die at once, and new ones are refused for a while."""
    with postgres_database() as url:
        engine = make_engine(settings_for(url))
        app = create_app(settings_for(url), engine)
        name = make_url(url).database
        admin = create_engine(postgres_server(), isolation_level="AUTOCOMMIT")
        with TestClient(app, headers=HEADERS, raise_server_exceptions=False) as client, admin.connect() as connection:
            assert client.post("/v1/venues", json=VENUE).status_code == 201
            connection.execute(text(f'ALTER DATABASE "{name}" ALLOW_CONNECTIONS false'))
            connection.execute(text(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'"))
            for answer in (client.get("/v1/venues"), client.post("/v1/venues", json=VENUE), client.get("/readyz")):
                must_come_back(answer)
            connection.execute(text(f'ALTER DATABASE "{name}" ALLOW_CONNECTIONS true'))
            assert client.post("/v1/venues", json=VENUE).status_code == 201
            assert len(client.get("/v1/venues").json()["items"]) == 2
        admin.dispose()
        engine.dispose()


def planted(engine: Engine, url: str, endpoint: Callable[..., Any]) -> FastAPI:
    """The service with one operation more."""
    app = create_app(settings_for(url), engine)
    app.router.route_class = GatedRoute
    app.post("/v1/planted/{first}/{second}", description="Planted.")(endpoint)
    return app


def test_two_that_wait_for_each_other_are_both_answered(engine: Engine, database_url: str) -> None:
    tried: list[str] = []
    on_postgres = engine.dialect.name == "postgresql"
    both = threading.Barrier(2)

    def meet(session: SessionDep, principal: OwnerDep, first: str, second: str) -> dict[str, str]:  # noqa: ARG001
        tried.append(first)
        lock(session, first)
        if on_postgres and len(tried) <= 2:
            both.wait(5)
        lock(session, second)
        return {"first": first}

    app = planted(engine, database_url, meet)
    with TestClient(app, headers=HEADERS, raise_server_exceptions=False) as client, ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(lambda path: client.post(f"/v1/planted/{path}"), ("a/b", "b/a")))
    assert [answer.status_code for answer in answers] == [200, 200], [answer.text for answer in answers]
    assert len(tried) == (3 if on_postgres else 2)


def test_what_collides_again_and_again_is_given_up_after_five_more_tries() -> None:
    tried: list[str] = []

    def collide(session: SessionDep, principal: OwnerDep, first: str, second: str) -> None:  # noqa: ARG001
        tried.append(first)
        session.execute(text("DO $$ BEGIN RAISE EXCEPTION 'met' USING ERRCODE = 'serialization_failure'; END $$"))

    with postgres_database() as url:
        engine = make_engine(settings_for(url))
        with TestClient(planted(engine, url, collide), headers=HEADERS, raise_server_exceptions=False) as client:
            must_come_back(client.post("/v1/planted/a/b"))
        engine.dispose()
    assert len(tried) == 6


def test_too_much_at_once_is_told_to_come_back_and_the_rest_is_answered(client: TestClient) -> None:
    places = client.app.state.transactions.writers.places  # type: ignore[attr-defined]
    number = places.value

    async def take_all() -> None:
        for _ in range(number):
            await places.acquire()

    async def give_back() -> None:
        for _ in range(number):
            places.release()

    assert client.portal is not None
    client.portal.call(take_all)
    with ThreadPoolExecutor(120) as pool:
        for answer in pool.map(lambda _: client.post("/v1/venues", json=VENUE), range(120)):
            must_come_back(answer)
    client.portal.call(give_back)
    assert client.post("/v1/venues", json=VENUE).status_code == 201
    assert len(client.get("/v1/venues").json()["items"]) == 1


def stored(database: str) -> set[str]:
    engine = make_engine(settings_for(database))
    with engine.connect() as connection:
        names = set(connection.execute(text("SELECT name FROM venue")).scalars())
    engine.dispose()
    return names


@pytest.mark.xdist_group("one service")
def test_on_sigterm_what_was_accepted_is_answered_and_the_process_ends(service: Service) -> None:
    answered: set[str] = stored(service.database)
    before = len(answered)
    over = threading.Event()

    def write(number: int) -> None:
        with httpx2.Client(base_url=f"{service.url}/v1", headers=HEADERS, timeout=10) as client:
            for count in range(10_000):
                name = f"{number}-{count}"
                try:
                    if client.post("/venues", json={**VENUE, "name": name}).status_code == 201:
                        answered.add(name)
                except httpx2.TransportError:
                    if over.is_set():
                        return

    with ThreadPoolExecutor(4) as pool:
        for number in range(4):
            pool.submit(write, number)
        while len(answered) < before + 20:
            time.sleep(0.01)
        over.set()
        service.process.terminate()
        assert service.process.wait(10) in (0, -signal.SIGTERM)
    assert stored(service.database) == answered
