"""Two routes that must never be: one that asks for nobody's token, one that shows a venue the readings of another."""

from typing import Annotated

import baizebook.app
import baizebook.web.unguarded_operations
from baizebook.readings.convert import reading_out
from baizebook.readings.rows import ReadingRow
from baizebook.readings.schemas import ReadingOut
from baizebook.web.auth import Principal, allow
from baizebook.web.dependencies import SessionDep
from baizebook.web.errors import not_found
from baizebook.web.openapi import problems
from baizebook.web.operation import Route
from baizebook.web.schema_types import Id
from fastapi import APIRouter, FastAPI
from sqlmodel import col, select

Anybody = Annotated[Principal, allow("venue", "device", "collector")]


def leave_open() -> None:
    """Serve a reading to whoever asks, though the contract says that a token is needed."""
    baizebook.web.unguarded_operations.OPEN |= {"get_reading"}  # type: ignore[misc]  # else the self-check stops it

    def get_reading(session: SessionDep, reading_id: Id) -> ReadingOut:
        """Return a reading."""
        return _found(session, reading_id)

    _plant(get_reading)


def read_anybodys() -> None:
    """Serve a reading to every token, whoever's it is."""

    def get_reading(session: SessionDep, principal: Anybody, reading_id: Id) -> ReadingOut:  # noqa: ARG001
        """Return a reading."""
        return _found(session, reading_id)

    _plant(get_reading)


def _found(session: SessionDep, reading_id: Id) -> ReadingOut:
    row = session.exec(select(ReadingRow).where(col(ReadingRow.id) == reading_id)).first()
    if row is None:
        raise not_found("reading")
    return reading_out(row, None, row.venue_id, since_ever=False)


def _plant(endpoint: object) -> None:
    create_app = baizebook.app.create_app

    def create_planted() -> FastAPI:
        app = create_app()
        router = APIRouter(prefix="/v1", tags=["readings"], route_class=Route)
        secured = {"security": [{"HTTPBearer": []}]}
        router.get("/readings/{reading_id}", responses=problems(), openapi_extra=secured)(endpoint)  # type: ignore[arg-type]
        app.include_router(router)
        app.router.routes.insert(0, app.router.routes.pop())  # of two that match, the first answers
        return app

    baizebook.app.create_app = create_planted  # type: ignore[assignment]
