"""The self-check: it finds every guard that is missing, every setting that is off, and changes nothing itself."""

from collections.abc import Iterator
from datetime import timedelta
from uuid import uuid4

import pytest
from baizebook.app import create_app
from baizebook.migrations.all_rows import metadata
from baizebook.ops.check import APPEND_ONLY, Finding, check_books, examine, sqlite_version
from baizebook.store import migrate
from baizebook.store.db import make_engine, writing
from baizebook.web.guide import FOLDER
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine, create_engine, event, make_url, text

from tests.conftest import NOON, Route, Run
from tests.databases import empty_sqlite, postgres_database, settings_for, sqlite_database
from tests.serving import free_port


def found_bad(app: FastAPI) -> dict[str, str]:
    return {finding.what: finding.says for finding in examine(app) if finding.grade == "bad"}


def execute(engine: Engine, *statements: str) -> None:
    with writing(engine) as session:
        for statement in statements:
            session.execute(text(statement))


@pytest.fixture
def app(engine: Engine, database_url: str) -> FastAPI:
    return create_app(settings_for(database_url), engine)


@pytest.fixture
def sqlite_engine() -> Iterator[Engine]:
    with sqlite_database() as url:
        engine = make_engine(settings_for(url))
        yield engine
        engine.dispose()


def app_on(engine: Engine) -> FastAPI:
    return create_app(settings_for(str(engine.url)), engine)


def test_a_migrated_database_has_nothing_bad(app: FastAPI) -> None:
    assert found_bad(app) == {}
    warned = {finding.what for finding in examine(app) if finding.grade == "warning"}
    assert warned <= {"SQLite version", "PostgreSQL role", "PostgreSQL durability"}


def test_a_clock_that_has_gone_back_is_found(client: TestClient, route: Route, app: FastAPI) -> None:
    client.app.state.clock = lambda: NOON  # type: ignore[attr-defined]
    route.venue()
    app.state.clock = lambda: NOON - timedelta(hours=1)
    (finding,) = (finding for finding in examine(app) if finding.what == "clock")
    assert finding.grade == "warning"
    assert "3600 s behind" in finding.says
    app.state.clock = lambda: NOON + timedelta(hours=1)
    assert all(finding.grade == "good" for finding in examine(app) if finding.what == "clock")


def test_the_check_changes_nothing(client: TestClient, route: Route, engine: Engine) -> None:
    table = route.table(route.venue()["id"])
    reading = {"id": str(uuid4()), "table_id": table["id"], "taken_at": "2026-11-24T20:00:00Z"}
    assert client.post("/v1/readings", json={"readings": [reading]}).status_code == 200

    def rows() -> list[list[object]]:
        with engine.connect() as connection:
            return [
                [tuple(row) for row in connection.execute(text(f'SELECT * FROM "{name}"'))]
                for name in sorted(metadata.tables)
            ]

    before = rows()
    assert found_bad(client.app) == {}  # type: ignore[arg-type]
    assert rows() == before


def test_an_entry_that_was_cut_off_the_end_of_the_journal_is_noticed(
    client: TestClient, route: Route, engine: Engine
) -> None:
    tariff = route.tariff()["id"]
    venue = route.venue()["id"]
    route.schedule(venue, tariff)
    route.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    counted = {"table_id": route.table(venue)["id"], "counted": {"1.00": 40}}
    collection = {"id": str(uuid4()), "venue_id": venue, "collected_at": "2026-11-24T20:00:00Z", "collector": "Ana"}
    route.post("/collections", {**collection, "tables": [counted]})
    assert found_bad(client.app) == {}  # type: ignore[arg-type]
    unguarded = create_engine(engine.url)  # SQLite keeps no foreign keys unless it is told to
    with unguarded.begin() as connection:
        for table in ("ledger_posting", "ledger_entry"):
            if engine.dialect.name == "sqlite":
                connection.exec_driver_sql(f"DROP TRIGGER {table}_no_delete")
            else:
                connection.exec_driver_sql(f"ALTER TABLE {table} DISABLE TRIGGER ALL")
            connection.exec_driver_sql(f"DELETE FROM {table}")
    unguarded.dispose()
    assert client.get("/v1/ledger/verify").json()["ok"]
    (journal,) = (finding for finding in check_books(engine) if finding.what == "journal")
    assert journal.grade == "bad"
    assert journal.says.startswith("1 settlements or reversals name an entry that is gone")


