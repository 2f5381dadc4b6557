"""How a cell is read, by rules that a preview states. Values in, values out: what comes out is what the API takes.

- I3: nothing is guessed. ``03/04/2026`` could be two dates, ``1,234`` two numbers: each is refused with both readings
  and the parameter that settles it. ``13/04/2026`` and ``1.234,50`` can only be one thing.
- A workbook's own dates and numbers are taken as they are, numbers to 15 digits, which is all that it keeps.
- An empty cell says nothing: the field is absent. A formula is refused, for its value is not in the file.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Literal

from ..pricing.errors import domain_error
from ..pricing.week import WEEKDAYS
from .columns import Reads

DateOrder = Literal["dmy", "mdy", "ymd"]
Decimals = Literal["comma", "point"]

SHORT_CELL_MAX = 100
"""No number, date or time is longer than this."""


@dataclass(frozen=True, slots=True)
class Formula:
    """A cell that holds a formula, or an error in place of a value."""

    text: str


Cell = str | int | float | bool | datetime | date | time | timedelta | Formula | None


@dataclass(frozen=True, slots=True)
class CellRules:
    """What a sender states of cells that could be read in two ways; None: such a cell is refused."""

    dates: DateOrder | None = None
    decimals: Decimals | None = None
    time_of_day: time | None = None


_YEARS = (1900, 2199)
_LONG_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_YES, _NO = ("yes", "true", "1", "x", "y"), ("no", "false", "0", "n")
_SIGNS = {
    "$": "AUD BBD BMD BND BSD BZD CAD CLP COP FJD GYD HKD JMD KYD LRD MXN NAD NZD SBD SGD SRD TTD TWD USD UYU XCD",
    "€": "EUR",
    "£": "EGP FKP GBP GIP SHP",
    "¥": "CNY JPY",
    "₹": "INR",
    "₩": "KRW",
    "zł": "PLN",
    "kč": "CZK",
    "kr": "DKK ISK NOK SEK",
    "fr.": "CHF",
    "ft": "HUF",
}
_AMOUNT = re.compile(r"(?P<before>[^0-9.,'’\s+-]*)\s*(?P<number>-?[0-9][0-9.,'’\s]*?)\s*(?P<after>[^0-9.,'’\s+-]*\.?)")
_NUMERIC_DATE = re.compile(r"([0-9]{1,4})([/.\-])([0-9]{1,2})(?:\2([0-9]{1,4}))?\.?", re.ASCII)
_NAMED_DATE = re.compile(r"([0-9]{1,2})\.?[ \-]([a-z]{3,9})\.?,?[ \-]([0-9]{4})", re.ASCII | re.IGNORECASE)
_NAMED_DATE_US = re.compile(r"([a-z]{3,9})\.? ([0-9]{1,2}),? ([0-9]{4})", re.ASCII | re.IGNORECASE)
_TIME = re.compile(
    r"([0-9]{1,2})(?:[:.h]([0-9]{2}))?(?::([0-9]{2})(?:\.[0-9]+)?)?(?: ?([ap])\.?m\.?)?", re.ASCII | re.IGNORECASE
)
_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?([Zz]|[+-][0-9]{2}:[0-9]{2})", re.ASCII
)


@dataclass(frozen=True, slots=True)
class CellTime:
    """A date and time as a cell gives them: with an offset an instant (``text``), else on the venue's clock."""

    text: str | None = None
    local: datetime | None = None


def read_cell(cell: Cell, reads: Reads, rules: CellRules, *, where: str) -> Any:
    """Return the value of a cell, or None of an empty one; refuse what cannot be read, or could be read in two ways."""
    if isinstance(cell, Formula):
        expected = "a value: copy the column and paste it as values"
        raise domain_error("cell_is_formula", where=where, found=repr(cell.text[:60]), expected=expected)
    if isinstance(cell, str):
        cell = " ".join(cell.replace("\u00a0", " ").split()) if reads != "text" else cell.strip()
        if cell[:1] == "'" and cell[1:2] in tuple("=+-@|%"):
            cell = cell[1:]  # the guard that our own exports write
        elif cell.startswith("="):
            return read_cell(Formula(cell), reads, rules, where=where)
    if cell is None or cell == "":
        return None
    if isinstance(cell, str) and len(cell) > SHORT_CELL_MAX and reads not in ("text", "list", "meters"):
        raise _refuse(where, cell, f"at most {SHORT_CELL_MAX} characters")
    return _READERS[reads](cell, rules, where)


def _refuse(where: str, found: object, expected: str) -> Exception:
    return domain_error("unreadable_cell", where=where, found=repr(str(found)[:60]), expected=expected)


