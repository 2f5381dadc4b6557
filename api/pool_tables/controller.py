"""A table's controller as its operator describes it: what it can hold, and how its days are set. Data, no product.

- S1: every limit is the operator's data. A part that is absent states no limit; the defaults below say what it means.
- E3: a description that contradicts itself is refused, all its mistakes at once.

| absent | means |
| --- | --- |
| ``games``, ``minutes`` | sold without limits; ``prices_max: 0`` says that the controller does not sell this kind |
| ``kinds_at_once`` | games and minutes may be sold in the same window |
| ``free`` | there is no setting for free play |
| ``windows_per_day`` | any number; 1 means that a day has one set of prices around the clock |
| ``counting`` | the way of counting (P1) is a value that can be keyed, as the tariff says |
| ``day_turns_at`` | midnight; a day is named for the date on which it starts |
| ``take_over`` | no day can take over another's settings |
| ``clock`` | ``weekday``: it knows no dates, so it holds no date and no recurring event |
| ``changes_for_summer_time`` | it does not |

Metered time (M) has no place in a controller's settings: no controller holds it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from ..pricing.errors import DomainError, Fault
from ..pricing.ladder import WAYS_OF_COUNTING, Counting
from ..pricing.money import parse_money
from ..pricing.week import WEEKDAYS
from .controller_days import minute_of_day

ControllerClock = Literal["weekday", "date"]


def _is_limit(value: object, least: int, *, may_be_absent: bool) -> bool:
    return may_be_absent if value is None else type(value) is int and value >= least


@dataclass(frozen=True, slots=True)
class Limits:
    """What a controller can hold of one kind; ``price_step`` in minor units, units are games or minutes.

    Prices are multiples of ``price_step``; units are multiples of ``units_step`` from ``units_min`` to ``units_max``.
    Refuses (``bad_limit``) a limit below 1 (``prices_max`` below 0) and steps that reach no allowed number of units.
    """

    prices_max: int | None = None
    price_step: int = 1
    units_step: int = 1
    units_min: int = 1
    units_max: int | None = None

    def __post_init__(self) -> None:
        least = {"prices_max": 0, "price_step": 1, "units_step": 1, "units_min": 1, "units_max": 1}
        faults = [
            Fault("bad_limit", name, repr(getattr(self, name)), f"a whole number of at least {bound}")
            for name, bound in least.items()
            if not _is_limit(getattr(self, name), bound, may_be_absent=name in ("prices_max", "units_max"))
        ]
        if not faults and self.units_max is not None and self.units_least > self.units_max:
            expected = f"at least {self.units_least}, the least multiple of units_step that units_min allows"
            faults.append(Fault("bad_limit", "units_max", str(self.units_max), expected))
        if faults:
            raise DomainError(*faults)

    @property
    def units_least(self) -> int:
        """The least number of units that can be keyed."""
        return -(-self.units_min // self.units_step) * self.units_step

    @property
    def sold(self) -> bool:
        """Whether the controller sells this kind at all."""
        return self.prices_max != 0

    def nearest_price(self, pays: int) -> int:
        """Return the price that can be keyed nearest to ``pays`` minor units; of two, the lower: in the player's favour."""
        steps = (2 * pays + self.price_step - 1) // (2 * self.price_step)
        return max(steps, 1) * self.price_step

    def reaches(self, units: int) -> bool:
        """Tell whether ``units``, on the nearest step, are within the least and the most."""
        nearest = self._on_step(units)
        return self.units_min <= nearest and (self.units_max is None or nearest <= self.units_max)

    def nearest_units(self, units: int) -> int:
        """Return the number of units that can be keyed nearest to ``units``; of two, the higher: in the player's favour."""
        nearest = self._on_step(units)
        if self.units_max is not None:
            nearest = min(nearest, self.units_max // self.units_step * self.units_step)
        return max(nearest, self.units_least)

    def _on_step(self, units: int) -> int:
        return max((2 * units + self.units_step) // (2 * self.units_step), 1) * self.units_step


@dataclass(frozen=True, slots=True)
class TakeOver:
    """The settings of ``from_day`` can be taken over by each of the days ``to``, one at a time."""

    from_day: str
    to: tuple[str, ...]

    def __post_init__(self) -> None:
        faults = [
            Fault("bad_take_over", where, repr(day), "one of " + ", ".join(WEEKDAYS))
            for where, day in (("from", self.from_day), *((f"to[{i}]", day) for i, day in enumerate(self.to)))
            if day not in WEEKDAYS
        ]
        if self.from_day in self.to:
            faults.append(Fault("bad_take_over", "to", self.from_day, "other days than the one taken over"))
        if faults:
            raise DomainError(*faults)


@dataclass(frozen=True, slots=True)
class Controller:
    """What one controller can hold. ``day_turns_at`` in minutes after midnight; ``windows_per_day`` None: any number."""

    games: Limits = Limits()
    minutes: Limits = Limits()
    kinds_at_once: bool = True
    free: bool = False
    windows_per_day: int | None = None
    counting: Counting | None = None
    day_turns_at: int = 0
    take_over: tuple[TakeOver, ...] = ()
    clock: ControllerClock = "weekday"
    changes_for_summer_time: bool = False

    def __post_init__(self) -> None:
        windows = self.windows_per_day
        bad = {
            "windows_per_day": (windows is None or (type(windows) is int and windows >= 1), "at least 1"),
            "counting": (self.counting in (None, *WAYS_OF_COUNTING), "repeat, climb or climb_once"),
            "day_turns_at": (0 <= self.day_turns_at < 1440, "a time of the day"),
            "clock": (self.clock in ("weekday", "date"), "weekday or date"),
        }
        faults = [Fault("bad_controller", n, repr(getattr(self, n)), exp) for n, (fine, exp) in bad.items() if not fine]
        if faults:
            raise DomainError(*faults)

    def limits(self, sells: str) -> Limits:
        """Return the limits of ``games`` or ``minutes``."""
        return self.games if sells == "games" else self.minutes


def controller_of(data: Mapping[str, Any], currency: str) -> Controller:
    """Read the ``controller`` object of a pool table, whose prices are decimal strings of ``currency``.

    Refuses unknown parts (``unknown_part``) and values of the wrong form (``bad_controller``, ``bad_limit``, ``bad_money``).
    """
    faults = _unknown(data, _PARTS, "controller")
    parts: dict[str, Any] = {}
    for name in sorted(_PARTS & data.keys()):
        try:
            parts[name] = _read(name, data[name], currency)
        except DomainError as error:
            faults += error.within(name).faults
    if faults:
        raise DomainError(*faults)
    return Controller(**parts)


_PARTS = frozenset(Controller.__dataclass_fields__)


_LIMITS = frozenset(Limits.__dataclass_fields__)


def _read(name: str, value: Any, currency: str) -> Any:
    if name in ("games", "minutes"):
        return _limits(value, currency)
    if name in ("kinds_at_once", "free", "changes_for_summer_time"):
        return _of_type(value, bool, "true or false")
    if name == "day_turns_at":
        return minute_of_day(value)
    if name == "take_over":
        return tuple(_take_over(row) for row in _of_type(value, list, "a list"))
    return value


def _limits(value: Any, currency: str) -> Limits:
    data = _of_type(value, dict, "an object")
    if faults := _unknown(data, _LIMITS, ""):
        raise DomainError(*faults)
    if "price_step" in data:
        text = _of_type(data["price_step"], str, "a decimal string")
        data = {**data, "price_step": parse_money(text, currency, where="price_step")}
    return Limits(**data)


def _take_over(row: Any) -> TakeOver:
    data = _of_type(row, dict, 'an object such as {"from": "mon", "to": ["tue"]}')
    to = _of_type(data.get("to"), list, "a list of days")
    return TakeOver(from_day=str(data.get("from")), to=tuple(str(day) for day in to))


def _of_type(value: Any, wanted: type, expected: str) -> Any:
    if not isinstance(value, wanted):
        raise DomainError(Fault("bad_controller", "", repr(value)[:40], expected))
    return value


def _unknown(data: Mapping[str, Any], known: frozenset[str], where: str) -> list[Fault]:
    expected = "one of " + ", ".join(sorted(known))
    return [Fault("unknown_part", where or name, name, expected) for name in sorted(data.keys() - known)]
