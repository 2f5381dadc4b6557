"""Is the service alive, is it ready, and what does a problem mean. No token is needed here."""

from typing import Literal

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import HTMLResponse
from sqlalchemy.exc import SQLAlchemyError

from ..store.revision import current_revision, newest_revision
from .error_answers import problem_page
from .errors import Problem
from .openapi import problems
from .schema_types import Out

router = APIRouter(tags=["service"])
_OPEN = {status: text for status, text in problems().items() if status in (400, 404, 422, 503)}


class AliveOut(Out):
    """The process answers."""

    status: Literal["alive"]


class ReadyOut(Out):
    """The database answers and is migrated."""

    status: Literal["ready"]
    revision: str


_ALIVE = AliveOut(status="alive").model_dump_json()


@router.get("/healthz", response_model=AliveOut, responses={400: _OPEN[400]})
async def get_alive() -> Response:
    """Answer 200 while the process runs."""
    return Response(_ALIVE, media_type="application/json")


@router.get("/readyz", responses={400: _OPEN[400], 503: _OPEN[503]})
def get_ready(request: Request) -> ReadyOut:
    """Answer 200 while the database can be reached and is up to date, otherwise 503."""
    try:
        with request.app.state.engine.connect() as connection:
            found = current_revision(connection)
    except SQLAlchemyError:
        raise Problem("unavailable", "The database cannot be reached.", headers={"Retry-After": "1"}) from None
    if found is None or found != newest_revision():
        detail = f"The database is at revision {found}, the service at {newest_revision()}: run baizebook migrate."
        raise Problem("unavailable", detail, headers={"Retry-After": "10"})
    return ReadyOut(status="ready", revision=found)


@router.get(
    "/problems/{code}",
    response_class=HTMLResponse,
    responses={
        200: {"content": {"text/html": {"schema": {"type": "string"}}}, "description": "A page for people."},
        400: _OPEN[400],
        404: _OPEN[404],
        422: _OPEN[422],
    },
)
def explain_problem(code: str = Path(max_length=80, pattern=r"^[a-z0-9_]+$")) -> HTMLResponse:
    """Explain a problem: what it means and what to do about it."""
    return problem_page(code)
