"""Trading days: where a venue's day begins and ends on its own clock, through clock changes too.

- W1: a local time without an offset is read as RFC 5545 section 3.3.5 says (Python's ``fold=0``): the first of two
  occurrences; a skipped one with the offset from before the gap.
- W2: a trading day starts once, at ``day_starts_at`` (``fold=0``; in a gap the first instant after the gap), ends where
  the next one starts, and is named for the date on which it starts: 01:00 on Saturday belongs to Friday.
- So a trading day may last 23 or 25 hours, and none at all where a zone skipped the date (Pacific/Apia, 2011-12-30).
- E2: the answers depend on the zone alone, never on the machine: its own zone plays no part, and the rules of a zone come
  from the ``tzdata`` package wherever that is installed, for a machine's own copy may be years old.

Inside the engine an instant is also an ``int``, microseconds since 1970 (``…_us``), and a date its ordinal: these can be
searched and kept for a fraction of what datetimes cost.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from zoneinfo import ZoneInfo, available_timezones

from .errors import pricing_error

DAY_US = 86_400_000_000
LONGEST_DAY = timedelta(days=2)
"""More than the start of any trading day lies from its date's midnight in UTC."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_EPOCH_ORDINAL = _EPOCH.toordinal()


def zone_named(name: str, *, where: str = "time_zone") -> ZoneInfo:
    """Return the zone of the IANA tz database with exactly this name, or refuse it (``unknown_time_zone``)."""
    if name not in _zone_names():
        raise pricing_error(
            "unknown_time_zone", where=where, found=repr(name[:60]), expected="an IANA name such as America/New_York"
        )
    return _zone(name)


class _PackagedZone(ZoneInfo):
    """A zone read from the package: copied or pickled, which ``ZoneInfo`` refuses of a file's, it is found by its name."""

    def __reduce__(self) -> tuple[Callable[[str], ZoneInfo], tuple[str]]:
        return zone_named, (self.key,)


@lru_cache(maxsize=1)
def _zone_names() -> frozenset[str]:
    package = _tzdata()
    names = package.joinpath("zones").read_text("ascii").split() if package else available_timezones()
    return frozenset(names) - {"localtime", "Factory"}


@lru_cache(maxsize=1024)
def _zone(name: str) -> ZoneInfo:
    package = _tzdata()
    if package is None:
        return ZoneInfo(name)
    with package.joinpath("zoneinfo", *name.split("/")).open("rb") as rules:
        return _PackagedZone.from_file(rules, key=name)


def _tzdata() -> Traversable | None:
    try:
        return files("tzdata")
    except ModuleNotFoundError:
        return None


@dataclass(frozen=True, slots=True)
class Calendar:
    """A venue's clock: its time zone and the wall-clock time, in whole minutes, at which its trading day starts."""

    zone: ZoneInfo
    day_starts_at: time = time(6)

    def __post_init__(self) -> None:
        if not is_wall_time(self.day_starts_at):
            raise pricing_error(
                "bad_time", where="day_starts_at", found=self.day_starts_at, expected="whole minutes, no offset"
            )

    def day_starts(self, on: date) -> datetime:
        """Return the instant (UTC) at which the trading day ``on`` starts (W2)."""
        return from_us(day_start_us(self.zone, self.day_starts_at, on.toordinal()))

    def trading_day(self, at: datetime) -> date:
        """Return the trading date to which an instant belongs (W2)."""
        return date.fromordinal(trading_ordinal(self.zone, self.day_starts_at, to_us(at)))

    def local(self, at: datetime) -> datetime:
        """Return the instant as the venue's clock shows it, with the venue's offset."""
        return at.astimezone(self.zone)

    def resolve(self, local: datetime) -> datetime:
        """Return the instant (UTC) that a local time without an offset means (W1, RFC 5545 section 3.3.5)."""
        if local.tzinfo is not None:
            raise TypeError("only a local time without an offset needs resolving")
        return local.replace(tzinfo=self.zone, fold=0).astimezone(UTC)

    def at(self, on: date, wall: time) -> datetime:
        """Return the instant (UTC) of a wall-clock time inside the trading day ``on``.

        A time before ``day_starts_at`` is on the next civil date. A skipped time is read as W1 says, which may be after
        the day's end; the day's own start is ``day_starts``.
        """
        if wall == self.day_starts_at:
            return self.day_starts(on)
        civil = on + timedelta(days=1) if wall < self.day_starts_at else on
        return self.resolve(datetime.combine(civil, wall))

    def next(self, day: int, wall: time, after: datetime) -> datetime:
        """Return the first instant (UTC) strictly after ``after`` at that time of a trading day ``day`` (0 = Monday).

        A day on which that time does not come, because it was skipped together with the day's end, is passed over.
        """
        today = self.trading_day(after)
        on = today + timedelta(days=(day - today.weekday()) % 7)
        while (at := self.at(on, wall)) <= after or self.trading_day(at) != on:
            on += timedelta(days=7)
        return at


