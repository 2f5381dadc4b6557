"""From the events of a calendar to the entries of a schedule. Values in, values out; nothing is guessed.

- An event that repeats becomes a recurring entry; a single one, an added date (RDATE) and a moved occurrence become date
  entries. A cancelled or moved occurrence, and one of EXDATE, is excepted. An all-day event covers its trading days.
- Times are those of the venue's clock. An event in another zone is taken where all its occurrences begin and end at one
  local time (looked at for three years); else it is refused, for an entry has one time.
- Entries are of trading days: what begins before the trading day starts belongs to the day before (W2), and a weekly or
  daily rule is moved along.
- What an entry cannot say is refused, with the reason: more than one trading day, seconds, no end, a rule that a schedule
  does not take (``schedules.recurrence``). All events of one UID are taken, or none.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Literal

from ..pricing.errors import DomainError
from ..schedules.recurrence import Recurrence
from .calendar_file import CalendarTime, FileEvent

EntryOutcome = Literal["taken", "passed", "cancelled", "refused"]
_DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_SAMPLE_DAYS = 3 * 366
_ALL_DAY_MAX = 31
_A_DAY = timedelta(days=1)
_BROTHER = "another event of this UID is refused"


@dataclass(frozen=True, slots=True)
class VenueClock:
    """A venue's clock: its zone, and when its trading day starts."""

    zone: Any
    day_starts_at: time


@dataclass(frozen=True, slots=True)
class ReadEvent:
    """What became of an event of the file: the entries that it makes, by kind, or why there are none."""

    event: FileEvent
    outcome: EntryOutcome
    why: str = ""
    recurring: tuple[dict[str, Any], ...] = ()
    dates: tuple[dict[str, Any], ...] = ()


class _Refused(Exception):
    """Why an event cannot be an entry."""


@dataclass(frozen=True, slots=True)
class _Span:
    """One occurrence: its trading date, and from when to when (None: the whole day)."""

    on: date
    start: str | None
    end: str | None


def entries_of(events: Sequence[FileEvent], clock: VenueClock, *, from_on: date) -> tuple[ReadEvent, ...]:
    """Return what each event of a file comes to, in its order; what is over before a trading date is ``passed``."""
    by_uid: dict[str, list[FileEvent]] = {}
    for event in events:
        by_uid.setdefault(event.uid, []).append(event)
    found: dict[int, ReadEvent] = {}
    for same in by_uid.values():
        for read in _of_uid(same, clock, from_on=from_on):
            found[read.event.line] = read
    return tuple(found[event.line] for event in events)


def _of_uid(events: Sequence[FileEvent], clock: VenueClock, *, from_on: date) -> Iterator[ReadEvent]:
    """Yield what the events of one UID come to: all are taken, or none."""
    reads: list[ReadEvent] = []
    masters = [event for event in events if event.moved_from is None]
    moved = [event for event in events if event.moved_from is not None and event.why is None]
    for event in events:
        try:
            if event.why is not None:
                raise _Refused(event.why)
            if event.moved_from is None:
                if len(masters) > 1:
                    raise _Refused("the UID is there twice")
                reads.append(_master(event, moved, clock, from_on=from_on))
            else:
                if not masters or masters[0].why is not None:
                    raise _Refused("the event that it belongs to is missing")
                reads.append(_moved(event, masters[0], clock, from_on=from_on))
        except _Refused as refused:
            reads.append(ReadEvent(event, "refused", str(refused)))
    if any(read.outcome == "refused" for read in reads):
        reads = [r if r.outcome == "refused" else ReadEvent(r.event, "refused", _BROTHER) for r in reads]
    yield from reads


