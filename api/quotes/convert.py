"""Writes the engine's answers as messages: money as text, instants by the venue's wall clock."""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple, Self
from zoneinfo import ZoneInfo

from ..controllers.sells import Basis, Sells
from ..pricing import Answer, Calendar, Tariff, Timetable, format_money
from ..pricing.ladder import NextBreak
from ..pricing.lines import Line
from ..pricing.metered import Charge
from ..pricing.purchase import Purchases, PurchaseStep
from ..pricing.quote import Least, Offer
from ..pricing.timetable import Span
from ..schedules.convert import is_published, tariff_ref
from ..venues.rows import VenueRow
from ..web.csv_text import CsvText, csv_text, text_cell
from ..web.schema_types import write_instant
from .price_grid import GridLine
from .schemas import GridLineOut, OfferOut, QuoteOut

CSV_COLUMNS = (
    "venue_id", "table_id", "basis", "at", "trading_on", "currency", "money", "status", "tariff", "version", "window",
    "kind", "units", "spends", "left", "per_unit", "next_break_add", "next_break_units", "ends_at", "least_money",
    "least_pay", "detail", "cautions",
)  # fmt: skip
_OF_AN_OFFER = frozenset(CSV_COLUMNS[CSV_COLUMNS.index("kind") : CSV_COLUMNS.index("detail")])


class SalesBasis(NamedTuple):
    """How it is known what a place sells, and since when; ``why`` it is not what is listed, in a sentence, if so."""

    basis: Basis
    since: datetime | None
    why: str | None

    @classmethod
    def of(cls, sells: Sells) -> Self:
        """Return how it is known what a table sells."""
        return cls(sells.basis, sells.since, _why(sells))


def listed_since(listed: Timetable, at: datetime) -> datetime | None:
    """Return since when the schedule listed at an instant holds; None for a draft, which has always held."""
    stretch = listed.stretch_at(at)
    return None if stretch is None or stretch.schedule is None or not stretch.schedule.id else stretch.from_at


def _why(sells: Sells) -> str | None:
    """Say in a sentence why a table does not sell what is listed."""
    calendar = sells.listed.calendar
    since = listed_since(sells.listed, sells.at)
    effective = "The listed prices" if since is None else f"Prices effective {_day_and_time(calendar.local(since))},"
    match sells.caution:
        case None | "never_keyed":
            return None
        case "not_keyed_yet":
            return f"{effective} have not been keyed."
        case "keyed_early":
            return "The prices of a later date have been keyed already."
        case "keyed_elsewhere":
            return "The prices of another venue were keyed last."
        case "cannot_hold":
            return "The controller cannot hold the listed prices: see the table's settings sheet."
        case "found_otherwise":
            found_at = "" if sells.since is None else f" on {_day_and_time(calendar.local(sells.since))}"
            return f"A reading{found_at} found other prices in the controller."


def _day_and_time(local: datetime) -> str:
    return f"{local.day} {local:%b %Y, %H:%M}"


@lru_cache(maxsize=4096)
def _local_text(zone: ZoneInfo, at: datetime) -> str:
    """Write an instant by a zone's clock: many answers have the bounds of the same few windows."""
    return write_instant(at.astimezone(zone))


Values = dict[str, Any]
"""A message as it is sent: what is written here needs no second look, so no message type is built from it.

A test holds every answer against its message type.
"""


