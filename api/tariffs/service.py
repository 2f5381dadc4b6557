"""Tariffs in the database: published versions, never changed; compiled once and kept, since they never change."""

from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, func, select

from ..pricing import Tariff, check_counting
from ..store.clock import new_id
from ..store.db import lock
from ..store.sequence import next_number
from ..web.errors import not_found
from ..web.pagination import Page, page
from .convert import advice_out, advise, counting_check_out, read_counting_check, read_tariff, tariff_values
from .rows import TariffRow
from .schemas import AdviceOut, CountingCheckIn, CountingCheckOut, TariffCheckOut, TariffIn, TariffOut

_COMPILED_MAX = 10_000

_compiled: dict[UUID, Tariff] = {}


def check_tariff(message: TariffIn) -> TariffCheckOut:
    """Judge a tariff as if it were published; store nothing."""
    tariff = read_tariff(message)
    advice = [advice_out(item, tariff.currency) for item in advise(tariff)]
    return TariffCheckOut(code=message.code, name=message.name, **tariff_values(tariff), advice=advice)


def check_counting_of(message: CountingCheckIn) -> CountingCheckOut:
    """Find out which way a controller counts, from what somebody saw at it (P11); store nothing."""
    question = read_counting_check(message)
    check = check_counting(question.candidates, question.seen, accepts=question.accepts)
    return counting_check_out(check, question, message)


def publish_tariff(session: Session, message: TariffIn, *, now: datetime) -> TariffRow:
    """Store the next version of a tariff, with the advice on it."""
    tariff = read_tariff(message)
    advice = [advice_out(item, tariff.currency) for item in advise(tariff)]
    lock(session, f"tariff:{message.code}")
    latest = session.exec(select(func.max(TariffRow.version)).where(TariffRow.code == message.code)).one()
    recorded = next_number(session, "tariffs", now=now)
    row = TariffRow(
        id=new_id(),
        sequence=recorded.number,
        code=message.code,
        version=(latest or 0) + 1,
        name=message.name,
        currency=message.currency,
        published_at=recorded.at,
        terms=message.model_dump(mode="json"),
        advice=[item.model_dump() for item in advice],
    )
    session.add(row)
    session.flush()
    return row


def get_tariff(session: Session, tariff_id: UUID, *, what: str = "tariff") -> TariffRow:
    """Return a published tariff; ``not_found`` where there is none."""
    row = session.get(TariffRow, tariff_id)
    if row is None:
        raise not_found(what)
    return row


def page_tariffs(session: Session, *, limit: int, after: UUID | None) -> Page[TariffRow]:
    """Return the published tariffs in the order of their publication."""
    return page(
        session, select(TariffRow), key=col(TariffRow.id), order=col(TariffRow.sequence), limit=limit, after=after
    )


def compile_tariff(row: TariffRow) -> Tariff:
    """Return the engine's value of a published tariff; it never changes, so it is kept by its id."""
    tariff = _compiled.get(row.id)
    if tariff is None:
        if len(_compiled) >= _COMPILED_MAX:
            _compiled.clear()
        tariff = read_tariff(TariffIn.model_validate(row.terms), id=row.id, version=row.version)
        _compiled[row.id] = tariff
    return tariff


def tariff_out(row: TariffRow) -> TariffOut:
    """Write a published tariff as its message."""
    return TariffOut(
        id=row.id,
        version=row.version,
        published_at=row.published_at,
        code=row.code,
        name=row.name,
        **tariff_values(compile_tariff(row)),
        advice=[AdviceOut(**item) for item in row.advice],
    )