def _master(event: FileEvent, moved: Sequence[FileEvent], clock: VenueClock, *, from_on: date) -> ReadEvent:
    if event.cancelled:
        return ReadEvent(event, "cancelled")
    first = _first(event)
    spans = _spans(first, _lasting(event, first), clock)
    excepted = {_own_date(one, first) for one in event.without}
    excepted |= {_own_date(one.moved_from, first) for one in moved if one.moved_from is not None}
    name = _name(event)
    own = None if event.rule is None else _recurrence(event, first)
    added = [on for one in event.more if (on := _own_date(one, first, exactly=False)) not in (own or ())]
    singles = [] if event.rule is not None or _day(first) in excepted else list(spans)
    for on in added:
        if on not in excepted:
            singles += _spans(_on(first, on), _lasting(event, first), clock)
    recurring: list[dict[str, Any]] = []
    if own is not None:
        recurring = list(_recurring(event, first, own, spans, excepted, clock, from_on=from_on))
    dates = [_date_entry(name, span) for span in dict.fromkeys(singles) if span.on >= from_on]
    outcome: EntryOutcome = "taken" if recurring or dates else "passed"
    return ReadEvent(event, outcome, recurring=tuple(recurring), dates=tuple(dates))


def _moved(event: FileEvent, master: FileEvent, clock: VenueClock, *, from_on: date) -> ReadEvent:
    """Return the occurrence that takes the place of another."""
    first = _first(master)
    assert event.moved_from is not None
    on = _own_date(event.moved_from, first)
    known = {_day(first)} | {_own_date(one, first, exactly=False) for one in master.more}
    if on not in known and (master.rule is None or on not in _recurrence(master, first)):
        raise _Refused(f"RECURRENCE-ID names {on}, which is no occurrence")
    if event.cancelled or master.cancelled:
        return ReadEvent(event, "cancelled")
    start = event.start or _on(first, on)
    lasting = (
        _lasting(event, start) if event.end or event.lasts is not None or start.is_date else _lasting(master, first)
    )
    dates = [_date_entry(_name(event, master), s) for s in _spans(start, lasting, clock) if s.on >= from_on]
    return ReadEvent(event, "taken" if dates else "passed", dates=tuple(dates))


def _recurring(
    event: FileEvent,
    first: CalendarTime,
    own: Recurrence,
    spans: Sequence[_Span],
    excepted: set[date],
    clock: VenueClock,
    *,
    from_on: date,
) -> Iterator[dict[str, Any]]:
    """Yield the recurring entry of an event, unless it is over."""
    if len(spans) > 1:
        raise _Refused("it repeats and lasts more than a day: write an event for each day")
    (span,) = spans
    shift = (span.on - _day(first)).days
    if first.zone is not None and str(first.zone) != str(clock.zone):
        _must_keep_its_time(event, first, own, span, clock, from_on=from_on)
    left_out = frozenset(on + timedelta(days=shift) for on in excepted if on in own)
    rule = _shifted(own.rrule, shift)
    try:
        moved = Recurrence(span.on, rule, left_out)
    except DomainError as error:
        raise _Refused(f"its rule is none that a schedule takes: {error}") from None
    if not _is_over(moved, from_on):
        dates = sorted(on.isoformat() for on in left_out)
        entry = {"name": _name(event), "starts_on": span.on.isoformat(), "rrule": rule, **_times(span)}
        yield {**entry, **({"except_on": dates} if dates else {})}


def _recurrence(event: FileEvent, first: CalendarTime) -> Recurrence:
    """Return the dates of an event's rule, as its own calendar has them."""
    assert event.rule is not None
    parts = []
    for part in event.rule.upper().split(";"):
        name, _, value = part.partition("=")
        parts.append(f"UNTIL={_until(value, first)}" if name == "UNTIL" else part)
    try:
        return Recurrence(_day(first), ";".join(parts))
    except DomainError as error:
        raise _Refused(f"its rule is none that a schedule takes: {error}") from None


