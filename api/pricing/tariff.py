"""A tariff: the prices of one published version, of up to three kinds at once (P10), or free of charge (P9)."""

from __future__ import annotations

from dataclasses import dataclass

from .errors import Fault, PricingError, pricing_error
from .ladder import Ladder
from .lines import Kind
from .metered import Rate
from .money import exponent


@dataclass(frozen=True, slots=True)
class Tariff:
    """What is sold and for how much. ``id`` tells one published version from another (T2).

    A tariff sells games or minutes by a prepaid ladder (P), metered time (M), several of them, or is free; a tariff
    that sells nothing and is not free, or is free and has prices, is refused (``tariff_sells_nothing``,
    ``free_with_prices``). Closed is no tariff: wherever one is expected, ``None`` means that nothing is sold.
    """

    currency: str
    games: Ladder | None = None
    minutes: Ladder | None = None
    metered: Rate | None = None
    free: bool = False
    id: str = ""
    code: str = ""
    version: int = 0

    def __post_init__(self) -> None:
        exponent(self.currency)
        kinds = self.kinds
        if self.free and kinds:
            raise PricingError(
                *(Fault("free_with_prices", kind, "prices", "no prices in a free tariff") for kind in kinds)
            )
        if not self.free and not kinds:
            raise pricing_error(
                "tariff_sells_nothing", where="", found="no kind", expected="games, minutes, metered, or free: true"
            )

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """The kinds it sells, in the order in which answers list them."""
        return tuple(kind for kind in ("games", "minutes", "metered") if getattr(self, kind) is not None)
