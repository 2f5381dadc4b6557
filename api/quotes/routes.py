"""HTTP for questions."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from datetime import time as wall_time
from inspect import Parameter, signature
from typing import Annotated, Any, Literal
from uuid import UUID

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import PlainTextResponse
from pydantic import ValidationError, create_model
from pydantic_core import to_json
from sqlmodel import Session

from ..controllers.queries import sold_at_place
from ..controllers.schemas import BasisAsked
from ..controllers.sells import Basis, SoldDuring
from ..pricing import Calendar, DomainError
from ..pricing.timetable import Span
from ..pricing.week import WEEKDAYS, Weekday
from ..schedules import queries as schedules_queries
from ..schedules.convert import tariff_ref
from ..store.db import work_of
from ..store.read_cache import NoSession, NotCached, ReadCache
from ..venues.service import calendar_of
from ..web.auth import AnybodyButDevicesDep, Principal
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, ReadCacheDep, SessionDep, from_memory, stores_nothing
from ..web.errors import Problem, ProblemOut, bound_problems, http_problem, problem_out
from ..web.openapi import problems
from ..web.operation import Route
from ..web.request_instant import instant_from_memory
from ..web.schema_types import MONEY_PATTERN, AskedDay, AskedTime, Date, Id, Money
from . import service
from .convert import CSV_COLUMNS, Values, cell_of, csv_of, grid_csv
from .schemas import (
    AtText,
    OfferKind,
    PriceGridOut,
    QuoteOut,
    ResultsOut,
    ScenarioIn,
    ScenariosIn,
    SpanOut,
    WeekDayOut,
    WeekOut,
)

router = APIRouter(prefix="/v1", tags=["questions"], route_class=Route)

Format = Literal["json", "csv", "text"]
_AMOUNTS_PATTERN = rf"^{MONEY_PATTERN.strip('^$')}(,{MONEY_PATTERN.strip('^$')}){{0,39}}$"
CsvColumn = Literal[CSV_COLUMNS]  # type: ignore[valid-type]
_FORMATS: dict[int | str, dict[str, Any]] = {
    200: {
        "model": QuoteOut,
        "content": {**CSV, "text/plain": {"schema": {"type": "string"}}},
    }
}


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, where and when."""

    place: dict[str, UUID | None]
    basis: BasisAsked | None
    when: service.When
    asked: service.QuoteRequest

    def answer(self, session: Session | NoSession, principal: Principal, now: datetime, kept: ReadCache) -> Values:
        """Answer it, of what the principal may see."""
        contexts = service.QuoteContexts(session, now=now, only_venues=principal.only_venues, kept=kept)
        return contexts.ask(**self.place, basis=self.basis, when=self.when, asked=self.asked)


async def read_question(
    venue_id: Annotated[Id | None, Query(description="Ask about a venue: what is listed.")] = None,
    table_id: Annotated[Id | None, Query(description="Ask about a table: what it sells.")] = None,
    money: Annotated[
        Money | None, Query(description="The amount put in: what does it buy?", examples=["10.00"])
    ] = None,
    games: Annotated[
        int | None, Query(ge=1, le=10_000, description="A number of games: what is the least money for them?")
    ] = None,
    minutes: Annotated[
        int | None, Query(ge=1, le=10_000, description="A number of minutes: what is the least money for them?")
    ] = None,
    at: Annotated[AtText | None, Query()] = None,
    day: Annotated[
        AskedDay | None, Query(description="With time: the next such trading day, such as tue or Tuesday.")
    ] = None,
    time: Annotated[
        AskedTime | None, Query(description="With day: the venue's wall clock, such as 21:00 or 9pm.")
    ] = None,
    players: Annotated[int, Query(ge=1, le=100, description="For metered rates charged per player.")] = 1,
    basis: Annotated[BasisAsked | None, Query(description="listed: of a table, only what is listed for it.")] = None,
) -> Question:
    """Return the question that an address asks."""
    return _question(venue_id, table_id, money, games, minutes, at, day, time, players, basis)