def _until(value: str, first: CalendarTime) -> str:
    """Return the last date of a rule whose UNTIL is a date, or an instant in UTC, or a local time."""
    if len(value) == 8:
        return value
    try:
        at = datetime.strptime(value.removesuffix("Z"), "%Y%m%dT%H%M%S")  # noqa: DTZ007
    except ValueError:
        raise _Refused(f"UNTIL={value[:20]} is no date") from None
    if first.is_date:
        raise _Refused("UNTIL has a time, and the event has none")
    if value.endswith("Z") and first.zone is not None:
        at = at.replace(tzinfo=UTC).astimezone(first.zone).replace(tzinfo=None)
    begins = first.at.time() if isinstance(first.at, datetime) else time.min
    on = at.date() if at.time() >= begins else at.date() - _A_DAY
    return f"{on:%Y%m%d}"


def _shifted(rule: str, days: int) -> str:
    """Return a rule whose dates are some days earlier or later: of daily and weekly rules alone."""
    if days == 0:
        return rule
    parts = dict(part.split("=", 1) for part in rule.split(";"))
    if parts["FREQ"] not in ("DAILY", "WEEKLY") or not parts.keys() <= {
        "FREQ", "INTERVAL", "COUNT", "UNTIL", "BYDAY", "WKST",
    }:  # fmt: skip
        raise _Refused("it belongs to the trading day before or after, and its rule cannot be moved there")

    def day(name: str) -> str:
        if name not in _DAYS:
            raise _Refused(f"BYDAY={name} cannot be moved to another day")
        return _DAYS[(_DAYS.index(name) + days) % 7]

    if "BYDAY" in parts:
        parts["BYDAY"] = ",".join(day(name) for name in parts["BYDAY"].split(","))
    if parts["FREQ"] == "WEEKLY":
        parts["WKST"] = day(parts.get("WKST", "MO"))
    if "UNTIL" in parts:
        parts["UNTIL"] = f"{datetime.strptime(parts['UNTIL'], '%Y%m%d') + timedelta(days=days):%Y%m%d}"  # noqa: DTZ007
    return ";".join(f"{name}={value}" for name, value in parts.items())


def _must_keep_its_time(
    event: FileEvent, first: CalendarTime, own: Recurrence, span: _Span, clock: VenueClock, *, from_on: date
) -> None:
    """Refuse an event of another zone whose occurrences are not all at one local time of the venue."""
    lasting, shift = _lasting(event, first), span.on - _day(first)
    began = max(_day(first), from_on - timedelta(days=366))
    for on in (began + timedelta(days=days) for days in range(_SAMPLE_DAYS)):
        if on in own and (found := _spans(_on(first, on), lasting, clock)) != [_Span(on + shift, span.start, span.end)]:
            raise _Refused(
                f"on the venue's clock it begins at {span.start} on {span.on}, and at {found[0].start} on {found[0].on}: "
                "an entry has one time"
            )


def _spans(start: CalendarTime, lasting: timedelta, clock: VenueClock) -> list[_Span]:
    """Return the trading dates and times of one occurrence."""
    if start.is_date:
        days = lasting.days
        if not 1 <= days <= _ALL_DAY_MAX:
            raise _Refused(f"it lasts {days} days: 1 to {_ALL_DAY_MAX} are expected")
        return [_Span(_day(start) + timedelta(days=day), None, None) for day in range(days)]
    if not isinstance(start.at, datetime):
        raise _Refused("it has no time")
    begins, ends = _local(start, clock), _local(CalendarTime(start.at + lasting, start.zone), clock)
    if begins.second or ends.second or begins.microsecond:
        raise _Refused("it begins or ends within a minute: whole minutes are expected")
    on = begins.date() - (_A_DAY if begins.time() < clock.day_starts_at else timedelta(0))
    if ends <= begins:
        raise _Refused("it has no end after its start")
    if ends > datetime.combine(on + _A_DAY, clock.day_starts_at):
        raise _Refused(
            f"it goes on after {clock.day_starts_at:%H:%M}, when the next trading day starts: write two events"
        )
    return [_Span(on, f"{begins:%H:%M}", f"{ends:%H:%M}")]


