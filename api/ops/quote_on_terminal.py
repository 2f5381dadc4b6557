"""One question answered on the terminal: the same answer as the API's, in words or as its JSON."""

from argparse import Namespace
from datetime import datetime
from typing import Any
from uuid import UUID

from pydantic import ValidationError
from sqlmodel import Session, col, select

from ..pool_tables.rows import PoolTableRow
from ..quotes.convert import in_words
from ..quotes.schemas import ScenarioIn
from ..quotes.service import Asked, SheetOf, Spots, When
from ..venues.rows import VenueRow
from ..web.errors import from_validation, refused
from ..web.schema_types import given

_ASKED = ("at", "day", "time", "money", "games", "minutes", "players", "basis")


def answer_on_terminal(session: Session, options: Namespace, *, now: datetime, sheet_of: SheetOf) -> str:
    """Answer the question that the command's options ask, checked as the API checks it."""
    values = {name: getattr(options, name) for name in _ASKED if getattr(options, name) is not None}
    if "day" in values:
        values["day"] = values["day"].lower()
    try:
        question = ScenarioIn.model_validate(values)
    except ValidationError as error:
        raise from_validation(error.errors()) from None
    venue_id = options.venue and _find(session, VenueRow, col(VenueRow.name), options.venue, where="--venue")
    table_id = options.table and _find(session, PoolTableRow, col(PoolTableRow.label), options.table, where="--table")
    when = When(at=given(question.at, None), day=given(question.day, None), time=given(question.time, None))
    asked = Asked(**{name: given(getattr(question, name), None) for name in ("money", "games", "minutes")},
                  players=given(question.players, 1))  # fmt: skip
    answer = Spots(session, now=now, sheet_of=sheet_of).ask(
        venue_id=venue_id, table_id=table_id, basis=given(question.basis, None), when=when, asked=asked
    )
    if options.json:
        return answer.model_dump_json(indent=2, by_alias=True)
    venue = session.get_one(VenueRow, answer.venue_id).name
    where = venue if table_id is None else f"{session.get_one(PoolTableRow, table_id).label}, {venue}"
    return in_words(answer, where=where)


def _find(session: Session, model: Any, name: Any, text: str, *, where: str) -> UUID:
    """Return the id of the row with this id, or of the only one with this name."""
    try:
        query = select(model.id).where(model.id == UUID(text))
    except ValueError:
        query = select(model.id).where(name == text)
    rows = session.exec(query.limit(2)).all()
    if len(rows) != 1:
        found = f"{text!r}, which {'several' if rows else 'none'} have"
        raise refused("invalid", where=where, found=found, expected="an id, or a name that exactly one has")
    return UUID(str(rows[0]))
