"""A table's health: battery, clock, meters and settings judged together, from all that was read there.

- R5 Work done starts a new series: of the battery by a charge or a new battery, of the clock by setting it or a new
  board, of the meters by a reset or a new board, of the settings by keying them.
- B1 A table on mains has no battery; its health says it.
- K3 The clock's offset is predicted for the next change of price and the next recurring event.
- K4 The wrong prices of a clock that is off are those of the seven days from now on, by what the table sells (W8);
  windows with the same prices are one, and a change due at this very instant is none. A
  named mistake is reckoned at its whole half hours, if its range has them: a clock change that was not made is no
  fifty-nine and a half minutes.
- Whoever is sent to a battery, or to the controller of a table on mains, is given the cautions for that work.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from fractions import Fraction
from typing import Literal

from ..controllers.settings_differences import SettingsDifference
from ..controllers.settings_found import FoundSettings, TableController, judge_settings
from ..pool_tables.cautions import AT_THE_MAINS, Caution
from ..pricing import DomainError, Tariff, Timetable
from ..readings.meter_history import MeterHistory
from ..readings.meters import RESETTING, Meter
from .battery_verdict import ON_MAINS, BatteryHealth, BatteryHistory, judge_battery
from .clock_forecast import PredictedOffset, predict
from .clock_offset import ClockReading
from .clock_verdict import ClockHealth, judge_clock
from .levels import Levels
from .meter_health import MeterHealth, judge_meters
from .state_of_charge import Battery, SupplyReading
from .wrong_price import WrongPrice, wrong_price

_WEEK = timedelta(days=7)

_HALF_HOUR_S = 1_800
_EVENTS_WITHIN = timedelta(days=35)
_NO_VOLTAGE = "No voltage reading yet."
_NO_NEW_VOLTAGE = "No voltage reading since the battery was last charged or replaced."
_NO_TIME = "No clock reading yet at this venue."
_NO_NEW_TIME = "No clock reading since the clock was last set."
_NO_VENUE = "In the workshop: no venue time to compare the clock with."
_DONE_SINCE: Mapping[str, frozenset[str]] = {
    "clock": frozenset({"clock_set", "board_replaced"}),
    "meters": RESETTING,
    "settings": frozenset({"settings_keyed", "board_replaced"}),
    "charged": frozenset({"battery_charged"}),
    "replaced": frozenset({"battery_replaced"}),
}


@dataclass(frozen=True, slots=True)
class WorkDone:
    """Work that was reported, and when it was done."""

    done_at: datetime
    work: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class PricesAtTable:
    """What a table sells at its venue, what is listed there, and what its controller should hold."""

    keyed: Timetable
    listed: Timetable
    held: TableController


@dataclass(frozen=True, slots=True, kw_only=True)
class TableFacts:
    """All that is known of a table, each kind in time order. ``battery`` None: it runs on mains.

    ``clock`` has the readings since the table came to its present place; ``sells`` is None in the workshop, and where
    neither clock nor settings were read.
    """

    zone: tzinfo
    currency: str
    battery: Battery | None
    changes_for_summer_time: bool | None
    supply: Sequence[SupplyReading] = ()
    clock: Sequence[ClockReading] = ()
    meters: Sequence[Meter] = ()
    meter_history: MeterHistory = field(default_factory=MeterHistory)
    settings: FoundSettings | None = None
    work: Sequence[WorkDone] = ()
    in_workshop: bool = False
    sells: PricesAtTable | None = None

    def done_at(self, series: str) -> list[datetime]:
        """Return when work was done that starts a new series (R5)."""
        return [done.done_at for done in self.work if done.work & _DONE_SINCE[series]]


@dataclass(frozen=True, slots=True)
class ComingMoment:
    """A coming instant at which the clock matters, and what it will be off by then (K3)."""

    what: Literal["price_change", "recurring_event"]
    name: str
    predicted: PredictedOffset


@dataclass(frozen=True, slots=True)
class ClockOutlook:
    """The clock judged, what it will be off by, and what it sells wrongly; ``tariffs`` are those named, by id."""

    health: ClockHealth
    moments: tuple[ComingMoment, ...]
    wrong: WrongPrice | None
    tariffs: Mapping[str, Tariff]


@dataclass(frozen=True, slots=True)
class TableHealth:
    """A table judged; where a part is None, the sentence beside it says why."""

    facts: TableFacts
    battery: BatteryHealth | None
    why_no_battery: str | None
    clock: ClockOutlook | None
    why_no_clock: str | None
    meters: tuple[MeterHealth, ...]
    settings: tuple[SettingsDifference, ...]
    cautions: tuple[Caution, ...]


def judge_table(facts: TableFacts, levels: Levels, *, now: datetime) -> TableHealth:
    """Return a table's health at an instant."""
    battery = _battery(facts, levels, now=now)
    clock = _clock(facts, levels, now=now)
    settings = _settings(facts)
    at_controller = settings or (clock and clock.health.verdict == "off")
    return TableHealth(
        facts=facts,
        battery=battery,
        why_no_battery=None if battery else _why_no_battery(facts),
        clock=clock,
        why_no_clock=None if clock else _why_no_clock(facts),
        meters=judge_meters(facts.meters, facts.meter_history, reset_at=facts.done_at("meters")),
        settings=settings,
        cautions=battery.cautions if battery else AT_THE_MAINS if facts.battery is None and at_controller else (),
    )