def _local(moment: CalendarTime, clock: VenueClock) -> datetime:
    """Return a moment on the venue's clock."""
    assert isinstance(moment.at, datetime)
    if moment.zone is None:
        return moment.at
    at: datetime = moment.at.replace(tzinfo=moment.zone).astimezone(clock.zone)
    return at.replace(tzinfo=None)


def _lasting(event: FileEvent, start: CalendarTime) -> timedelta:
    """Return how long an event lasts, on the clock of its own zone."""
    if event.end is not None and event.lasts is not None:
        raise _Refused("it has both DTEND and DURATION")
    if event.lasts is not None:
        return event.lasts
    if event.end is None:
        if start.is_date:
            return _A_DAY
        raise _Refused("it has no end")
    end = event.end
    if end.is_date != start.is_date:
        raise _Refused("one of start and end is a date, the other has a time")
    if start.is_date:
        return _day(end) - _day(start)
    assert isinstance(end.at, datetime)
    assert isinstance(start.at, datetime)
    if (end.zone is None) != (start.zone is None):
        raise _Refused("one of start and end is in a time zone, the other in none")
    if end.zone is not None and start.zone is not None and str(end.zone) != str(start.zone):
        return end.at.replace(tzinfo=end.zone).astimezone(start.zone).replace(tzinfo=None) - start.at
    return end.at - start.at


def _first(event: FileEvent) -> CalendarTime:
    if event.start is None:
        raise _Refused("it has no start")
    if not 2000 <= _day(event.start).year < 2099:
        raise _Refused(f"it begins in {_day(event.start).year}")
    return event.start


def _own_date(moment: CalendarTime, first: CalendarTime, *, exactly: bool = True) -> date:
    """Return the date of an occurrence on the clock of the event; refuse one that is at another time than the event."""
    if moment.is_date or first.is_date:
        if moment.is_date != first.is_date:
            raise _Refused(f"{_day(moment)} names an occurrence by a date, or by a time, and the event is otherwise")
        return _day(moment)
    assert isinstance(moment.at, datetime)
    assert isinstance(first.at, datetime)
    at = moment.at
    if (moment.zone is None) != (first.zone is None):
        raise _Refused(f"{at} is in a time zone and the event in none, or the other way round")
    if moment.zone is not None and first.zone is not None:
        at = at.replace(tzinfo=moment.zone).astimezone(first.zone).replace(tzinfo=None)
    if at.time() != first.at.time():
        what = "no occurrence begins then" if exactly else "an added date at another time of day: write it as an event"
        raise _Refused(f"{at}: {what}")
    return at.date()


def _on(first: CalendarTime, on: date) -> CalendarTime:
    """Return an event's start on another date."""
    return CalendarTime(datetime.combine(on, first.at.time()) if isinstance(first.at, datetime) else on, first.zone)


def _day(moment: CalendarTime) -> date:
    return moment.at.date() if isinstance(moment.at, datetime) else moment.at


def _is_over(recurrence: Recurrence, from_on: date) -> bool:
    """Tell whether no date of a rule is on or after a date, as far as UNTIL and COUNT say."""
    parts = dict(part.split("=", 1) for part in recurrence.rrule.split(";"))
    if "UNTIL" in parts:
        return parts["UNTIL"] < f"{from_on:%Y%m%d}"
    if "COUNT" not in parts or "INTERVAL" in parts or from_on <= recurrence.starts_on:
        return False
    every = Recurrence(recurrence.starts_on, recurrence.rrule)
    return not any(from_on + timedelta(days=day) in every for day in range(_SAMPLE_DAYS))


def _times(span: _Span) -> dict[str, str]:
    return {} if span.start is None or span.end is None else {"from": span.start, "to": span.end}


