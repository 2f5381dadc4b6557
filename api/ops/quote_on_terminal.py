"""One question answered on the terminal: the same answer as the API's, in words or as its JSON."""

from collections.abc import Mapping
from datetime import datetime
from difflib import get_close_matches
from typing import Any
from uuid import UUID

from pydantic import ValidationError
from sqlmodel import Session, select

from ..pool_tables.rows import PoolTableRow
from ..quotes.convert import in_words
from ..quotes.schemas import ScenarioIn
from ..quotes.service import QuoteContexts, QuoteRequest, When
from ..venues.rows import VenueRow
from ..web.errors import Problem, from_validation, http_problem
from ..web.schema_types import value_or

_NEAR, _NAMES_MAX = 0.5, 5


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
    venue_id = None if venue is None else _named(_names_of_venues(session), venue, what="venue")
    table_id = None if table is None else _named(_names_of_tables(session), table, what="table")
    when = When(at=value_or(question.at, None), day=value_or(question.day, None), time=value_or(question.time, None))
    units = {name: value_or(getattr(question, name), None) for name in ("money", "games", "minutes")}
    answer = QuoteContexts(session, now=now).ask(
        venue_id=venue_id,
        table_id=table_id,
        basis=value_or(question.basis, None),
        when=when,
        asked=QuoteRequest(**units, players=value_or(question.players, 1)),
    )
    if as_json:
        return answer.model_dump_json(indent=2, by_alias=True)
    where = session.get_one(VenueRow, answer.venue_id).name
    if table_id is not None:
        where = f"{session.get_one(PoolTableRow, table_id).label}, {where}"
    return in_words(answer, where=where)


def _names_of_venues(session: Session) -> dict[UUID, str]:
    return {row.id: row.name for row in session.exec(select(VenueRow))}


def _names_of_tables(session: Session) -> dict[UUID, str]:
    return {row.id: row.label for row in session.exec(select(PoolTableRow))}


def _named(names: Mapping[UUID, str], typed: str, *, what: str) -> UUID:
    """Return whose id or, in any case, name was typed; else refuse, and offer the names that come near."""
    folded = typed.strip().casefold()
    found = [id for id, name in names.items() if folded in (name.casefold(), str(id))]
    if len(found) == 1:
        return found[0]
    raise _several(typed, found, what=what) if found else _none(typed, names.values(), what=what)


def _several(typed: str, found: list[UUID], *, what: str) -> Problem:
    ids = " or ".join(str(id) for id in found[:_NAMES_MAX])
    return http_problem("invalid", where=f"--{what}", found=f"{typed!r}, which {len(found)} {what}s have", expected=ids)


def _none(typed: str, names: Any, *, what: str) -> Problem:
    known = {name.casefold(): name for name in names}
    folded = typed.casefold()
    near = [name for fold, name in known.items() if folded in fold]
    near += [known[fold] for fold in get_close_matches(folded, known, n=_NAMES_MAX, cutoff=_NEAR)]
    offered = " or ".join(dict.fromkeys(near[:_NAMES_MAX])) or f"a {what}'s name or id"
    return http_problem("invalid", where=f"--{what}", found=f"{typed!r}, which no {what} has", expected=offered)
