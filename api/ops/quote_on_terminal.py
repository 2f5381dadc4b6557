"""One question answered on the terminal: the same answer as the API's, in words or as its JSON."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from pydantic import ValidationError
from sqlmodel import Session

from ..pool_tables.rows import PoolTableRow
from ..quotes.convert import quote_in_words
from ..quotes.schemas import QuoteOut, ScenarioIn
from ..quotes.service import QuoteContexts, QuoteRequest, When
from ..venues.rows import VenueRow
from ..web.errors import from_validation
from ..web.schema_types import value_or
from .found_by_name import table_named, venue_named


def answer_on_terminal(
    session: Session,
    *,
    venue: str | None,
    table: str | None,
    asked: Mapping[str, Any],
    as_json: bool,
    now: datetime,
) -> str:
    """Answer a question about a venue or a table, checked as the API checks it; refused where the API refuses it."""
    try:
        question = ScenarioIn.model_validate(asked)
    except ValidationError as error:
        raise from_validation(error.errors()) from None
    venue_id = None if venue is None else venue_named(session, venue)
    table_id = None if table is None else table_named(session, table)
    when = When(at=value_or(question.at, None), day=value_or(question.day, None), time=value_or(question.time, None))
    units = {name: value_or(getattr(question, name), None) for name in ("money", "games", "minutes")}
    values = QuoteContexts(session, now=now).ask(
        venue_id=venue_id,
        table_id=table_id,
        basis=value_or(question.basis, None),
        when=when,
        asked=QuoteRequest(**units, players=value_or(question.players, 1)),
    )
    answer = QuoteOut.model_validate(values)
    if as_json:
        return answer.model_dump_json(indent=2, by_alias=True)
    where = session.get_one(VenueRow, answer.venue_id).name
    if table_id is not None:
        where = f"{session.get_one(PoolTableRow, table_id).label}, {where}"
    return quote_in_words(answer, where=where)
