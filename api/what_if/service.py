"""Compares two lists of prices by past intake: load both and the intake, compare, say it in a sentence (N4)."""

from collections.abc import Sequence
from fractions import Fraction
from uuid import UUID

from pydantic import MISSING
from sqlmodel import Session

from ..earnings.service import must_be_a_period, must_not_be_before_collections
from ..pricing import format_money, parse_money
from ..store.db import work_of
from ..tariffs.convert import read_tariff
from ..tariffs.service import compile_tariff, get_tariff
from ..web.errors import http_problem
from ..web.schema_types import value_or
from .comparison import COMPARISON_CANNOT_KNOW, Compared, Intake, WhatIf, compare, whole_sentence
from .convert import assumed_in_words, ids_out, pieces_out, windows_out
from .paired_windows import PricedSide, paired_windows
from .queries import Scope, TakenIn, scope_of_table, scope_of_venue, side_of_schedule, taken_in
from .schemas import PricesIn, WhatIfIn, WhatIfOut


def what_if(session: Session, message: WhatIfIn) -> tuple[WhatIfOut, Sequence[Compared]]:
    """Return two lists of prices side by side, and the comparisons that a picture draws.

    Refuses a list that is not exactly one of tariff, draft and schedule, lists or an intake of different currencies
    (``currency_differs``), a list beside itself, a period that is backwards, of no length, too long or before the first
    collection, and ``too_much_work``.
    """
    must_be_a_period(message.from_, message.to, where="to")
    scope = _scope(session, message)
    current, other = (_side(session, getattr(message, name), name, scope) for name in ("current", "other"))
    if (current.tariff, current.schedule) == (other.tariff, other.schedule):
        raise http_problem("invalid", where="other", found="the prices of current", expected="other prices to compare")
    found_in = taken_in(session, scope, from_on=message.from_, until_on=message.to)
    if not found_in.collection_ids:
        must_not_be_before_collections(
            session, message.to, where="to", venue_id=scope.venue_id, table_id=scope.table_id
        )
    windows = paired_windows(current, other)
    asked = _asked(message, scope, found_in, [current, other])
    work = work_of(session)
    compared: Sequence[Compared] = compare(windows, asked, work=work)
    found = WhatIfOut(
        sentence=whole_sentence(compared, windows, asked.intake, scope.currency),
        currency=scope.currency,
        from_=message.from_,
        to=message.to,
        taken_in=format_money(asked.intake.total, scope.currency),
        pieces=pieces_out(found_in.counts, scope.currency),
        games=found_in.games,
        windows=windows_out(windows, compared, asked, currency=scope.currency, accepts=scope.accepts, work=work),
        assumed=assumed_in_words(asked),
        cannot_know=list(COMPARISON_CANNOT_KNOW),
        collection_ids=ids_out(found_in.collection_ids),
    )
    return found, compared


def _scope(session: Session, message: WhatIfIn) -> Scope:
    if message.venue_id is not MISSING and message.table_id is MISSING:
        return scope_of_venue(session, message.venue_id)
    if message.table_id is not MISSING and message.venue_id is MISSING:
        return scope_of_table(session, message.table_id)
    found = "neither" if message.venue_id is MISSING else "both"
    raise http_problem("invalid", where="venue_id", found=found, expected="one of venue_id and table_id")


def _side(session: Session, prices: PricesIn, where: str, scope: Scope) -> PricedSide:
    sent = [name for name in ("tariff_id", "tariff", "schedule_id") if getattr(prices, name) is not MISSING]
    if len(sent) != 1:
        expected = "one of tariff_id, tariff and schedule_id"
        raise http_problem("invalid", where=where, found=" and ".join(sent) or "nothing", expected=expected)
    if isinstance(prices.schedule_id, UUID):
        side, currency = side_of_schedule(session, prices.schedule_id)
    elif isinstance(prices.tariff_id, UUID):
        row = get_tariff(session, prices.tariff_id)
        side, currency = PricedSide(name=row.name, tariff=compile_tariff(row)), row.currency
    else:
        tariff = read_tariff(prices.tariff)  # type: ignore[arg-type]
        side, currency = PricedSide(name=tariff.code, tariff=tariff), tariff.currency
    if currency != scope.currency:
        raise http_problem("currency_differs", where=where, found=currency, expected=scope.currency)
    return side


def _asked(message: WhatIfIn, scope: Scope, found_in: TakenIn, sides: Sequence[PricedSide]) -> WhatIf:
    if message.amounts is MISSING:
        amounts = sorted({*found_in.counts, *scope.accepts, *(price for side in sides for price in _prices(side))})
    else:
        amounts = [
            parse_money(text, scope.currency, where=f"amounts[{index}]") for index, text in enumerate(message.amounts)
        ]
    text = value_or(message.elasticity, None)
    elasticity = None if text is None else Fraction(text)
    if elasticity is not None and elasticity > 0:
        raise http_problem("invalid", where="elasticity", found=text, expected="at most 0, such as -0.8")
    return WhatIf(
        intake=Intake(counts=dict(sorted(found_in.counts.items()))),
        amounts=amounts,
        elasticity=elasticity,
        minutes_a_game=value_or(message.minutes_a_game, None),
    )


def _prices(side: PricedSide) -> set[int]:
    tariffs = [side.tariff] if side.schedule is None else [entry.tariff for entry in side.schedule.entries]
    ladders = [ladder for tariff in tariffs if tariff for ladder in (tariff.games, tariff.minutes) if ladder]
    return {rung.price for ladder in ladders for rung in ladder.rungs}