class Writer(NamedTuple):
    """Writes for one place; ids are text already."""

    calendar: Calendar
    currency: str
    venue_id: str | None = None
    table_id: str | None = None

    def quote(
        self, answer: Answer, known: SalesBasis, *, money: int | None, cautions: Iterable[str], listed: Answer | None
    ) -> Values:
        """Write a ``QuoteOut``; ``listed`` is the listed answer, where the table's is another."""
        span = answer.span
        return {
            "venue_id": self.venue_id,
            "table_id": self.table_id,
            "basis": known.basis,
            "since": self._local(known.since),
            "at": self._local(answer.at),
            "trading_on": answer.trading_on.isoformat(),
            "currency": self.currency,
            "money": self._some(money),
            "status": answer.status,
            "opens_at": self._local(answer.opens_at),
            "tariff": self._tariff(span.tariff),
            "window": self._window(span),
            "payable": answer.payable,
            "next_payable": self._some(answer.next_payable),
            "cautions": list(cautions),
            "offers": [_offer(offer, self.currency, self.calendar.zone) for offer in answer.offers],
            "listed": listed and self._listed(listed, known),
        }

    def purchases(self, purchases: Purchases, known: SalesBasis, *, cautions: Iterable[str]) -> Values:
        """Write what a list of events came to, a ``PurchaseAnswerOut``."""
        steps = purchases.steps
        return {
            "kind": "purchase",
            **self._place(known),
            "cautions": [*cautions, *dict.fromkeys(step.caution for step in steps if step.caution is not None)],
            "steps": [self._step(step) for step in steps],
            "units": purchases.units,
            "money": self._money(purchases.money),
            "spends": self._money(purchases.spends),
            "left": self._money(purchases.left),
            "ends_at": self._local(purchases.ends_at),
        }

    def charge(
        self, charge: Charge, known: SalesBasis, *, from_at: datetime, to_at: datetime, cautions: Iterable[str]
    ) -> Values:
        """Write what a metered play costs, a ``MeteredAnswerOut``."""
        return {
            "kind": "metered",
            **self._place(known),
            "cautions": [*cautions, *charge.cautions],
            "from_at": self._local(from_at),
            "to_at": self._local(to_at),
            "total": self._money(charge.total),
            "minutes_billed": charge.minutes_billed,
            "lines": _lines(charge.lines, self.currency),
        }

    def _place(self, known: SalesBasis) -> Values:
        return {
            "venue_id": self.venue_id,
            "table_id": self.table_id,
            "basis": known.basis,
            "since": self._local(known.since),
            "currency": self.currency,
        }

    def _tariff(self, tariff: Tariff | None) -> Values | None:
        """Write which tariff it is; a draft is none yet."""
        if self.venue_id is None or tariff is None or not is_published(tariff):
            return None
        return {"id": tariff.id or None, "code": tariff.code, "version": tariff.version}

    def _money(self, minor: int) -> str:
        return format_money(minor, self.currency)

    def _some(self, minor: int | None) -> str | None:
        return None if minor is None else format_money(minor, self.currency)

    def _local(self, at: datetime | None) -> str | None:
        return None if at is None else _local_text(self.calendar.zone, at.astimezone(UTC))

    def _window(self, span: Span) -> Values:
        return {
            "name": span.name,
            "kind": span.kind,
            "schedule_id": span.schedule_id or None,
            "of": span.of,
            "from_at": self._local(span.from_at),
            "to_at": self._local(span.to_at),
        }

    def _listed(self, listed: Answer, known: SalesBasis) -> Values:
        return {
            "detail": known.why or "",
            "status": listed.status,
            "opens_at": self._local(listed.opens_at),
            "tariff": self._tariff(listed.span.tariff),
            "window": self._window(listed.span),
            "offers": [_offer(offer, self.currency, self.calendar.zone) for offer in listed.offers],
        }

    def _step(self, step: PurchaseStep) -> Values:
        return {
            "at": self._local(step.at),
            "kind": step.kind,
            "granted": step.granted,
            "credit": step.credit,
            "left": self._money(step.left),
            "ends_at": self._local(step.ends_at),
            "tariff": self._tariff(step.tariff),
            "caution": step.caution,
        }


@lru_cache(maxsize=1024)
def _offer(offer: Offer, currency: str, zone: ZoneInfo) -> Values:
    """Write an offer. Many answers have the same; nobody changes what is written."""
    written: Values = {
        "kind": offer.kind,
        "units": offer.units,
        "spends": format_money(offer.spends, currency),
        "left": format_money(offer.left, currency),
        "per_unit": None if offer.per_unit is None else format_money(offer.per_unit, currency),
        "lines": _lines(offer.lines, currency),
        "least": _least(offer.least, currency),
    }
    match offer.kind:
        case "games":
            written["next_break"] = _next_break(offer.next_break, currency)
        case "minutes":
            written["next_break"] = _next_break(offer.next_break, currency)
            written["ends_at"] = None if offer.ends_at is None else _local_text(zone, offer.ends_at)
        case "metered":
            written["unlimited"] = offer.unlimited
    return written