def test_an_entry_that_was_changed_is_noticed(client: TestClient, engine: Engine) -> None:
    entry = {"kind": "opening", "account": "bank", "amount": "25.00", "currency": "USD", "on": "2026-01-01"}
    assert client.post("/v1/ledger/entries", json=entry).status_code == 201
    assert {finding.grade for finding in check_books(engine)} == {"good"}
    if engine.dialect.name == "sqlite":
        execute(engine, "DROP TRIGGER ledger_posting_no_update")
    else:
        execute(engine, "ALTER TABLE ledger_posting DISABLE TRIGGER USER")
    execute(engine, "UPDATE ledger_posting SET amount_minor = amount_minor * 2")
    books = check_books(engine)[0]
    assert books.grade == "bad"
    assert books.says.startswith("Entry 1 does not fit: ")


def test_every_table_with_a_guard_is_checked(sqlite_engine: Engine) -> None:
    with sqlite_engine.connect() as connection:
        guarded = connection.execute(
            text("SELECT DISTINCT tbl_name FROM sqlite_master WHERE type = 'trigger' AND sql LIKE '%BEFORE UPDATE%'")
        ).scalars()
        assert set(guarded) == set(APPEND_ONLY)


def test_every_missing_guard_is_found_on_an_empty_sqlite_table(sqlite_engine: Engine) -> None:
    with sqlite_engine.connect() as connection:
        guards = connection.execute(text("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")).all()
    assert len(guards) >= 3 * len(APPEND_ONLY)
    app = app_on(sqlite_engine)
    for name, table, sql in guards:
        execute(sqlite_engine, f'DROP TRIGGER "{name}"')
        assert list(found_bad(app)) == [f"guard of {table}"], name
        execute(sqlite_engine, sql)
    assert found_bad(app) == {}


@pytest.mark.parametrize("table", ["reading", "ledger_posting", "settlement"])
def test_every_missing_guard_is_found_on_an_empty_postgresql_table(table: str) -> None:
    with postgres_database() as url:
        engine = make_engine(settings_for(url))
        app = create_app(settings_for(url), engine)
        execute(engine, f"ALTER TABLE {table} DISABLE TRIGGER USER")
        says = "Not guarded against UPDATE, DELETE, TRUNCATE: restore a backup."
        assert found_bad(app) == {f"guard of {table}": says}
        execute(engine, f"ALTER TABLE {table} ENABLE TRIGGER USER")
        assert found_bad(app) == {}
        engine.dispose()


def test_a_guard_that_only_looks_like_one_is_found_where_there_is_a_row(sqlite_engine: Engine) -> None:
    app = app_on(sqlite_engine)
    with TestClient(app, headers={"Authorization": f"Bearer {app.state.settings.owner_token}"}) as client:
        table = Route(client).table(Route(client).venue()["id"])
        reading = {"id": str(uuid4()), "table_id": table["id"], "taken_at": "2026-11-24T20:00:00Z"}
        client.post("/v1/readings", json={"readings": [reading]})
        execute(
            sqlite_engine,
            "DROP TRIGGER reading_no_update",
            "CREATE TRIGGER reading_no_update BEFORE UPDATE ON reading BEGIN SELECT RAISE(ABORT, 'no') WHERE 0; END",
        )
        assert found_bad(app) == {"guard of reading": "Not guarded against UPDATE: restore a backup."}


def test_a_setting_that_is_off_is_found(sqlite_engine: Engine) -> None:
    def careless(connection: object, record: object) -> None:  # noqa: ARG001
        connection.execute("PRAGMA synchronous=NORMAL")  # type: ignore[attr-defined]
        connection.execute("PRAGMA recursive_triggers=OFF")  # type: ignore[attr-defined]

    event.listen(sqlite_engine, "connect", careless)
    bad = found_bad(app_on(sqlite_engine))
    assert bad["SQLite settings"].startswith("synchronous is 1, not 2; recursive_triggers is 0, not 1.")


