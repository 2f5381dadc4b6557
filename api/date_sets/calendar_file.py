"""A calendar file (RFC 5545, read by ``icalendar``): its events with their times, each at its line. Bytes in, values out.

- Work is bounded: a file has at most 2 MB, 2,000 events and 50 that repeat; of an event only the properties are read that say when it is.
- A time is a date, a local time without a zone (floating), or a local time in a zone. A zone is an IANA name, else what the
  file's own VTIMEZONE says, else a zone of Windows. A zone that none of them knows is a fault of its event.
- A VTIMEZONE is taken where its rules come once a year: what comes more often is no rule of a time zone.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from icalendar import Calendar, Event, Timezone
from icalendar.timezone.windows_to_olson import WINDOWS_TO_OLSON

from ..pricing.errors import DomainError, domain_error

BYTES_MAX = 2_000_000
EVENTS_READ_MAX = 2_000
REPEATING_MAX = 50
LINE_MAX = 20_000
ZONES_MAX = 20
_ZONE_LINES_MAX = 200
_READ = (
    "UID",
    "SUMMARY",
    "DTSTART",
    "DTEND",
    "DURATION",
    "RRULE",
    "RDATE",
    "EXDATE",
    "EXRULE",
    "RECURRENCE-ID",
    "STATUS",
)
_NAME = re.compile(r"([A-Za-z0-9-]+)[;:]")
_ODD = (ValueError, TypeError, KeyError, AttributeError, IndexError, OverflowError)
"""What the library raises for a property that it cannot read."""


@dataclass(frozen=True, slots=True)
class CalendarTime:
    """A date, or a local time with its zone (None: floating, the same local time everywhere)."""

    at: date | datetime
    zone: tzinfo | None = None

    @property
    def is_date(self) -> bool:
        """Tell whether it is a whole day."""
        return not isinstance(self.at, datetime)


@dataclass(frozen=True, slots=True, kw_only=True)
class FileEvent:
    """One VEVENT: where it begins in the file, and when it is; ``why`` says what keeps it from being read.

    ``lasts`` is what DURATION says, ``rule`` the text of its RRULE, ``more`` RDATE, ``without`` EXDATE.
    """

    line: int
    uid: str
    name: str
    start: CalendarTime | None = None
    end: CalendarTime | None = None
    lasts: timedelta | None = None
    rule: str | None = None
    more: tuple[CalendarTime, ...] = ()
    without: tuple[CalendarTime, ...] = ()
    moved_from: CalendarTime | None = None
    cancelled: bool = False
    why: str | None = None


@dataclass(slots=True)
class _Block:
    """A component: the number of its first line, and its lines."""

    line: int
    lines: list[str] = field(default_factory=list)


def read_calendar_file(content: bytes) -> tuple[FileEvent, ...]:
    """Return the events of a file, in its order.

    Refuses (``bad_calendar``) what is no calendar, more bytes or events than the limits, and a component that does not end.
    An event that cannot be read is returned with ``why``.
    """
    if len(content) > BYTES_MAX:
        raise _bad(f"{len(content)} bytes", f"at most {BYTES_MAX}")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _bad(f"no UTF-8 at byte {error.start}", "a calendar in UTF-8") from None
    events, zones = _blocks(text)
    read = _Zones({_zone_id(block): block for block in zones})
    found = tuple(_event(block, read) for block in events)
    if (repeating := sum(event.rule is not None for event in found)) > REPEATING_MAX:
        raise _bad(f"{repeating} events that repeat", f"at most {REPEATING_MAX}")
    return found


def _blocks(text: str) -> tuple[list[_Block], list[_Block]]:
    """Return the events and the time zones of a file."""
    events: list[_Block] = []
    zones: list[_Block] = []
    inside: list[str] = []
    is_calendar = False
    for number, line in _logical_lines(text):
        word, _, value = line.partition(":")
        word, value = word.strip().upper(), value.strip().upper()
        if word == "BEGIN":
            inside.append(value)
            is_calendar = is_calendar or inside == ["VCALENDAR"]
            if inside[:1] != ["VCALENDAR"] or len(inside) > 8:
                raise _bad(f"BEGIN:{value[:40]} at line {number}", "a calendar: BEGIN:VCALENDAR first")
            if len(inside) == 2 and value in ("VEVENT", "VTIMEZONE"):
                (events if value == "VEVENT" else zones).append(_Block(number))
        elif word == "END":
            if not inside or inside.pop() != value:
                raise _bad(f"END:{value[:40]} at line {number}", "the end of what began last")
        elif not inside and line.strip():
            raise _bad(f"text outside of a calendar at line {number}", "BEGIN:VCALENDAR first")
        if len(events) > EVENTS_READ_MAX or len(zones) > ZONES_MAX:
            raise _bad(f"more than {EVENTS_READ_MAX} events or {ZONES_MAX} time zones", "a calendar of one league")
        if inside[1:2] == ["VEVENT"] and len(inside) == 2 and word not in ("BEGIN", "END"):
            events[-1].lines.append(line)
        elif inside[1:2] == ["VTIMEZONE"] and not (word == "BEGIN" and len(inside) == 2):
            zones[-1].lines.append(line)
    if inside or not is_calendar:
        raise _bad(f"a file without END:{inside[-1][:40]}" if inside else "no VCALENDAR", "a calendar, whole")
    return events, zones


def _logical_lines(text: str) -> Iterator[tuple[int, str]]:
    """Yield the lines of a file unfolded (RFC 5545, 3.1), each with the number of the line where it begins."""
    parts: list[str] = []
    began = length = 0
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text), start=1):
        if line[:1] in (" ", "\t") and parts:
            parts.append(line[1:])
            length += len(line)
        else:
            if parts:
                yield began, "".join(parts)
            parts, began, length = [line], number, len(line)
        if length > LINE_MAX:
            raise _bad(f"a line of more than {LINE_MAX} characters at line {began}", "shorter lines")
    if parts:
        yield began, "".join(parts)


class _Zones:
    """The time zones that a file may name."""

    def __init__(self, blocks: Mapping[str, _Block]) -> None:
        self._blocks = blocks
        self._known: dict[str, tzinfo] = {}

    def named(self, tzid: str) -> tzinfo:
        """Return the zone of a TZID; raise ValueError, in words, where nobody knows it."""
        if tzid not in self._known:
            self._known[tzid] = self._read(tzid)
        return self._known[tzid]

    def _read(self, tzid: str) -> tzinfo:
        if (name := tzid.strip("/")) in available_timezones():
            return ZoneInfo(name)
        if tzid in self._blocks:
            return _own_zone(tzid, self._blocks[tzid])
        if tzid in WINDOWS_TO_OLSON:
            return ZoneInfo(WINDOWS_TO_OLSON[tzid])
        raise ValueError(f"the time zone {tzid[:60]} is known neither by its name nor by a VTIMEZONE of the file")


def _zone_id(block: _Block) -> str:
    return next((line.partition(":")[2].strip() for line in block.lines if line.upper().startswith("TZID")), "")


def _own_zone(tzid: str, block: _Block) -> tzinfo:
    """Return the zone that a VTIMEZONE describes. The library keeps zones by their ids: it gets one made of the content."""
    rules = [line.upper() for line in block.lines if line.upper().startswith(("RRULE", "RDATE"))]
    if len(block.lines) > _ZONE_LINES_MAX or any(
        line.startswith("RRULE")
        and (not re.search(r"[:;]FREQ=YEARLY(;|$)", line) or re.search(r"BY(HOUR|MIN|SEC|YEARD|WEEKN)", line))
        for line in rules
    ):
        raise ValueError(f"the VTIMEZONE {tzid[:60]} has rules that are none of a time zone")
    own_id = hashlib.sha256("\n".join(block.lines).encode()).hexdigest()
    lines = [f"TZID:{own_id}" if line.upper().startswith("TZID") else line for line in block.lines]
    text = "\r\n".join(["BEGIN:VCALENDAR", "BEGIN:VTIMEZONE", *lines, "END:VTIMEZONE", "END:VCALENDAR", ""])
    try:
        (component,) = Calendar.from_ical(text).walk("VTIMEZONE")
        if not isinstance(component, Timezone):
            raise ValueError("no time zone")
        zone: tzinfo = component.to_tz(lookup_tzid=False)
        datetime(2026, 1, 1, tzinfo=zone).utcoffset()
    except _ODD:
        raise ValueError(f"the VTIMEZONE {tzid[:60]} cannot be read") from None
    return zone


def _event(block: _Block, zones: _Zones) -> FileEvent:
    """Return one event."""
    named = [(found[1].upper(), line) for line in block.lines if (found := _NAME.match(line))]
    lines = [line for name, line in named if name in _READ]
    uid = name = ""
    try:
        event = Event.from_ical("\r\n".join(["BEGIN:VEVENT", *lines, "END:VEVENT", ""]))
        uid, name = str(event.get("UID", "")).strip(), " ".join(str(event.get("SUMMARY", "")).split())
        for wrong, _ in event.errors:
            raise ValueError(f"{wrong or 'a property'} cannot be read")
        for once in ("UID", "DTSTART", "DTEND", "DURATION", "RRULE", "RECURRENCE-ID", "STATUS"):
            if sum(1 for found, _ in named if found == once) > 1:
                raise ValueError(f"{once} is there twice")
        if "EXRULE" in event:
            raise ValueError("EXRULE is not read: name the dates in EXDATE")
        if not 1 <= len(uid) <= 255 or not uid.isprintable():
            raise ValueError("it has no UID of 1 to 255 characters")
        moved = event.get("RECURRENCE-ID")
        if moved is not None and "RANGE" in moved.params:
            raise ValueError("RECURRENCE-ID with RANGE: moves of all later occurrences are not read")
        lasts = event.get("DURATION")
        return FileEvent(
            line=block.line,
            uid=uid,
            name=name,
            start=_moment(event.get("DTSTART"), zones),
            end=_moment(event.get("DTEND"), zones),
            lasts=None if lasts is None else lasts.dt,
            rule=_rule(event["RRULE"]) if "RRULE" in event else None,
            more=tuple(_moments(event.get("RDATE"), zones)),
            without=tuple(_moments(event.get("EXDATE"), zones)),
            moved_from=_moment(moved, zones),
            cancelled=str(event.get("STATUS", "")).upper() == "CANCELLED",
        )
    except _ODD as error:
        why = str(error) if type(error) is ValueError and error.args else "it cannot be read"
        return FileEvent(line=block.line, uid=uid, name=name, why=why[:300])


def _rule(found: Any) -> str:
    text: bytes = found.to_ical()
    return text.decode()


def _moment(found: Any, zones: _Zones) -> CalendarTime | None:
    """Return the time of a property; None of one that is not there."""
    return None if found is None else _at(found.dt, found.params, zones)


def _moments(found: Any, zones: _Zones) -> Iterator[CalendarTime]:
    """Yield the times of a property that may stand several times, with several values."""
    lists: Sequence[Any] = [] if found is None else found if isinstance(found, list) else [found]
    for one in lists:
        for each in one.dts:
            yield _at(each.dt, one.params, zones)


def _at(value: Any, parameters: Mapping[str, Any], zones: _Zones) -> CalendarTime:
    if isinstance(value, datetime):
        tzid = parameters.get("TZID")
        zone = zones.named(str(tzid)) if tzid else UTC if value.tzinfo is not None else None
        return CalendarTime(value.replace(tzinfo=None), zone)
    if isinstance(value, date):
        return CalendarTime(value)
    raise ValueError("a period of time, where a date or a date with a time is expected")


def _bad(found: str, expected: str) -> DomainError:
    return domain_error("bad_calendar", where="body", found=found, expected=expected)
