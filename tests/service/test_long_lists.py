"""Lists of ids that no statement's parameters would hold."""

from uuid import UUID, uuid4

import baizebook.store.long_lists
import pytest
from baizebook.app import create_app
from baizebook.pool_tables.rows import PoolTableRow
from baizebook.store.changes import TouchedRow
from baizebook.store.long_lists import SHORT_MAX, among
from baizebook.venues.rows import VenueRow
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import Session, col, select

from tests.conftest import NOON, Route
from tests.databases import OWNER_TOKEN, settings_for, shared_engine
from tests.demo.examples_on_the_demo import send_example
from tests.demo.loaded_demo import loaded_demo

TOO_MANY = 70_000
"""PostgreSQL takes 65,535 parameters, SQLite 32,766."""
ASKED = ("/v1/collections", "/v1/jobs", "/v1/keyings", "/v1/reports/", "/v1/worklist")


@pytest.mark.parametrize("number", [0, 2, SHORT_MAX, SHORT_MAX + 1, TOO_MANY])
def test_a_column_is_looked_for_among_any_number_of_values(engine: Engine, route: Route, number: int) -> None:
    venue = UUID(route.venue()["id"])
    ids = {*(uuid4() for _ in range(number - 1)), venue} if number else set[UUID]()
    with Session(engine) as session:
        assert session.exec(select(VenueRow.id).where(among(col(VenueRow.id), ids))).all() == [venue][:number]
        assert session.exec(select(VenueRow.id).where(~among(col(VenueRow.id), ids))).all() == [venue][number:][:1]


def test_every_question_has_the_same_answer_with_long_lists(monkeypatch: pytest.MonkeyPatch) -> None:
    with loaded_demo(NOON, "sqlite") as url:
        app = create_app(settings_for(url), shared_engine(url))
        app.state.clock = lambda: NOON
        questions = [
            (path, item["get"])
            for path, item in app.openapi()["paths"].items()
            if path.startswith(ASKED) and "get" in item
        ]
        with TestClient(app, headers={"Authorization": f"Bearer {OWNER_TOKEN}"}) as client:

            def answers() -> dict[str, bytes]:
                return {path: send_example(client, "get", path, asked).content for path, asked in questions}

            client.get("/v1/worklist")  # it is up to date afterwards
            short = answers()
            monkeypatch.setattr(baizebook.store.long_lists, "SHORT_MAX", 0)
            assert {path for path, answer in answers().items() if answer != short[path]} == set()


def test_numbers_and_texts_are_looked_for_as_ids_are(engine: Engine, route: Route) -> None:
    table = route.table(route.venue()["id"])
    with Session(engine) as session:
        notes = session.exec(select(TouchedRow.id)).all()
        assert notes
        found = select(TouchedRow.id).where(among(col(TouchedRow.id), range(TOO_MANY)))
        assert set(session.exec(found)) == set(notes)
        labels = [f"label {n}" for n in range(TOO_MANY)] + ["'\"ü", table["label"]]
        labelled = select(PoolTableRow.label).where(among(col(PoolTableRow.label), labels))
        assert session.exec(labelled).all() == [table["label"]]