@pytest.mark.parametrize(
    ("version", "grade"),
    [
        ((3, 6, 23), "good"),
        ((3, 7, 0), "warning"),
        ((3, 40, 1), "warning"),
        ((3, 51, 2), "warning"),
        ((3, 51, 3), "good"),
        ((4, 0, 0), "good"),
    ],
)
def test_versions_of_sqlite_with_the_race_are_named(version: tuple[int, ...], grade: str) -> None:
    finding = sqlite_version(version)
    assert finding.grade == grade
    assert ("pysqlite3" in finding.says) == (grade == "warning")


def test_an_operation_for_anybody_is_found(sqlite_engine: Engine) -> None:
    app = app_on(sqlite_engine)

    @app.get("/v1/takings")
    def get_takings() -> str:
        return "everybody's"

    assert found_bad(app) == {"permissions": "Open to anybody: GET /v1/takings."}


def test_a_database_that_is_not_migrated_is_found(app: FastAPI, engine: Engine) -> None:
    migrate.downgrade(engine, "foundation")
    assert [(finding.what, finding.grade) for finding in examine(app)] == [("migrations", "bad")]


def test_a_database_that_does_not_answer_is_said_to() -> None:
    settings = settings_for("postgresql+psycopg://nobody@127.0.0.1:9/none")
    engine = make_engine(settings)
    (finding,) = examine(create_app(settings, engine))
    assert (finding.what, finding.grade) == ("database", "bad")
    engine.dispose()


def test_the_service_does_not_start_without_its_guards(
    engine: Engine, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[int] = []
    monkeypatch.setattr("baizebook.ops.serve.serve", lambda _, *, port, **__: started.append(port))
    ports = free_port(), free_port()
    assert run("serve", "--port", str(ports[0]))[0] == 0
    if engine.dialect.name == "sqlite":
        execute(engine, "DROP TRIGGER ledger_posting_no_delete")
    else:
        execute(engine, "DROP TRIGGER ledger_posting_no_change ON ledger_posting")
    status, _, complaint = run("serve", "--port", str(ports[1]))
    assert (status, started) == (1, [ports[0]])
    assert "guard of ledger_posting: Not guarded against " in complaint
    assert "The service does not start like this." in complaint


def test_a_role_that_owns_nothing_can_serve_with_the_rights_that_the_readme_names() -> None:
    guide = (FOLDER / "operations.md").read_text()
    block = guide.split("```sql\n")[1].split("```")[0]
    role = f"baizebook_service_{uuid4().hex[:8]}"
    with postgres_database() as url:
        owner = make_engine(settings_for(url))
        execute(owner, *block.replace("baizebook_service", role).replace("PASSWORD '…'", "").strip().split(";\n"))
        settings = settings_for(make_url(url).set(username=role).render_as_string(hide_password=False))
        engine = make_engine(settings)
        app = create_app(settings, engine)
        findings = {finding.what: finding for finding in examine(app)}
        assert findings["PostgreSQL role"] == Finding("PostgreSQL role", "good", "The service's role owns no table.")
        assert found_bad(app) == {}
        with TestClient(app, headers={"Authorization": f"Bearer {settings.owner_token}"}) as client:
            table = Route(client).table(Route(client).venue()["id"])
            reading = {"id": str(uuid4()), "table_id": table["id"], "taken_at": "2026-11-24T20:00:00Z"}
            assert client.post("/v1/readings", json={"readings": [reading]}).json()["recorded"] == 1
        engine.dispose()
        execute(owner, f"DROP OWNED BY {role}", f"DROP ROLE {role}")
        owner.dispose()


def test_an_empty_file_is_not_migrated() -> None:
    with empty_sqlite() as url:
        engine = make_engine(settings_for(url))
        assert list(found_bad(create_app(settings_for(url), engine))) == ["migrations"]
        engine.dispose()