def _text(cell: Any, rules: CellRules, where: str) -> str:  # noqa: ARG001
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int | float):
        return _plain_number(cell, where)
    raise _refuse(where, cell, "text: format the column as text")


def _plain_number(number: int | float, where: str) -> str:
    """Write a workbook's number as a plain decimal, to the 15 digits that it keeps; refuse one beyond all amounts."""
    if not -1e18 < number < 1e18:
        raise _refuse(where, "a number without end or with more than 18 digits", "a number such as 1234.50")
    if isinstance(number, int):
        return str(number)
    text = format(Decimal(format(number, ".15g")), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _count(cell: Any, rules: CellRules, where: str) -> int:
    text = _decimal(cell, rules, where)
    whole, _, part = text.partition(".")
    if part.strip("0") or len(whole) > 19:
        raise _refuse(where, cell, "a whole number")
    return int(whole)


def _decimal(cell: Any, rules: CellRules, where: str) -> str:
    if isinstance(cell, bool) or not isinstance(cell, int | float | str):
        raise _refuse(where, cell, "a number")
    if isinstance(cell, str):
        return _number(cell.removesuffix("%").strip(), rules, where)
    return _plain_number(cell, where)


def _amount(cell: Any, rules: CellRules, where: str) -> tuple[str, frozenset[str] | None]:
    """Return an amount, and the currencies that its sign or code allows (None: it has neither)."""
    if not isinstance(cell, str):
        return _decimal(cell, rules, where), None
    match = _AMOUNT.fullmatch(cell)
    if match is None:
        raise _refuse(where, cell, "an amount such as 4.00")
    signs = [part.strip().casefold() for part in (match["before"], match["after"]) if part.strip()]
    if len(signs) > 1:
        raise _refuse(where, cell, "one currency sign or code")
    allowed = None
    if signs:
        sign = signs[0]
        if sign in _SIGNS:
            allowed = frozenset(_SIGNS[sign].split())
        elif re.fullmatch(r"[a-z]{3}", sign):
            allowed = frozenset({sign.upper()})
        else:
            raise _refuse(where, cell, "an amount such as 4.00, with a currency sign or code or without")
    return _number(match["number"], rules, where), allowed


def _number(text: str, rules: CellRules, where: str) -> str:
    """Return a number as a plain decimal; refuse (``ambiguous_number``) one that could be two."""
    sign, digits = ("-", text[1:]) if text.startswith("-") else ("", text)
    digits = re.sub(r"[\s'’](?=[0-9]{3}(?:[^0-9]|$))", "", digits)
    points, commas = digits.count("."), digits.count(",")
    mark = {"point": ".", "comma": ","}.get(rules.decimals or "")
    if mark is None and points and commas:
        mark = max(".,", key=digits.rfind)
    elif mark is None and points + commas == 1:
        found = "." if points else ","
        whole, part = digits.split(found)
        if len(part) == 3 and whole.strip("0") and len(whole) <= 3:
            expected = f"{whole}.{part} (decimals={'point' if points else 'comma'}) or {whole}{part} (decimals={'comma' if points else 'point'}): state decimals"
            raise domain_error("ambiguous_number", where=where, found=repr(text), expected=expected)
        mark = found
    elif mark is None and points + commas > 1:
        mark = "," if points else "."
    other = {".": ",", ",": "."}.get(mark or "", ",")
    whole, _, part = digits.partition(mark) if mark else (digits, "", "")
    grouped = re.fullmatch(rf"[0-9]{{1,3}}(?:{re.escape(other)}[0-9]{{3}})+", whole)
    if (
        not (grouped or re.fullmatch(r"[0-9]+", whole))
        or not re.fullmatch(r"[0-9]*", part)
        or digits.endswith(tuple(".,"))
    ):
        stated = f", with {rules.decimals} before the decimals as stated" if rules.decimals else ""
        raise _refuse(where, text, f"a number such as 1234.50 or 1.234,50{stated}")
    whole = whole.replace(other, "").lstrip("0") or "0"
    return f"{sign}{whole}.{part}" if part else f"{sign}{whole}"


def _date(cell: Any, rules: CellRules, where: str) -> str:
    if isinstance(cell, datetime):
        if cell.time() != time():
            raise _refuse(where, cell, "a date without a time")
        return cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    if not isinstance(cell, str):
        raise _refuse(where, cell, "a date such as 2026-12-01: format the column as a date")
    return _date_of(cell, rules, where).isoformat()


def _date_of(text: str, rules: CellRules, where: str) -> date:
    """Return the date of a text; refuse (``ambiguous_date``) one that could be two."""
    if match := _NAMED_DATE.fullmatch(text):
        day, name, year = match.groups()
        return _made(where, text, year, _month(name), day)
    if match := _NAMED_DATE_US.fullmatch(text):
        name, day, year = match.groups()
        return _made(where, text, year, _month(name), day)
    match = _NUMERIC_DATE.fullmatch(text)
    if match is None:
        raise _refuse(where, text, "a date such as 2026-12-01")
    first, _, second, third = match.groups()
    if len(first) == 4 and third is not None and len(third) <= 2:
        return _made(where, text, first, int(second), third)
    if len(first) > 2 or (third is not None and len(third) not in (2, 4)):
        raise _refuse(where, text, "a date such as 2026-12-01")
    if third is None:
        readings = _both(int(first), int(second), "") if not rules.dates else "the date in full"
        expected = f"a date with its year: {readings}, such as 2026-12-01"
        raise domain_error("ambiguous_date", where=where, found=repr(text), expected=expected)
    if rules.dates == "ymd":
        if len(third) != 2:
            raise _refuse(where, text, "year, month and day in this order, as stated (dates=ymd)")
        return _made(where, text, f"20{first.zfill(2)}", int(second), third)
    if len(third) == 2 and rules.dates is None:
        expected = f"a year of four digits, or the order stated: dates=dmy, mdy or ymd; {_both(int(first), int(second), '20' + third)}"
        raise domain_error("ambiguous_date", where=where, found=repr(text), expected=expected)
    year, one, two = third.zfill(4) if len(third) == 4 else f"20{third}", int(first), int(second)
    if rules.dates == "dmy" or (rules.dates is None and one > 12):
        return _made(where, text, year, two, one)
    if rules.dates == "mdy" or two > 12 or one == two:
        return _made(where, text, year, one, two)
    expected = f"one date: {_both(one, two, year)}"
    raise domain_error("ambiguous_date", where=where, found=repr(text), expected=expected)


def _both(one: int, two: int, year: str) -> str:
    """Name both readings of two numbers, and the parameter that chooses."""
    named = []
    for order, day, month in (("dmy", one, two), ("mdy", two, one)):
        if 1 <= month <= 12 and 1 <= day <= 31:
            named.append(f"{day} {_LONG_MONTHS[month - 1].capitalize()} {year}".strip() + f" (dates={order})")
    return " or ".join(named) or "a day and a month"


def _month(name: str) -> int:
    name = name.casefold()
    if name in _LONG_MONTHS:
        return _LONG_MONTHS.index(name) + 1
    return _MONTHS.index(name[:3]) + 1 if name in _MONTHS or name == "sept" else 0


def _made(where: str, text: str, year: Any, month: Any, day: Any) -> date:
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        raise _refuse(where, text, "a date that exists, in English or in numbers, such as 2026-12-01") from None


def _time(cell: Any, rules: CellRules, where: str) -> str:  # noqa: ARG001
    """Return a time of day as HH:MM."""
    return f"{_time_of(cell, where):%H:%M}"


def _time_of(cell: Any, where: str) -> time:
    if isinstance(cell, datetime) and cell.date() <= date(1900, 1, 1):
        cell = cell.time()
    if isinstance(cell, time):
        whole = datetime.combine(date(2000, 1, 1), cell) + timedelta(microseconds=500_000)
        return whole.time().replace(microsecond=0)
    match = _TIME.fullmatch(cell) if isinstance(cell, str) else None
    if match is None or not (match[2] or match[4]):
        raise _refuse(where, cell, "a time such as 21:00 or 9:00 pm")
    hour, minute, second = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= 12:
            raise _refuse(where, cell, "a time such as 21:00 or 9:00 pm")
        hour = hour % 12 + (12 if match[4].casefold() == "p" else 0)
    if hour > 23 or minute > 59 or second > 59:
        raise _refuse(where, cell, "a time such as 21:00 or 9:00 pm")
    return time(hour, minute, second)


def _instant(cell: Any, rules: CellRules, where: str) -> CellTime:
    if isinstance(cell, datetime):
        if not _YEARS[0] <= cell.year <= _YEARS[1]:
            raise _refuse(where, cell, "a date of the years 1900 to 2199")
        whole = (cell + timedelta(microseconds=500_000)).replace(microsecond=0)
        return CellTime(local=whole) if whole.time() != time() else joined(whole.date().isoformat(), None, rules, where)
    if isinstance(cell, date):
        return joined(cell.isoformat(), None, rules, where)
    if not isinstance(cell, str):
        raise _refuse(where, cell, "a date and time such as 2026-12-01 21:00")
    if _INSTANT.fullmatch(cell):
        return CellTime(text=cell.upper().replace(" ", "T"))
    day, wall = _parts(cell)
    on = _date_of(day, rules, where)
    return (
        CellTime(local=datetime.combine(on, _time_of(wall, where)))
        if wall
        else joined(on.isoformat(), None, rules, where)
    )


def _parts(text: str) -> tuple[str, str]:
    """Cut a text into its date and its time, which begins with the last number that has a colon, or before am and pm."""
    match = re.search(
        r"[T, ]+([0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?(?: ?[ap]\.?m\.?)?|[0-9]{1,2} ?[ap]\.?m\.?)$", text, re.IGNORECASE
    )
    return (text[: match.start()], match[1]) if match else (text, "")


def joined(on: str, wall: str | None, rules: CellRules, where: str) -> CellTime:
    """Return the moment of a date and a time of their own; without a time, at the time of day that the sender states."""
    at = time.fromisoformat(wall) if wall is not None else rules.time_of_day
    if at is None:
        expected = "a time beside the date, or time_of_day=12:00 for all dates without one"
        raise domain_error("time_needed", where=where, found=repr(on), expected=expected)
    return CellTime(local=datetime.combine(date.fromisoformat(on), at))


def _day(cell: Any, rules: CellRules, where: str) -> str:  # noqa: ARG001
    name = cell.casefold().rstrip(".") if isinstance(cell, str) else ""
    if name in _LONG_DAYS:
        return name[:3]
    if name not in (*WEEKDAYS, "tues", "weds", "thur", "thurs"):
        raise _refuse(where, cell, "a day in English, such as Mon or Tuesday")
    return name[:3]


def _yes(cell: Any, rules: CellRules, where: str) -> bool:
    text = _text(cell, rules, where).casefold()
    if text not in _YES + _NO:
        raise _refuse(where, cell, "yes or no")
    return text in _YES


def _list(cell: Any, rules: CellRules, where: str) -> list[str]:
    """Return the words of a cell: with spaces, semicolons or lines between, or commas that are no decimal commas.

    A comma before a space separates, and one between amounts with decimal points, or between words without digits.
    """
    words = re.split(r"[\s;|]+|,(?=\s|$)", _text(cell, rules, where))
    return [part for word in words if word for part in (word.split(",") if _COMMAS_BETWEEN.fullmatch(word) else [word])]


_COMMAS_BETWEEN = re.compile(r"[^,.]+\.[^,.]+(,[^,.]+\.[^,.]+)+|[^,0-9]+(,[^,0-9]+)+")


def _meters(cell: Any, rules: CellRules, where: str) -> list[dict[str, Any]]:
    """Return the meters of a table: ``cash money 0.25 7; plays games 6``, then perhaps ``at_collection``."""
    found = []
    for part in filter(None, (piece.strip() for piece in _text(cell, rules, where).split(";"))):
        words = part.split()
        resets = words.pop() if words[-1] in ("never", "at_collection") else "never"
        wanted = 4 if words[1:2] == ["money"] else 3
        if len(words) != wanted or not words[-1].isdecimal():
            expected = "each meter as its name, money and the value of a count, or games or minutes, and its digits: cash money 0.25 7"
            raise _refuse(where, part, expected)
        meter: dict[str, Any] = {"name": words[0], "counts": words[1], "digits": int(words[-1][:3]), "resets": resets}
        found.append(meter | ({"unit_value": _number(words[2], rules, where)} if wanted == 4 else {}))
    return found


_READERS: dict[Reads, Callable[[Any, CellRules, str], Any]] = {
    "text": _text,
    "count": _count,
    "decimal": _decimal,
    "amount": _amount,
    "date": _date,
    "time": _time,
    "instant": _instant,
    "day": _day,
    "yes": _yes,
    "list": _list,
    "meters": _meters,
}


def rules_in_words(rules: CellRules) -> list[str]:
    """Return the rules by which the cells of a file are read, for its preview."""
    orders = {"dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day"}
    marks = {"comma": "a comma", "point": "a point"}
    dates = (
        f"{orders[rules.dates]}, as stated" if rules.dates else "read where they can only be one date; else asked about"
    )
    numbers = (
        f"{marks[rules.decimals]} before the decimals, as stated"
        if rules.decimals
        else "1.234,50 and 1,234.50 are read; 1,234 is asked about"
    )
    at = f"{rules.time_of_day:%H:%M}, as stated" if rules.time_of_day else "asked about"
    return [
        f"Dates: 2026-12-01, or with the month in English. In numbers such as 03/04/2026: {dates}.",
        f"Numbers and amounts: {numbers}. A currency sign or code must be that of the venue.",
        f"Times are of the venue's clock: 21:00 or 9:00 pm; in an hour that comes twice, the first. A date without a time: {at}.",
        "Days: in English, in full or short.",
        "Empty cells: the field is absent. Formulas are refused.",
    ]