def _lines(lines: Iterable[Line], currency: str) -> list[Values]:
    return [{"what": line.what, "units": line.units, "amount": format_money(line.amount, currency)} for line in lines]


def _next_break(next_break: NextBreak | None, currency: str) -> Values | None:
    return {"add": format_money(next_break.add, currency), "units": next_break.units} if next_break else None


def _least(least: Least | None, currency: str) -> Values | None:
    if least is None:
        return None
    return {
        "money": format_money(least.money, currency),
        "pay": None if least.pay is None else format_money(least.pay, currency),
        "split": [format_money(part, currency) for part in least.split],
    }


def csv_of(answer: QuoteOut) -> CsvText:
    """Write a quote as CSV: a header, then a line for each offer; one line that says why where there is none."""
    rows = [_row(answer, offer) for offer in answer.offers] or [_row(answer, None)]
    return csv_text(CSV_COLUMNS, (row.values() for row in rows))


GRID_COLUMNS = (
    "venue_id", "venue", "on", "window", "window_kind", "from_at", "to_at", "tariff", "version", "status", "currency",
    "amount", "games", "games_left", "minutes", "minutes_left", "metered_minutes", "metered_left", "detail",
)  # fmt: skip


def grid_line_out(line: GridLine, venue: VenueRow, calendar: Calendar, *, on: date) -> GridLineOut:
    """Write a line of the price grid of a venue."""
    currency, window = venue.currency, line.window

    def local(at: datetime | None) -> datetime | None:
        return None if at is None else calendar.local(at)

    def left(offer: Offer | None) -> str | None:
        return None if offer is None else format_money(offer.left, currency)

    return GridLineOut(
        venue_id=venue.id,
        venue=venue.name,
        currency=currency,
        on=on,
        window=None if window is None else window.name,
        window_kind=None if window is None else window.kind,
        from_at=None if window is None else local(window.from_at),
        to_at=None if window is None else local(window.to_at),
        tariff=None if window is None else tariff_ref(window.tariff),
        status=line.status,
        opens_at=local(line.opens_at),
        amount=format_money(line.amount_minor, currency),
        games=None if line.games is None else line.games.units,
        games_left=left(line.games),
        minutes=None if line.minutes is None else line.minutes.units,
        minutes_left=left(line.minutes),
        metered_minutes=None if line.metered is None or line.metered.unlimited else line.metered.units,
        metered_left=left(line.metered),
    )


def grid_csv(lines: Iterable[GridLineOut]) -> CsvText:
    """Write the price grid as CSV: ``detail`` says in words why a line has no units."""
    return csv_text(GRID_COLUMNS, (_grid_cells(line) for line in lines))


def _grid_cells(line: GridLineOut) -> list[object]:
    values = line.model_dump() | {
        "venue": text_cell(line.venue),
        "window": text_cell(line.window or ""),
        "tariff": text_cell(line.tariff.code or "") if line.tariff else "",
        "version": line.tariff.version if line.tariff else None,
        "detail": _grid_detail(line),
    }
    return ["" if (value := values[name]) is None else value for name in GRID_COLUMNS]


def _grid_detail(line: GridLineOut) -> str:
    if line.status == "no_prices":
        return "no prices yet"
    if line.status == "closed" and line.opens_at is not None and line.from_at is not None:
        return _opens_in_words(line.opens_at, line.from_at)
    return "" if line.status == "open" else line.status


def cell_of(answer: QuoteOut, *, column: str, kind: str | None) -> str:
    """Return one value for a cell: of the offer of a kind (else of the first), or of the answer.

    Where that is not offered, a cell for a value of an offer says so in words: ``closed, opens Tue 15:00``.
    """
    offers = [offer for offer in answer.offers if kind in (None, offer.kind)]
    if not offers and column in _OF_AN_OFFER:
        return not_offered_in_words(answer, kind)
    return str(_row(answer, offers[0] if offers else None)[column])


