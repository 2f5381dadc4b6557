"""Writes how tables were played as messages and as CSV."""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Any, NamedTuple
from uuid import UUID

from ..pricing import format_money
from ..pricing.money import exponent, round_half_up
from ..web.csv_text import CsvText, csv_text, text_cell
from .meter_steps import PaidStep, Steps
from .played import Played, UnitKind, share_of, windows_in_order
from .schemas import (
    PlayFiguresOut,
    PlayInWindowOut,
    PlayOfMeterOut,
    PlayOfTableOut,
    PlayTotalOut,
    PriceBoughtOut,
    PriceUnknownOut,
    WindowUnknownOut,
)

_HEAD = (
    "table_id",
    "table",
    "venue_id",
    "venue",
    "currency",
    "kind",
    "meter",
    "of",
    "name",
    "units",
    "money",
    "money_units",
    "money_a_unit",
    "price_units",
    "times_least",
    "times_most",
    "share_percent_least",
    "share_percent_most",
)


class OfMeter(NamedTuple):
    """The figures of one meter and what they rest on; ``money_meter`` is None where boxes were counted."""

    meter: str
    figures: Played
    steps: Steps
    paid: list[PaidStep]
    money_meter: str | None


def of_meter_out(found: OfMeter, currency: str) -> PlayOfMeterOut:
    """Write the figures of one meter."""
    steps, boxes = found.steps, [step.collection_id for step in found.paid if step.collection_id is not None]
    ends = (steps.first_at, steps.last_at) if steps.readings > 1 else (None, None)
    return PlayOfMeterOut(
        meter=found.meter,
        readings=steps.readings,
        from_at=ends[0],
        to_at=ends[1],
        steps_unknown=steps.unknown,
        money_by=None if not found.paid else "boxes" if found.money_meter is None else "money_meter",
        money_meter=found.money_meter if found.paid else None,
        collection_ids=[UUID(id_) for id_ in boxes],
        **_figures(found.figures, currency),
    )


def total_out(figures: Played, *, currency: str, kind: UnitKind) -> PlayTotalOut:
    """Write what several tables add up to."""
    return PlayTotalOut(currency=currency, kind=kind, **_figures(figures, currency))


def _figures(found: Played, currency: str) -> dict[str, Any]:
    return {
        "counted": found.counted,
        "money": format_money(found.money, currency) if found.money_units or found.money else None,
        "money_units": found.money_units,
        "money_a_unit": money_a_unit(found.money, found.money_units, currency),
        "prices": [
            PriceBoughtOut(
                price=format_money(rung.price, currency),
                units=rung.units,
                times_least=least,
                times_most=most,
                share_percent_least=_percent(share_of(least * rung.units, found.told)),
                share_percent_most=_percent(share_of(min(most * rung.units, found.told), found.told)),
            )
            for rung, (least, most) in sorted(found.prices.items(), key=lambda item: (item[0].price, item[0].units))
        ],
        "prices_told": found.told,
        "prices_unknown": [
            PriceUnknownOut(verdict="cannot_tell", why=why, units=units)
            for why, units in sorted(found.price_unknown.items())
        ],
        "windows": [
            PlayInWindowOut(
                window=name,
                units=window.counted,
                money_units=window.money_units,
                money=format_money(window.money, currency) if window.money_units or window.money else None,
                money_a_unit=money_a_unit(window.money, window.money_units, currency),
            )
            for name, window in windows_in_order(found.windows)
        ],
        "windows_unknown": [
            WindowUnknownOut(verdict="cannot_tell", why=why, units=units)
            for why, units in sorted(found.window_unknown.items())
        ],
    }


def money_a_unit(money: int, units: int, currency: str) -> str | None:
    """Write what a unit brought, to a hundredth of a minor unit, halves up; None of no units."""
    if not units:
        return None
    places = exponent(currency) + 2
    digits = str(round_half_up(Fraction(100 * money, units))).rjust(places + 1, "0")
    return f"{digits[:-places]}.{digits[-places:]}"


def _percent(tenths: int | None) -> str | None:
    return None if tenths is None else f"{tenths // 10}.{tenths % 10}"


def play_csv(rows: Iterable[PlayOfTableOut]) -> CsvText:
    """Write, of each table and meter, one line of the whole, one a price, one a window, and one of each cannot_tell."""
    return csv_text(_HEAD, (line for row in rows for line in _lines(row)))


def _lines(row: PlayOfTableOut) -> Iterator[list[object]]:
    for kind, found in (("games", row.games), ("minutes", row.minutes)):
        if found is None:
            continue
        at = [row.table_id, text_cell(row.table), row.venue_id, text_cell(row.venue), row.currency, kind]
        at.append(text_cell(found.meter))
        no_price: list[object] = [""] * 5
        yield [*at, "all", "", found.counted, *_money(found), *no_price]
        for price in found.prices:
            times = [price.units, price.times_least, price.times_most]
            shares = [price.share_percent_least or "", price.share_percent_most or ""]
            yield [*at, "price", price.price, "", "", "", "", *times, *shares]
        for window in found.windows:
            yield [*at, "window", text_cell(window.window), window.units, *_money(window), *no_price]
        for unknown, of in ((found.prices_unknown, "price_cannot_tell"), (found.windows_unknown, "window_cannot_tell")):
            for one in unknown:
                yield [*at, of, one.why, one.units, "", "", "", *no_price]


def _money(found: PlayFiguresOut | PlayInWindowOut) -> list[object]:
    return [found.money or "", found.money_units, found.money_a_unit or ""]