def _question(
    venue_id: UUID | None,
    table_id: UUID | None,
    money: str | None,
    games: int | None,
    minutes: int | None,
    at: str | None,
    day: Weekday | None,
    time: wall_time | None,
    players: int,
    basis: BasisAsked | None,
) -> Question:
    return Question(
        place={"venue_id": venue_id, "table_id": table_id},
        basis=basis,
        when=service.When(at=at, day=day, time=time),
        asked=service.QuoteRequest(money=money, games=games, minutes=minutes, players=players),
    )


QuestionDep = Annotated[Question, Depends(read_question)]


def _quote_from_memory(request: Request) -> Response:
    """Answer ``get_quote`` where all that it reads is kept; FastAPI would spend most of the time on the parameters."""
    try:
        sent = dict(_PARAMETERS.model_validate(dict(request.query_params)))
    except ValidationError:
        raise NotCached("sound parameters") from None
    form = {name: sent.pop(name) for name in ("format", "column", "kind")}
    now, kept = instant_from_memory(request), request.app.state.kept
    return _answer(_question(**sent), NoSession(), kept, request.state.principal, now, **form)


@router.get("/quotes", responses={**problems(409), **_FORMATS})
@from_memory(_quote_from_memory)
def get_quote(
    session: SessionDep,
    kept: ReadCacheDep,
    principal: AnybodyButDevicesDep,
    now: NowDep,
    question: QuestionDep,
    format: Annotated[Format, Query(description="csv: a line an offer; text: one bare value.")] = "json",
    column: Annotated[CsvColumn | None, Query(description="With format=text: which value.")] = None,
    kind: Annotated[OfferKind | None, Query(description="With format=text: of which offer.")] = None,
) -> Response:
    """Quote what an amount buys at a place and time, or the least money for a number of games or minutes.

    Without `at`, or `day` and `time`, the time is now. With `format=csv` or `format=text` a refusal is one line of text.
    """
    return _answer(question, session, kept, principal, now, format=format, column=column, kind=kind)


_FIELDS: dict[str, Any] = {
    name: (parameter.annotation, parameter.default)
    for function in (read_question, get_quote)
    for name, parameter in signature(function).parameters.items()
    if parameter.default is not Parameter.empty
}
_PARAMETERS = create_model("Parameters", **_FIELDS)
"""The parameters of ``get_quote`` as one model."""


def _answer(
    question: Question,
    session: Session | NoSession,
    kept: ReadCache,
    principal: Principal,
    now: datetime,
    *,
    format: Format,
    column: str | None,
    kind: OfferKind | None,
) -> Response:
    if (format == "text") == (column is None):
        expected = "a column" if format == "text" else "no column: only format=text gives one value"
        raise http_problem("invalid", where="column", found=column or "nothing", expected=expected)
    if format != "text" and kind is not None:
        raise http_problem("invalid", where="kind", found=kind, expected="no kind: only format=text gives one value")
    answer = question.answer(session, principal, now, kept)
    if format == "csv":
        return CsvAnswer(csv_of(QuoteOut.model_validate(answer)))
    if column is not None:
        return PlainTextResponse(cell_of(QuoteOut.model_validate(answer), column=column, kind=kind))
    return Response(to_json(answer), media_type="application/json")


@router.post("/quotes", responses={**problems(), 200: {"model": ResultsOut}})
@stores_nothing
def post_quotes(
    session: SessionDep, kept: ReadCacheDep, principal: AnybodyButDevicesDep, now: NowDep, body: ScenariosIn
) -> Response:
    """Answer up to 1,000 scenarios in order, each with its answer or its problem."""
    contexts = service.QuoteContexts(session, now=now, only_venues=principal.only_venues, kept=kept)
    found = [_result(contexts, scenario) for scenario in body.scenarios]
    written = [b'{"results":[']
    for (answer, _), problem in zip(found, bound_problems(problem for _, problem in found), strict=True):
        written += (b'{"answer":', answer, b',"problem":', b"null" if problem is None else to_json(problem), b"},")
    written[-1] = b"}]}"
    return Response(b"".join(written), media_type="application/json")