def _why_no_battery(facts: TableFacts) -> str:
    return ON_MAINS if facts.battery is None else _NO_NEW_VOLTAGE if facts.supply else _NO_VOLTAGE


def _why_no_clock(facts: TableFacts) -> str:
    return _NO_VENUE if facts.in_workshop else _NO_NEW_TIME if facts.clock else _NO_TIME


def _battery(facts: TableFacts, levels: Levels, *, now: datetime) -> BatteryHealth | None:
    if facts.battery is None:
        return None
    return judge_battery(
        facts.battery,
        BatteryHistory(
            readings=facts.supply,
            charged_at=facts.done_at("charged"),
            replaced_at=max(facts.done_at("replaced"), default=None),
        ),
        now=now,
        zone=facts.zone,
        levels=levels.by_chemistry[facts.battery.chemistry],
        settings=levels.battery,
    )


def _clock(facts: TableFacts, levels: Levels, *, now: datetime) -> ClockOutlook | None:
    if facts.sells is None:
        return None
    set_at = max(facts.done_at("clock"), default=None)
    health = judge_clock(facts.clock, zone=facts.zone, set_at=set_at, settings=levels.clock)
    if health is None:
        return None
    coming = _coming(facts.sells, now=now)
    predicted = predict(
        health,
        [at for _, _, at in coming],
        zone=facts.zone,
        changes_for_summer_time=facts.changes_for_summer_time,
        settings=levels.clock,
    )
    moments = tuple(ComingMoment(what, name, ahead) for (what, name, _), ahead in zip(coming, predicted, strict=True))
    wrong, tariffs = _wrong(facts.sells, health, now=now)
    return ClockOutlook(health, moments, wrong, tariffs)


def _settings(facts: TableFacts) -> tuple[SettingsDifference, ...]:
    if facts.sells is None:
        return ()
    return judge_settings(facts.settings, facts.sells.held, keyed_at=facts.done_at("settings"))


def _coming(
    sells: PricesAtTable, *, now: datetime
) -> list[tuple[Literal["price_change", "recurring_event"], str, datetime]]:
    """Return the next change of price at the table, and the next recurring event that is listed."""
    moments: list[tuple[Literal["price_change", "recurring_event"], str, datetime]] = []
    try:
        changes_at = sells.keyed.next_change(now)
        if changes_at is not None:
            moments.append(("price_change", sells.keyed.at(changes_at).name, changes_at))
        if not any(stretch.schedule and stretch.schedule.recurring for stretch in sells.listed.stretches):
            return moments
        for span in sells.listed.between(now, now + _EVENTS_WITHIN):
            if span.kind == "recurring" and span.from_at is not None and span.from_at > now:
                moments.append(("recurring_event", span.name, span.from_at))
                break
    except DomainError:  # no schedule covers that time: nothing is sold, nothing can come
        pass
    return moments


def _reckoned_s(health: ClockHealth) -> int:
    """Return the one offset to reckon with: of a named mistake of whole hours or days that one, else the middle."""
    offset = health.offset
    whole_s = round(Fraction(offset.middle_s, _HALF_HOUR_S)) * _HALF_HOUR_S
    named = health.cause in ("hour_off", "twelve_hours_off", "wrong_weekday", "wrong_date")
    return whole_s if named and offset.low_s <= whole_s <= offset.high_s else offset.middle_s


def _wrong(sells: PricesAtTable, health: ClockHealth, *, now: datetime) -> tuple[WrongPrice | None, dict[str, Tariff]]:
    """Return the wrong sales of the coming week, and the tariffs that they name."""
    if health.verdict != "off":
        return None, {}
    begun = [stretch.from_at for stretch in sells.keyed.stretches if stretch.from_at <= now]
    try:
        # A controller's week goes round within the settings that it holds now; later ones are another week.
        spans = sells.keyed.between(max([now - _WEEK / 2, *begun[-1:]]), now + _WEEK * 3 / 2)
    except DomainError:  # no schedule yet: nothing is sold at a wrong price
        return None, {}
    alike: dict[object, Tariff] = {}
    for span in spans:
        if span.tariff is not None:
            alike.setdefault(_buys(span.tariff), span.tariff)
    found = wrong_price(
        [
            (span.from_at, span.to_at, None if span.tariff is None else _key(alike[_buys(span.tariff)]))
            for span in spans
            if span.from_at is not None and span.to_at is not None
        ],
        offset_s=_reckoned_s(health),
        week_from=now,
    )
    return found, {_key(tariff): tariff for tariff in alike.values()}


def _buys(tariff: Tariff) -> object:
    """Return what money buys by a tariff: the same prices in another window are no other price."""
    return tariff.games, tariff.minutes, tariff.metered, tariff.free


def _key(tariff: Tariff) -> str:
    """Return what tells tariffs apart; prices that no tariff has are told apart by themselves."""
    return tariff.id or repr(tariff)
