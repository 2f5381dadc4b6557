"""Writes what a change of prices did as messages and as CSV."""

from collections.abc import Sequence
from fractions import Fraction
from statistics import fmean

from ..earnings.before_and_after import Effect
from ..pricing import format_money, parse_money
from ..pricing.money import round_half_up
from ..web.csv_text import CsvText, csv_text
from .change_picture import change_picture
from .judgement import has_both_sides, minor
from .panel import Weeks, mean_by_week
from .schemas import GamesEffectOut, PriceChangeOut, PriceChangeSideOut, PriceChangeWeekOut


def money_of(amount: float | None, currency: str) -> str | None:
    """Write an estimate in minor units; None stays None."""
    return None if amount is None else format_money(minor(amount), currency)


def interval_out(effect: Effect | None, currency: str) -> list[str] | None:
    """Write the least and the most that an effect may be."""
    if effect is None or effect.interval is None:
        return None
    return [format_money(minor(end), currency) for end in effect.interval]


def games_out(effect: Effect | None) -> GamesEffectOut | None:
    """Write the effect on games."""
    if effect is None:
        return None
    interval = None if effect.interval is None else [_hundredths(end) for end in effect.interval]
    return GamesEffectOut(effect=_hundredths(effect.effect), interval=interval, verdict=effect.verdict)


def _hundredths(value: float) -> str:
    hundredths = round_half_up(Fraction(value) * 100)
    return f"{'-' if hundredths < 0 else ''}{abs(hundredths) // 100}.{abs(hundredths) % 100:02}"


def means_of(table: Weeks) -> tuple[float | None, float | None]:
    """Return the mean takings of a table's weeks before and after."""
    before, after = (table.side(table.takings, after=side) for side in (False, True))
    return (fmean(before) if before else None, fmean(after) if after else None)


def side_out(tables: Sequence[Weeks], currency: str) -> PriceChangeSideOut:
    """Write the means of one side, over the tables that have weeks before and after."""
    counting = [means_of(table) for table in tables if has_both_sides(table)]
    befores, afters = ([mean for pair in counting if (mean := pair[i]) is not None] for i in (0, 1))
    return PriceChangeSideOut(
        tables=len(counting),
        before=money_of(fmean(befores) if befores else None, currency),
        after=money_of(fmean(afters) if afters else None, currency),
    )


def weeks_out(changed: Sequence[Weeks], beside: Sequence[Weeks], currency: str) -> list[PriceChangeWeekOut]:
    """Write both sides week by week, over the tables that have weeks before and after."""
    sides = [mean_by_week(filter(has_both_sides, tables)) for tables in (changed, beside)]
    return [
        PriceChangeWeekOut(
            week=number,
            changed=money_of(sides[0].get(number), currency),
            beside=money_of(sides[1].get(number), currency),
        )
        for number in sorted({*sides[0], *sides[1]})
    ]


def price_change_csv(found: PriceChangeOut) -> CsvText:
    """Write one line a week: its number counted from the change, and the mean takings a table of both sides."""
    lines = ([week.week, found.currency, week.changed or "", week.beside or ""] for week in found.by_week)
    return csv_text(["week", "currency", "changed", "beside"], lines)


def price_change_svg(found: PriceChangeOut) -> str:
    """Draw both sides week by week, and the effect with its interval."""

    def minor_of(text: str | None) -> int | None:
        return None if text is None else parse_money(text, found.currency)

    effect = None
    if found.effect is not None and found.interval is not None:
        low, high = (parse_money(end, found.currency) for end in found.interval)
        effect = low, parse_money(found.effect, found.currency), high
    weeks = [(week.week, minor_of(week.changed), minor_of(week.beside)) for week in found.by_week]
    return change_picture(found.sentence, weeks, effect, currency=found.currency)
