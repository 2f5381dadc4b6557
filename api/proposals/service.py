"""Proposes prices from stated aims: load what the controller can hold, search, explain; it never publishes."""

from typing import Any

from pydantic import MISSING
from sqlmodel import Session

from ..pool_tables.controller import Controller, controller_of
from ..pool_tables.service import controller_of_table, currency_of, get_table
from ..pricing import advice, format_money, parse_money
from ..pricing.lines import PrepaidKind
from ..pricing.money import round_half_up
from ..store.db import work_of
from ..tariffs.convert import advice_out, ladder_out
from ..web.errors import http_problem
from ..web.schema_types import value_or
from .explanation import PROPOSAL_CANNOT_KNOW, WHY, gives_up, ladder_lines, sentence
from .ladder_search import MEASURES, Aims, LaddersFound, Measured, search
from .schemas import ProposalOut, ProposalsIn, ProposalsOut

_PRICES_MAX = 3


def propose_prices(session: Session, message: ProposalsIn) -> ProposalsOut:
    """Return the ladders that suit the aims best.

    Refuses a table beside what is stated without one, a kind that the controller does not sell, notes that the table does
    not take, and ``too_much_work``.
    """
    controller, currency, accepts = _where(session, message)
    kind: PrepaidKind = value_or(message.kind, "games")
    aims = _aims(message, controller, kind, currency, accepts)
    found = search(aims, work=work_of(session))
    ladders = dict.fromkeys(found.best[measure] for measure in MEASURES if measure in found.best)
    return ProposalsOut(
        sentence=sentence(found, len(ladders)),
        currency=currency,
        kind=kind,
        searched=found.searched,
        met=found.met,
        proposals=[_proposal_out(one, found, aims, kind, currency) for one in ladders],
        cannot_know=list(PROPOSAL_CANNOT_KNOW),
    )


def _where(session: Session, message: ProposalsIn) -> tuple[Controller, str, tuple[int, ...]]:
    if message.table_id is not MISSING:
        for name in ("currency", "accepts", "controller"):
            if getattr(message, name) is not MISSING:
                raise http_problem("invalid", where=name, found="a value", expected="nothing beside table_id")
        table = get_table(session, message.table_id)
        currency = currency_of(session, table)
        texts: list[str] = table.profile["accepts"]
        return controller_of_table(table, currency), currency, _amounts(texts, currency, where="accepts")
    if message.currency is MISSING or message.accepts is MISSING:
        raise http_problem("invalid", where="table_id", found="nothing", expected="a table, or currency and accepts")
    accepts = _amounts(message.accepts, message.currency, where="accepts")
    if message.controller is MISSING:
        return Controller(), message.currency, accepts
    stated: dict[str, Any] = message.controller.model_dump(mode="json", by_alias=True)
    return controller_of(stated, message.currency), message.currency, accepts


def _amounts(texts: list[str], currency: str, *, where: str) -> tuple[int, ...]:
    amounts = tuple(parse_money(text, currency, where=f"{where}[{index}]") for index, text in enumerate(texts))
    for index, amount in enumerate(amounts):
        if not amount:
            raise http_problem("invalid", where=f"{where}[{index}]", found=texts[index], expected="more than 0")
    return tuple(sorted(set(amounts)))


def _aims(
    message: ProposalsIn, controller: Controller, kind: PrepaidKind, currency: str, accepts: tuple[int, ...]
) -> Aims:
    limits = controller.limits(kind)
    if not limits.sold:
        raise http_problem("invalid", where="kind", found=kind, expected="a kind that the controller sells")
    pace = value_or(message.minutes_a_game, None)
    if kind == "games" and pace is None:
        raise http_problem("invalid", where="minutes_a_game", found="nothing", expected="minutes that a game takes")
    notes = _amounts(value_or(message.mostly, []), currency, where="mostly")
    for index, note in enumerate(notes):
        if note not in accepts:
            expected = "coins and notes that the table takes: " + ", ".join(format_money(v, currency) for v in accepts)
            raise http_problem(
                "invalid", where=f"mostly[{index}]", found=format_money(note, currency), expected=expected
            )
    first = _money(message.first_price_max, currency, "first_price_max", min(notes, default=accepts[-1]))
    highest = _money(message.highest_price, currency, "highest_price", max(notes, default=accepts[-1]))
    prices_max = value_or(message.prices_max, _PRICES_MAX)
    return Aims(
        least_an_hour=parse_money(message.least_an_hour, currency, where="least_an_hour"),
        minutes_a_unit=1 if kind == "minutes" or pace is None else pace,
        accepts=accepts,
        notes=notes,
        first_price_max=first,
        highest_price=highest,
        prices_max=prices_max if limits.prices_max is None else min(prices_max, limits.prices_max),
        limits=limits,
        counting=controller.counting or "repeat",
    )


def _money(text: Any, currency: str, where: str, otherwise: int) -> int:
    return otherwise if text is MISSING else parse_money(text, currency, where=where)


def _proposal_out(one: Measured, found: LaddersFound, aims: Aims, kind: PrepaidKind, currency: str) -> ProposalOut:
    best_by = [measure for measure in MEASURES if found.best[measure] == one]
    return ProposalOut(
        best_by=best_by,
        why=[WHY[measure] for measure in best_by],
        ladder=ladder_out(one.ladder, currency),
        least_an_hour=format_money(round_half_up(one.an_hour), currency),
        lines=ladder_lines(one, aims, kind, currency),
        gives_up=gives_up(one, found, currency),
        advice=[advice_out(item, currency) for item in advice(one.ladder, kind, currency)],
    )