def is_wall_time(wall: time) -> bool:
    """Tell whether a time is one that a schedule may name: whole minutes, without an offset."""
    return wall.tzinfo is None and wall.second == 0 and wall.microsecond == 0


def to_us(at: datetime) -> int:
    """Return an aware instant as microseconds since 1970."""
    since = at - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds


def from_us(us: int) -> datetime:
    """Return microseconds since 1970 as an instant (UTC)."""
    return _EPOCH + timedelta(microseconds=us)


def time_of_day_us(wall: time) -> int:
    """Return a wall-clock time as microseconds since midnight on that clock."""
    return (wall.hour * 60 + wall.minute) * 60_000_000


def first_label_us(starts_at: time, ordinal: int) -> int:
    """Return the wall-clock label at which a trading day starts, counted as though the clock showed UTC."""
    return (ordinal - _EPOCH_ORDINAL) * DAY_US + time_of_day_us(starts_at)


@lru_cache(maxsize=1 << 14)
def day_start_us(zone: ZoneInfo, starts_at: time, ordinal: int) -> int:
    """Return the instant at which the trading day with this ordinal starts (W2)."""
    label = datetime.combine(date.fromordinal(ordinal), starts_at, zone)
    before_change, after_change = to_us(label.replace(fold=0)), to_us(label.replace(fold=1))
    in_gap = after_change < before_change
    return _offset_change_us(zone, after_change, before_change) if in_gap else before_change


def trading_ordinal(zone: ZoneInfo, starts_at: time, us: int) -> int:
    """Return the ordinal of the trading date to which an instant belongs: the last that starts at or before it."""
    ordinal = us // DAY_US + _EPOCH_ORDINAL
    while us < day_start_us(zone, starts_at, ordinal):
        ordinal -= 1
    while us >= day_start_us(zone, starts_at, ordinal + 1):
        ordinal += 1
    return ordinal


def offsets_us(zone: ZoneInfo, *, start_us: int, end_us: int) -> list[tuple[int, int]]:
    """Return the UTC offsets of a trading day, each with the instant from which it holds within the day.

    No zone has changed its offset and changed it back within one trading day since 1970, so one change is looked for.
    """
    offsets = [(start_us, _offset_us(zone, start_us))]
    if end_us > start_us and _offset_us(zone, end_us - 1) != offsets[0][1]:
        change_us = _offset_change_us(zone, start_us, end_us - 1)
        offsets.append((change_us, _offset_us(zone, change_us)))
    return offsets


def _offset_us(zone: ZoneInfo, us: int) -> int:
    local = from_us(us).astimezone(zone)
    return to_us(local.replace(tzinfo=UTC)) - us


def _offset_change_us(zone: ZoneInfo, before_us: int, after_us: int) -> int:
    """Return the first instant after ``before_us`` with another offset; ``after_us`` has one."""
    offset = _offset_us(zone, before_us)
    while after_us - before_us > 1:
        middle_us = (before_us + after_us) // 2
        if _offset_us(zone, middle_us) == offset:
            before_us = middle_us
        else:
            after_us = middle_us
    return after_us
