"""Recurring events: RFC 5545 rules, expanded by python-dateutil into the dates that the engine asks for.

- W4: a rule has FREQ=DAILY, WEEKLY, MONTHLY or YEARLY, no part finer than a day, and a first date that fits it.
- Its parts, their values and their combinations are those of RFC 5545 section 3.3.10 for a start that is a date:
  so UNTIL is a date, and not beside COUNT. Narrower than the RFC: BYWEEKNO names its days by BYDAY; the days of BYDAY
  have ordinals all or none (of a mixture dateutil finds no date); BYSETPOS picks from a month or a year, for what it
  picks from a shorter period can be named directly.
- An excepted date is one of COUNT's, and left out.
- Nothing hangs: COUNT and INTERVAL are bounded, and a rule that never comes has no first date that fits.
- One refusal (``bad_recurrence``) names everything wrong with the text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import lru_cache

from dateutil.rrule import rrulestr

from ..pricing.errors import DomainError, Fault

COUNT_MAX = 1000

INTERVAL_MAX = 366
_LONGEST = 400
_DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_ORDINAL_DAY = re.compile(rf"(?P<ordinal>[+-]?[1-9][0-9]?)?(?:{'|'.join(_DAYS)})", re.ASCII)
_NUMBER = re.compile(r"(?P<sign>[+-]?)(?P<digits>[0-9]{1,4})", re.ASCII)
_FREQUENCIES = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")
# The largest number of each list; those that may also count from the end, with a minus.
_LARGEST = {"BYMONTH": 12, "BYMONTHDAY": 31, "BYYEARDAY": 366, "BYWEEKNO": 53, "BYSETPOS": 366}
_FROM_THE_END = frozenset(_LARGEST) - {"BYMONTH"}
_ALLOWED_IN = {
    "BYMONTHDAY": ("DAILY", "MONTHLY", "YEARLY"),
    "BYYEARDAY": ("YEARLY",),
    "BYWEEKNO": ("YEARLY",),
    "BYSETPOS": ("MONTHLY", "YEARLY"),
}
_NAMES_DAYS = ("BYDAY", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO")
# dateutil looks for a next date until the year 9999. The calendar repeats after 400 years, weekdays included, so asking
# in the last such cycle gives the same dates and lets a search that finds nothing end soon.
_CYCLES_AHEAD = 7600
_YEARS = range(1900, 2100)


@dataclass(frozen=True, slots=True)
class Recurrence:
    """The dates of an RFC 5545 rule from its first date on, without the excepted ones: ``date in recurrence``.

    No date outside the years 1900 to 2099 is in it.
    """

    starts_on: date
    rrule: str
    except_on: frozenset[date] = frozenset()
    _parts: tuple[tuple[str, str], ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if len(self.rrule) > _LONGEST:
            raise DomainError(_fault(f"{len(self.rrule)} characters", f"at most {_LONGEST}"))
        parts, faults = _read(self.rrule)
        if faults:
            raise DomainError(*faults)
        object.__setattr__(self, "_parts", tuple(sorted(parts.items())))
        if not self._occurs_on(self.starts_on):
            expected = f"a date that {self.rrule} has, of the years {_YEARS[0]} to {_YEARS[-1]}"
            raise DomainError(Fault("bad_recurrence", "starts_on", self.starts_on.isoformat(), expected))

    def __contains__(self, on: object) -> bool:
        return isinstance(on, date) and on not in self.except_on and self._occurs_on(on)

    def _occurs_on(self, on: date) -> bool:
        return on >= self.starts_on and on.year in _YEARS and on in _dates_of_year(self._parts, self.starts_on, on.year)


@lru_cache(maxsize=4096)
def _dates_of_year(parts: tuple[tuple[str, str], ...], starts_on: date, year: int) -> frozenset[date]:
    """Return the dates of one year on which a rule, valid in its parts, occurs."""
    rule = _explicit(dict(parts), starts_on)
    until = rule.pop("UNTIL", "99991231")
    if str(year) > until[:4]:
        return frozenset()
    text = ";".join(f"{name}={value}" for name, value in rule.items())
    first, last = _ahead(date(year, 1, 1)), _ahead(date(year, 12, 31))
    found = rrulestr(text, dtstart=_ahead(_start_near(rule, starts_on, year))).between(first, last, inc=True)
    dates = (at.date().replace(year=year) for at in found)
    return frozenset(on for on in dates if f"{on:%Y%m%d}" <= until)


def _ahead(on: date) -> datetime:
    return datetime.combine(on.replace(year=on.year + _CYCLES_AHEAD), time.min)


def _explicit(rule: dict[str, str], starts_on: date) -> dict[str, str]:
    """Return a rule with what RFC 5545 takes from the first date written out, and the first day of the week."""
    rule = {"WKST": "MO", "INTERVAL": "1"} | rule
    if any(name in rule for name in _NAMES_DAYS):
        return rule
    day = {"BYMONTHDAY": str(starts_on.day)}
    match rule["FREQ"]:
        case "WEEKLY":
            return rule | {"BYDAY": _DAYS[starts_on.weekday()]}
        case "MONTHLY":
            return rule | day
        case "YEARLY":
            return {"BYMONTH": str(starts_on.month)} | rule | day
        case _:
            return rule


def _start_near(rule: dict[str, str], starts_on: date, year: int) -> date:
    """Return a later start, in step with the first date, from which a rule has the same dates in that year.

    A rule with COUNT has to be counted from its first date.
    """
    if "COUNT" in rule or year <= starts_on.year:
        return starts_on
    interval, years = int(rule["INTERVAL"]), year - starts_on.year
    match rule["FREQ"]:
        case "DAILY" | "WEEKLY" as frequency:
            step = interval * (7 if frequency == "WEEKLY" else 1)
            steps = (date(year, 1, 1) - starts_on).days // step - 1
            return starts_on + timedelta(days=max(steps, 0) * step)
        case "MONTHLY":
            months = (12 * years + 1 - starts_on.month) // interval * interval + starts_on.month - 1
            near = date(starts_on.year + months // 12, months % 12 + 1, 1)
        case _:
            near = date(starts_on.year + years // interval * interval, 1, 1)
    return max(near, starts_on)


def _read(text: str) -> tuple[dict[str, str], list[Fault]]:
    """Return the parts of a rule by their names, and what is wrong with them (RFC 5545 section 3.3.10)."""
    parts: dict[str, str] = {}
    faults: list[Fault] = []
    for part in text.upper().split(";"):
        name, _, value = part.partition("=")
        expected = "each part once" if name in parts else _expected(name, value)
        if expected:
            faults.append(_fault(part, expected))
        parts[name] = value
    if "FREQ" not in parts:
        faults.append(_fault(text, "FREQ, one of " + ", ".join(_FREQUENCIES)))
    return parts, faults or list(_clashes(parts))


def _expected(name: str, value: str) -> str | None:
    """Return what belongs into a part if its value does not."""
    items = value.split(",")
    match name:
        case "FREQ":
            return None if value in _FREQUENCIES else "one of " + ", ".join(_FREQUENCIES)
        case "UNTIL":
            return None if _is_date(value) else "a date such as 20261231"
        case "COUNT" | "INTERVAL":
            maximum = COUNT_MAX if name == "COUNT" else INTERVAL_MAX
            return None if value.isdecimal() and _is_number(value, maximum) else f"a number from 1 to {maximum}"
        case "WKST":
            return None if value in _DAYS else "one of " + ", ".join(_DAYS)
        case "BYDAY":
            return None if all(_ORDINAL_DAY.fullmatch(item) for item in items) else "days such as TU,TH or -1FR"
        case _ if name in _LARGEST:
            signed, maximum = name in _FROM_THE_END, _LARGEST[name]
            valid = all(_is_number(item, maximum) and (signed or item.isdecimal()) for item in items)
            return None if valid else f"numbers from 1 to {maximum}" + (", or with a minus" if signed else "")
        case _:
            return "a part of RFC 5545 that is no finer than a day"


def _clashes(parts: dict[str, str]) -> Iterator[Fault]:
    """Yield which parts, valid by themselves, exclude each other."""
    frequency = parts["FREQ"]
    for name, frequencies in _ALLOWED_IN.items():
        if name in parts and frequency not in frequencies:
            yield _fault(f"{name} with FREQ={frequency}", f"{name} with FREQ={' or '.join(frequencies)}")
    days = list(_ORDINAL_DAY.finditer(parts.get("BYDAY", "")))
    ordinals = [match["ordinal"] for match in days if match["ordinal"]]
    if 0 < len(ordinals) < len(days):
        yield _fault(f"BYDAY={parts['BYDAY']}", "ordinals for all its days, or no ordinals")
    maximum = {"MONTHLY": 5, "YEARLY": 53}.get(frequency, 0)
    if any(abs(int(ordinal)) > maximum for ordinal in ordinals):
        yield _fault(
            f"BYDAY={parts['BYDAY']}", f"ordinals up to {maximum} with FREQ={frequency}" if maximum else "no ordinals"
        )
    if ordinals and "BYWEEKNO" in parts:
        yield _fault(f"BYDAY={parts['BYDAY']}", "no ordinals beside BYWEEKNO")
    if "COUNT" in parts and "UNTIL" in parts:
        yield _fault("COUNT and UNTIL", "at most one of them")
    if "BYWEEKNO" in parts and "BYDAY" not in parts:
        yield _fault("BYWEEKNO without BYDAY", "the days of those weeks, in BYDAY")
    if "BYSETPOS" in parts and not any(name in parts for name in (*_NAMES_DAYS, "BYMONTH")):
        yield _fault("BYSETPOS alone", "another BY part to pick from")


def _is_date(value: str) -> bool:
    try:
        return f"{datetime.strptime(value, '%Y%m%d'):%Y%m%d}" == value  # noqa: DTZ007
    except ValueError:
        return False


def _is_number(value: str, maximum: int) -> bool:
    match = _NUMBER.fullmatch(value)
    return match is not None and 1 <= int(match["digits"]) <= maximum


def _fault(found: str, expected: str) -> Fault:
    return Fault("bad_recurrence", "rrule", found, expected)
