"""Answers how tables were played in a period: load meters, boxes and prices, divide them, add them up by currency."""

from collections import defaultdict
from datetime import date
from uuid import UUID

from sqlmodel import Session

from ..earnings.service import must_be_a_period, must_not_be_before_collections
from ..pool_tables.service import get_table
from ..pricing.lines import PREPAID_KINDS, PrepaidKind
from ..venues.service import get_venue
from .convert import OfMeter, of_meter_out, play_total_out
from .meter_steps import paid_by_boxes, paid_by_meter, steps_of_meter
from .played import Played, played, played_in_all
from .queries import TableThere, tables_there
from .schemas import PlayOfTableOut, PlayOut

PLAY_NOTICE = (
    "Figures between readings of the period; nothing is spread over days. Shares of prices hold every way to buy that "
    "gives the same games and money: an exact figure where the least is the most. What no reading shows is cannot_tell."
)


def read_play(
    session: Session, *, from_on: date, until_on: date, venue_id: UUID | None = None, table_id: UUID | None = None
) -> PlayOut:
    """Return how each table was played, and all tables of a currency.

    Refuses an unknown venue or table (``not_found``), ``too_much_work``, and a period that is backwards,
    of no length, too long, or before the first collection where no meter was read in it either.
    """
    must_be_a_period(from_on, until_on, where="query.to")
    if venue_id is not None:
        get_venue(session, venue_id)
    if table_id is not None:
        get_table(session, table_id)
    rows: list[PlayOfTableOut] = []
    figures: dict[tuple[str, PrepaidKind], list[Played]] = defaultdict(list)
    read = 0
    for there in tables_there(session, from_on=from_on, until_on=until_on, venue_id=venue_id, table_id=table_id):
        found = {kind: _of_kind(there, kind) for kind in PREPAID_KINDS}
        currency = there.venue.currency
        for kind, one in found.items():
            if one is not None:
                figures[currency, kind].append(one.figures)
                read += one.steps.readings
        games, minutes = (one and of_meter_out(one, currency) for one in found.values())
        rows.append(
            PlayOfTableOut(
                table_id=there.table.id,
                table=there.table.label,
                venue_id=there.venue.id,
                venue=there.venue.name,
                currency=currency,
                games=games,
                minutes=minutes,
            )
        )
    if not read:
        must_not_be_before_collections(session, until_on, where="query.to", venue_id=venue_id, table_id=table_id)
    totals = [
        play_total_out(played_in_all(parts), currency=currency, kind=kind)
        for (currency, kind), parts in sorted(figures.items())
    ]
    return PlayOut(from_=from_on, to=until_on, rows=rows, totals=totals, notice=PLAY_NOTICE)


def _of_kind(there: TableThere, kind: PrepaidKind) -> OfMeter | None:
    """Return how a table was played by its first meter of a kind; None where it has none."""
    meter = next((meter for meter in there.meters if meter.counts == kind), None)
    if meter is None:
        return None
    steps = steps_of_meter(meter, there.history, reset_at=there.reset_at)
    money = next((meter for meter in there.meters if meter.counts == "money"), None)
    paid = [] if money is None else paid_by_meter(meter, money, there.history, there.boxes, reset_at=there.reset_at)
    if not paid:
        money, paid = None, paid_by_boxes(steps.known, there.boxes)
    figures = played(
        steps.known,
        paid,
        there.sold_between(steps.known[0].from_at, steps.known[-1].to_at) if steps.known else (),
        kind,
        accepts=there.accepts,
        counted_in=1 if money is None else money.unit_minor or 1,
    )
    return OfMeter(meter.name, figures, steps, paid, None if money is None else money.name)