def _result(contexts: service.QuoteContexts, scenario: ScenarioIn) -> tuple[bytes, ProblemOut | None]:
    """Return an answer as JSON, written at once: a thousand of them as values take megabytes; or null and why."""
    try:
        return to_json(service.answer_scenario(contexts, scenario)), None
    except (DomainError, Problem) as error:
        return b"null", problem_out(error)


@router.get("/price-grid", responses={**problems(), 200: {"model": PriceGridOut, "content": CSV}})
def get_price_grid(
    session: SessionDep,
    principal: AnybodyButDevicesDep,
    now: NowDep,
    venue_id: Annotated[
        list[Id] | None, Query(max_length=100, description="Only this venue; repeat it for several. Without it, all.")
    ] = None,
    amounts: Annotated[
        str | None,
        Query(
            pattern=_AMOUNTS_PATTERN,
            max_length=500,
            description="Amounts, separated by commas. Without it, the coins and notes that the tables there take.",
            examples=["1.00,5.00"],
        ),
    ] = None,
    on: Annotated[Date | None, Query(description="A trading date; without it, today's.")] = None,
    format: Annotated[
        Literal["json", "csv"], Query(description="A csv has a line for each line of the answer.")
    ] = "json",
) -> Response:
    """Return what amounts buy in each window of a trading day at one venue, some, or all, in one answer.

    Prices are as listed, for one player, at the start of each window. At most 500 venues and 4,000 lines (422).
    """
    for one in venue_id or ():
        principal.must_see_venue(one)
    asked = frozenset(venue_id) if venue_id else principal.only_venues
    grid = service.price_grid(session, venue_ids=asked, amounts=amounts.split(",") if amounts else (), on=on, now=now)
    if format == "csv":
        return CsvAnswer(grid_csv(grid.items))
    return Response(grid.model_dump_json(), media_type="application/json")


@router.get("/venues/{venue_id}/week", responses=problems(409))
def get_week(
    session: SessionDep,
    principal: AnybodyButDevicesDep,
    now: NowDep,
    venue_id: Id,
    on: Annotated[Date | None, Query(description="A trading date of the week; without it, today's.")] = None,
    table_id: Annotated[Id | None, Query(description="A table at the venue, instead of the venue itself.")] = None,
    basis: Annotated[BasisAsked | None, Query(description="listed: of a table, only what is listed for it.")] = None,
) -> WeekOut:
    """Resolve the trading week of a date: which entry and which tariff holds when."""
    principal.must_see_venue(venue_id)
    place = schedules_queries.place_of_venue(session, venue_id)
    calendar = calendar_of(place.venue)
    on = on or calendar.trading_day(now)
    if table_id is not None:
        place = schedules_queries.place_at_venue(
            session, place.venue, table_id, at=calendar.day_starts(on + timedelta(days=1))
        )
    sold = None if basis == "listed" else sold_at_place(session, place, work=work_of(session))
    week = (schedules_queries.listed_at(session, place) if sold is None else sold.sold).week(on)
    days = [
        WeekDayOut(on=day, day=WEEKDAYS[day.weekday()], spans=[_span_out(span, calendar, sold) for span in spans])
        for day, spans in week.items()
    ]
    return WeekOut(venue_id=venue_id, table_id=table_id, days=days)


def _span_out(span: Span, calendar: Calendar, sold: SoldDuring | None) -> SpanOut:
    """Write a span of a trading day with the venue's wall clock."""
    assert span.from_at is not None
    assert span.to_at is not None
    start, end = calendar.local(span.from_at), calendar.local(span.to_at)
    basis: Basis = "listed" if sold is None else sold.at(span.from_at).basis
    return SpanOut(
        from_at=start,
        to_at=end,
        from_local=start.time(),
        to_local=end.time(),
        name=span.name,
        kind=span.kind,
        of=span.of,
        basis=basis,
        schedule_id=UUID(span.schedule_id) if span.schedule_id else None,
        tariff=tariff_ref(span.tariff),
    )