def not_offered_in_words(answer: QuoteOut, kind: str | None = None) -> str:
    """Say on one line why nothing, or nothing of a kind, is offered."""
    if answer.status == "free":
        return "free"
    if answer.status == "open":
        return f"{kind or 'what was asked'} not sold"
    return "closed" if answer.opens_at is None else _opens_in_words(answer.opens_at, answer.at)


def _opens_in_words(opens_at: datetime, at: datetime) -> str:
    within_a_week = opens_at - at < timedelta(days=6)
    return f"closed, opens {opens_at:%a %H:%M}" if within_a_week else f"closed, opens {opens_at:%a %d %b %Y %H:%M}"


def _row(answer: QuoteOut, offer: OfferOut | None) -> dict[str, object]:
    """Return the columns of a line; without an offer those of the answer alone."""
    values = answer.model_dump(mode="json")
    values |= {
        "window": text_cell(answer.window.name),
        "tariff": text_cell(answer.tariff.code) if answer.tariff else None,
        "version": answer.tariff.version if answer.tariff else None,
        "cautions": " ".join(answer.cautions),
    }
    values |= offer.model_dump(mode="json") if offer else {"detail": not_offered_in_words(answer)}
    if offer and offer.kind != "metered" and offer.next_break:
        values |= {"next_break_add": offer.next_break.add, "next_break_units": offer.next_break.units}
    if offer and offer.least:
        values |= {"least_money": offer.least.money, "least_pay": offer.least.pay}
    row = {name: values.get(name) for name in CSV_COLUMNS}
    return {name: "" if value is None else value for name, value in row.items()}


_UNITS = {
    "games": ("game", "games"),
    "minutes": ("minute", "minutes"),
    "metered": ("metered minute", "metered minutes"),
}


def quote_in_words(answer: QuoteOut, *, where: str) -> str:
    """Write a quote as a few lines to read on a terminal; ``where`` names the venue or the table."""
    at = f"{answer.at:%A %Y-%m-%d %H:%M}"
    lines = [f"{where}, {at} ({answer.window.name}, {answer.currency})"]
    if answer.status == "free":
        lines.append("  Play is free.")
    elif answer.status == "closed":
        opens = f" Opens {answer.opens_at:%A %Y-%m-%d %H:%M}." if answer.opens_at else ""
        lines.append(f"  Closed.{opens}")
    for offer in answer.offers:
        lines += _offer_in_words(offer)
    if answer.payable is False:
        lines.append(
            f"  The table cannot take exactly {answer.money}. The next amount it can take: {answer.next_payable}."
        )
    lines += [f"  Caution: {caution.replace('_', ' ')}." for caution in answer.cautions]
    if answer.listed:
        lines.append(f"  {answer.listed.detail} Listed:")
        lines += ["    Closed."] if answer.listed.status == "closed" else []
        lines += ["    Play is free."] if answer.listed.status == "free" else []
        lines += [f"  {line}" for offer in answer.listed.offers for line in _offer_in_words(offer)]
    return "\n".join(lines)


def _offer_in_words(offer: OfferOut) -> list[str]:
    unlimited = offer.kind == "metered" and offer.unlimited
    bought = f"unlimited {_UNITS[offer.kind][1]}" if unlimited else _counted(offer.units, offer.kind)
    head = f"{offer.spends} buys {bought}"
    left = f", {offer.left} left" if offer.left.strip("0.") else ""
    lines = [f"  {head}{left}"]
    lines += [f"    {line.what}: {line.amount}" for line in offer.lines if line.what != head]
    if offer.kind != "metered" and offer.next_break:
        lines.append(f"    add {offer.next_break.add} to get {_counted(offer.next_break.units, offer.kind)}")
    if offer.least and offer.least.split:
        lines.append(f"    cheaper as separate purchases: {' + '.join(offer.least.split)}")
    return lines


def _counted(units: int, kind: str) -> str:
    return f"{units} {_UNITS[kind][units != 1]}"