def _date_entry(name: str, span: _Span) -> dict[str, Any]:
    return {"name": name, "on": span.on.isoformat(), **_times(span)}


def _name(event: FileEvent, other: FileEvent | None = None) -> str:
    """Return what people call an event, at most 120 characters that can be printed."""
    text = event.name or (other.name if other is not None else "")
    printable = "".join(sign if sign.isprintable() else " " for sign in text).strip()[:120]
    return printable or "Event without a name"


def with_calendar(
    terms: Mapping[str, Any], calendar: str, reads: Sequence[ReadEvent], *, tariff: str, day_starts_at: time
) -> tuple[dict[str, Any], dict[str, str]]:
    """Return a schedule's terms with a calendar's entries in place of those it brought before, and what became of each UID.

    ``new``, ``same``, ``changed``, ``gone`` (no longer in the file, or over), ``kept`` (refused now: what it brought stays). A date
    that an entry of another origin states already, at any of the same time, keeps that entry alone (A6).
    """
    refused = {read.event.uid for read in reads if read.outcome == "refused"}
    mine: dict[str, list[tuple[str, dict[str, Any]]]] = {}
    others: dict[str, list[dict[str, Any]]] = {}
    for kind in ("recurring", "dates"):
        others[kind] = []
        for entry in terms.get(kind, ()):
            if entry.get("calendar") == calendar:
                mine.setdefault(entry.get("uid", ""), []).append((kind, entry))
            else:
                others[kind].append(entry)
    stated: dict[str, list[tuple[int, int]]] = {}
    for entry in others["dates"]:
        stated.setdefault(entry["on"], []).append(_minutes(entry, day_starts_at))
    brought: dict[str, list[tuple[str, dict[str, Any]]]] = {uid: mine[uid] for uid in refused if uid in mine}
    for read in reads:
        origin = {"tariff": tariff, "calendar": calendar, "uid": read.event.uid}
        for kind, entries in (("recurring", read.recurring), ("dates", read.dates)):
            for entry in entries:
                if kind == "recurring" or not _meets(_minutes(entry, day_starts_at), stated.get(entry["on"], ())):
                    brought.setdefault(read.event.uid, []).append((kind, {**entry, **origin}))
    became = {uid: "kept" if uid in refused else _became(mine.get(uid), brought.get(uid)) for uid in mine | brought}
    if all(word in ("same", "kept") for word in became.values()):
        return dict(terms), became
    changed = dict(terms)
    for kind in ("recurring", "dates"):
        own = [entry for uid in sorted(brought) for of, entry in brought[uid] if of == kind]
        own.sort(key=lambda entry: (entry.get("on") or entry["starts_on"], entry.get("from", ""), entry["uid"]))
        if others[kind] or own or kind in terms:
            changed[kind] = [*others[kind], *own]
    return changed, became


def _minutes(entry: Mapping[str, Any], day_starts_at: time) -> tuple[int, int]:
    """Return from when to when an entry holds, in minutes of its trading day."""

    def minute(at: str) -> int:
        wall = time.fromisoformat(at)
        return ((wall.hour - day_starts_at.hour) * 60 + wall.minute - day_starts_at.minute) % 1440

    start = minute(entry["from"]) if "from" in entry else 0
    return start, (minute(entry["to"]) or 1440) if "to" in entry else 1440


def _meets(span: tuple[int, int], others: Iterable[tuple[int, int]]) -> bool:
    return any(span[0] < end and start < span[1] for start, end in others)


def _became(before: Sequence[Any] | None, after: Sequence[Any] | None) -> str:
    if not before:
        return "new"
    if not after:
        return "gone"
    return "same" if sorted(map(repr, map(_plain, before))) == sorted(map(repr, map(_plain, after))) else "changed"


def _plain(entry: tuple[str, dict[str, Any]]) -> list[Any]:
    return [entry[0], sorted(entry[1].items())]
