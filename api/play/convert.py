"""Writes how tables were played as messages and as CSV."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import chain
from typing import Any, NamedTuple
from uuid import UUID

from ..earnings.bars_picture import BARS_MAX, Bar, Panel, bars_picture, longest
from ..pricing import format_money
from ..pricing.ladder import count_in_words
from ..pricing.lines import PrepaidKind
from ..pricing.money import exponent, round_half_up
from ..web.csv_text import CsvText, csv_text, text_cell
from .meter_steps import MeterSteps, PaidStep
from .played import Played, share_of, windows_in_order
from .schemas import (
    PlayFiguresOut,
    PlayInWindowOut,
    PlayOfMeterOut,
    PlayOfTableOut,
    PlayOut,
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
    steps: MeterSteps
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


def play_total_out(figures: Played, *, currency: str, kind: PrepaidKind) -> PlayTotalOut:
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


def play_csv(found: PlayOut) -> CsvText:
    """Write, of each table and meter, one line of the whole, one a price, one a window, and one of each cannot_tell.

    Then the same of all tables of a currency, under ``total``, ``total_price`` and so on, without a table.
    """
    return csv_text(_HEAD, chain(*map(_lines_of_table, found.rows), *map(_lines_of_total, found.totals)))


def _lines_of_table(row: PlayOfTableOut) -> Iterator[list[object]]:
    for kind, found in (("games", row.games), ("minutes", row.minutes)):
        if found is not None:
            at = [row.table_id, text_cell(row.table), row.venue_id, text_cell(row.venue), row.currency, kind]
            yield from _lines(found, [*at, text_cell(found.meter)], "all", "")


def _lines_of_total(total: PlayTotalOut) -> Iterator[list[object]]:
    yield from _lines(total, ["", "", "", "", total.currency, total.kind, ""], "total", "total_")


def _lines(found: PlayFiguresOut, at: list[object], whole: str, prefix: str) -> Iterator[list[object]]:
    no_price: list[object] = [""] * 5
    yield [*at, whole, "", found.counted, *_money(found), *no_price]
    for price in found.prices:
        times = [price.units, price.times_least, price.times_most]
        shares = [price.share_percent_least or "", price.share_percent_most or ""]
        yield [*at, f"{prefix}price", price.price, "", "", "", "", *times, *shares]
    for window in found.windows:
        yield [*at, f"{prefix}window", text_cell(window.window), window.units, *_money(window), *no_price]
    for unknown, of in ((found.prices_unknown, "price_cannot_tell"), (found.windows_unknown, "window_cannot_tell")):
        for one in unknown:
            yield [*at, f"{prefix}{of}", one.why, one.units, "", "", "", *no_price]


def _money(found: PlayFiguresOut | PlayInWindowOut) -> list[object]:
    return [found.money or "", found.money_units, found.money_a_unit or ""]


_IN_WORDS = {
    "several_windows": "Cannot tell: several windows",
    "prices_unknown": "Cannot tell: prices unknown",
}


def play_svg(found: PlayOut) -> str:
    """Draw, of each currency and kind, what a unit brought by table, the share of each price, and the units by window."""
    panels = [panel for total in found.totals for panel in _panels(total, found.rows)]
    legend = "Grey: counted, or at least. Hatched: at most, or what nobody can tell."
    return bars_picture("How tables are played", panels, from_on=found.from_, until_on=found.to, legend=legend)


def _panels(total: PlayTotalOut, rows: Sequence[PlayOfTableOut]) -> Iterator[Panel]:
    kind, unit = total.kind, {"games": "game", "minutes": "minute"}[total.kind]
    brought = [
        Bar(
            name=f"{row.table}, {row.venue}",
            amount=int(of_kind.money_a_unit.replace(".", "")),
            words=of_kind.money_a_unit,
        )
        for row in rows
        if row.currency == total.currency and (of_kind := getattr(row, kind)) and of_kind.money_a_unit is not None
    ]
    if brought:
        ordered = sorted(brought, key=lambda one: -one.amount)
        left_out = f"; the first {BARS_MAX} of {len(ordered)} tables" if len(ordered) > BARS_MAX else ""
        yield Panel(head=f"What a {unit} brought, {total.currency}{left_out}", bars=ordered[:BARS_MAX])
    if total.prices:
        bars = [
            Bar(
                name=f"{price.price} for {count_in_words(price.units, kind)}",
                amount=_tenths(price.share_percent_least),
                beyond=_tenths(price.share_percent_most) - _tenths(price.share_percent_least),
                words=f"{price.share_percent_least} to {price.share_percent_most} %",
            )
            for price in total.prices
        ]
        head = f"Share of {total.prices_told} {kind} bought at each price, {total.currency}"
        yield Panel(head=head, bars=bars[:BARS_MAX], highest=1000)
    counted = [Bar(name=one.window, amount=one.units, words=str(one.units)) for one in total.windows if one.units]
    unknown = [
        Bar(name=_IN_WORDS[one.why], amount=0, beyond=one.units, words=str(one.units)) for one in total.windows_unknown
    ]
    if counted or unknown:
        known = longest(counted, words=lambda amount, _beyond: str(amount))
        yield Panel(head=f"{kind.capitalize()} by window, {total.currency}", bars=[*known, *unknown])


def _tenths(percent: str | None) -> int:
    return int((percent or "0.0").replace(".", ""))
