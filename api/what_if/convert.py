"""Writes a comparison of prices as messages and as CSV."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from uuid import UUID

from ..pricing import Ladder, Tariff, format_money
from ..pricing.effort import Effort
from ..pricing.money import round_half_up
from ..web.csv_text import CsvText, csv_text, text_cell
from .comparison import Compared, SideSales, WhatIf, percent, sentence_of
from .intake_bought import fewest_pieces
from .paired_windows import PairedWindow
from .schemas import (
    AmountUnderBothOut,
    IntakeUnderBothOut,
    KindComparedOut,
    PieceCountOut,
    PriceToHandleOut,
    WhatIfOut,
    WindowComparedOut,
)


def pieces_out(counts: Mapping[int, int], currency: str) -> list[PieceCountOut]:
    """Write counts by denomination, the smallest first."""
    return [
        PieceCountOut(denomination=format_money(value, currency), count=count)
        for value, count in sorted(counts.items())
        if count
    ]


def windows_out(
    windows: Sequence[PairedWindow],
    found: Sequence[Compared],
    asked: WhatIf,
    *,
    currency: str,
    accepts: tuple[int, ...],
    work: Effort,
) -> list[WindowComparedOut]:
    """Write each window with its comparisons."""
    return [
        WindowComparedOut(
            when=window.when,
            minutes_a_week=window.minutes,
            current=_name(window.current),
            other=_name(window.other),
            kinds=[
                _compared_out(one, asked, currency=currency, accepts=accepts, work=work)
                for one in found
                if one.window is window
            ],
        )
        for window in windows
    ]


def _name(tariff: Tariff | None) -> str | None:
    if tariff is None:
        return None
    return "free play" if tariff.free else tariff.code or "draft"


def _compared_out(
    one: Compared, asked: WhatIf, *, currency: str, accepts: tuple[int, ...], work: Effort
) -> KindComparedOut:
    return KindComparedOut(
        current_kind=one.current.kind,
        other_kind=one.other.kind,
        sentence=sentence_of(one, asked.intake, currency),
        amounts=[
            AmountUnderBothOut(
                amount=format_money(amount, currency),
                current_units=mine[0],
                current_left=format_money(mine[1], currency),
                other_units=theirs[0],
                other_left=format_money(theirs[1], currency),
                current_games=_at_pace(one.current, mine[0], asked.minutes_a_game),
                other_games=_at_pace(one.other, theirs[0], asked.minutes_a_game),
            )
            for amount, mine, theirs in zip(asked.amounts, one.current.amounts, one.other.amounts, strict=True)
        ],
        intake=_intake_out(one, asked, currency),
        current_prices=_prices_out(one.current.ladder, currency, accepts, work),
        other_prices=_prices_out(one.other.ladder, currency, accepts, work),
    )


def _at_pace(side: SideSales, units: int, pace: int | None) -> str | None:
    if pace is None:
        return None
    tenths = round_half_up(Fraction(units * 10, pace if side.kind == "minutes" else 1))
    return f"{tenths // 10}.{tenths % 10}"


def _intake_out(one: Compared, asked: WhatIf, currency: str) -> IntakeUnderBothOut:
    total = asked.intake.total
    takings = None if one.assumed is None else round_half_up(one.assumed.takings * total)
    return IntakeUnderBothOut(
        taken_in=format_money(total, currency),
        current_units=one.current.intake.units,
        other_units=one.other.intake.units,
        current_units_at_most=one.current.intake.most,
        other_units_at_most=one.other.intake.most,
        break_even_percent=None if one.break_even is None else percent(one.break_even),
        play_percent=None if one.assumed is None else percent(one.assumed.play - 1),
        takings=None if takings is None else format_money(takings, currency),
        takings_change=None if takings is None else format_money(takings - total, currency),
    )


def _prices_out(ladder: Ladder, currency: str, accepts: tuple[int, ...], work: Effort) -> list[PriceToHandleOut]:
    prices = []
    for rung in ladder.rungs:
        pieces = fewest_pieces(accepts, rung.price, work=work) if accepts else None
        prices.append(
            PriceToHandleOut(
                price=format_money(rung.price, currency),
                units=rung.units,
                pieces=None if pieces is None else pieces_out(pieces, currency),
            )
        )
    return prices


def assumed_in_words(asked: WhatIf) -> list[str]:
    """Say what the figures rest on."""
    said = ["Each coin and note that reaches the first price is a purchase of its own; smaller ones are put together."]
    if asked.elasticity is not None:
        said.append(f"Elasticity of {_plain(asked.elasticity)}, as you state it, taken as arc elasticity.")
    if asked.minutes_a_game is not None:
        said.append(f"A game takes {asked.minutes_a_game} minutes, as you state it.")
    return said


def _plain(value: Fraction) -> str:
    thousandths = round_half_up(abs(value) * 1000)
    text = f"{thousandths // 1000}.{thousandths % 1000:03}".rstrip("0").rstrip(".")
    return f"-{text}" if value < 0 else text


def ids_out(ids: frozenset[str]) -> list[UUID]:
    """Write ids in their order."""
    return sorted(map(UUID, ids))


def what_if_csv(found: WhatIfOut) -> CsvText:
    """Write one line for each window, kind and amount: what it buys under each list."""
    names = ["amount", "current_units", "current_left", "other_units", "other_left"]
    lines = (
        [
            text_cell(window.when),
            text_cell(window.current or ""),
            text_cell(window.other or ""),
            kind.current_kind,
            kind.other_kind,
            found.currency,
            *(getattr(amount, name) for name in names),
        ]
        for window in found.windows
        for kind in window.kinds
        for amount in kind.amounts
    )
    return csv_text(["when", "current", "other", "current_kind", "other_kind", "currency", *names], lines)
