"""The columns that each kind of import has, and which column of a file is which. Values in, values out.

- I1: a column is known by its header (any case, spaces for underscores), by another name that people give it, or
  because the sender says so; what the sender says wins. A header that nobody knows is refused, never passed over:
  the sender leaves it out by name.
- Some fields are families: ``meter cash`` is the meter ``cash``, ``counted 0.25`` the number of quarters.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from ..pricing.errors import DomainError, Fault, domain_error

Of = Literal["venues", "tables", "tariffs", "agreements", "readings", "collections", "opening_balances"]
Reads = Literal["text", "count", "decimal", "amount", "date", "time", "instant", "day", "yes", "list", "meters"]
ColumnFoundBy = Literal["header", "stated", "remembered", "left_out"]

LEFT_OUT = "-"
"""What the sender states of a column that is not to be read."""

COLUMNS_MAX = 80


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a kind: its name, how its cells are read, other headers that mean it, what it says, an example."""

    name: str
    reads: Reads
    says: str
    example: str = ""
    also: tuple[str, ...] = ()
    required: bool = False
    is_family: bool = False


def _field(name: str, reads: Reads, says: str, example: str = "", *also: str, required: bool = False) -> Field:
    return Field(name, reads, says, example, also, required)


_KEY = _field(
    "key", "text", "A number or name of your own that never changes: a line is known by it.", "", "id", "line id"
)
_VENUE = _field(
    "venue", "text", "The venue's name, or its id.", "The Copper Lantern", "location", "place", required=True
)
_VENUE_IF = _field(
    "venue",
    "text",
    "The venue's name; needed where two tables have one label.",
    "The Copper Lantern",
    "location",
    "place",
)
_TABLE = _field(
    "table",
    "text",
    "The table's label, the number on its frame, or its id.",
    "Window side",
    "label",
    "frame number",
    "frame",
    required=True,
)
_METER = Field("meter", "count", "What a meter shows: a column for each, such as meter cash.", "", is_family=True)
_COUNTED = Field(
    "counted", "count", "How many of a coin or note: a column for each, such as counted 0.25.", "", is_family=True
)

FIELDS_BY_KIND: dict[Of, tuple[Field, ...]] = {
    "venues": (
        _KEY,
        _field("name", "text", "What people call the venue.", "The Copper Lantern", "venue", "venue name", required=True),
        _field("time_zone", "text", "A name of the IANA time zone database.", "America/New_York", "zone", required=True),
        _field("currency", "text", "The ISO 4217 code of its currency.", "USD", required=True),
        _field("day_starts_at", "time", "When its trading day begins; empty: 06:00.", "06:00"),
        _field("address", "text", "Where the venue is.", "14 Quarry Street"),
        _field("contact", "text", "Whom to call, and how.", "Odile, 555-0142", "phone"),
        _field("legal_name", "text", "The legal name of the person or firm that runs the venue.", ""),
        _field("payee", "text", "Whom payments are made out to.", ""),
        _field("tax_number", "text", "The payee's tax number.", "", "tax id"),
        _field("tax_area", "text", "The code of its tax area.", ""),
        _field("notes", "text", "Anything worth knowing before a visit.", "", "note", "remarks"),
    ),
    "tables": (
        _KEY,
        _VENUE,
        _field("label", "text", "What people call the table.", "Window side", "table", "name", required=True),
        _field("frame_number", "text", "The number on its frame.", "F-118", "frame", "serial number"),
        _field("accepts", "list", "The coins and notes that it takes, with spaces between.", "0.25 1.00 5.00", "coins", required=True),
        _field("placed_at", "instant", "Since when it has been there; empty: since now.", "2024-03-05 12:00", "placed on", "since"),
        _field("placed_at_offset", "text", "The offset of placed_at from UTC, as our own exports write it.", ""),
        _field("power", "text", "battery or mains.", "battery"),
        _field("chemistry", "text", "flooded, agm, gel or unknown.", "agm"),
        _field("nominal_volts", "count", "6 or 12.", "12"),
        _field("capacity_ah", "decimal", "The battery's capacity in ampere-hours.", "9", "battery ah"),
        _field("meters", "meters", "Each meter as name, what it counts, value of a count for money, digits; with ; between.",
               "cash money 0.25 7; plays games 6"),
        _field("coins_max", "count", "How many coins its box holds.", "3000"),
        _field("notes_max", "count", "How many notes its box holds.", ""),
        _field("value_max", "amount", "The most money that its box should hold.", ""),
        _field("licence_number", "text", "The number of its licence or permit.", "", "licence", "license", "license number", "permit"),
        _field("licence_expires_on", "date", "The last day of that licence.", "", "licence expires", "license expires"),
    ),
    "tariffs": (
        _field("code", "text", "A short name of the tariff; its prices are all the lines of one code.", "weekday", required=True),
        _field("name", "text", "What people call it.", "Weekday play", "tariff", required=True),
        _field("currency", "text", "The ISO 4217 code of its amounts.", "USD", required=True),
        _field("sells", "text", "games, minutes, or free.", "games", "kind", "unit", required=True),
        _field("price", "amount", "What the units cost; empty where play is free.", "4.00", "amount"),
        _field("units", "count", "How many games or minutes the price buys.", "6", "games or minutes", "quantity"),
        _field("counting", "text", "How the controller counts: repeat, climb or climb_once; empty: repeat.", "repeat"),
    ),
    "agreements": (
        _VENUE,
        _field("effective_on", "date", "The trading date from which it is in force.", "2026-01-01", "from", "starts on", required=True),
        _field("venue_percent", "decimal", "The venue's share in per cent.", "50", "share", "percent", "venue share", required=True),
        _field("settles_on", "text", "counted, expected or higher; empty: counted.", "counted"),
        _field("pays", "text", "at_visit or monthly; empty: at_visit.", "at_visit"),
        _field("odd_unit_to", "text", "Who gets the odd cent: operator or venue; empty: operator.", ""),
        _field("loan_repay_percent", "decimal", "The part of the venue's share that repays its loan.", ""),
        _field("first_money", "amount", "An amount that the operator takes first.", "10.00", "service charge"),
        _field("first_money_name", "text", "What that amount is for.", "Service charge"),
        _field("first_money_per", "text", "collection, week, month, year or once.", "collection"),
        _field("first_money_starts_on", "date", "The first day of its first period; empty: effective_on.", ""),
        _field("operator_minimum", "amount", "The least that the operator has of each collection.", "", "minimum"),
        _field("operator_minimum_kind", "text", "front or guarantee.", ""),
    ),
    "readings": (
        _KEY,
        _TABLE,
        _VENUE_IF,
        _field("taken_at", "instant", "Date and time on the venue's clock.", "2026-11-20 17:40", "read at", "date and time", "timestamp"),
        _field("taken_at_offset", "text", "The offset of taken_at from UTC, as our own exports write it.", ""),
        _field("taken_on", "date", "The date, where the time has a column of its own.", "", "date", "read on", "date read"),
        _field("taken_time", "time", "The time, where the date has a column of its own.", "", "time"),
        _METER,
        _field("volts", "decimal", "The supply voltage.", "12.62", "voltage", "battery", "battery volts"),
        _field("temperature_c", "decimal", "The battery's temperature in degrees Celsius.", "18", "temperature"),
        _field("rested_minutes", "count", "For how long the battery had been at rest.", ""),
        _field("clock_day", "day", "The weekday that the table's clock showed.", "fri", "clock weekday"),
        _field("clock_time", "time", "The time that the table's clock showed.", "17:44"),
        _field("clock_date", "date", "The date that the table's clock showed.", ""),
        _field("controller_version", "text", "The version that the controller showed.", "", "version"),
        _field("done", "list", "Work done, such as clock_set battery_charged.", ""),
        _field("note", "text", "Anything else.", "", "notes", "remarks"),
    ),
    "collections": (
        _KEY,
        _VENUE,
        _TABLE,
        _field("collected_at", "instant", "Date and time on the venue's clock.", "2026-11-20 17:40", "emptied at"),
        _field("collected_at_offset", "text", "The offset of collected_at from UTC, as our own exports write it.", ""),
        _field("collected_on", "date", "The date, where the time has a column of its own.", "", "date", "emptied on"),
        _field("collected_time", "time", "The time, where the date has a column of its own.", "", "time"),
        _COUNTED,
        _METER,
        _field("collector", "text", "Who collected.", "Rosalind", "collected by"),
        _field("witness", "text", "Who counted too.", ""),
        _field("bag", "text", "The bag that the money went into.", "B-204", "bag number"),
        _field("seal", "text", "The number of the bag's seal.", "", "seal number"),
        _field("refunds_from_box", "amount", "Refunds paid out of the box.", "", "refunds"),
        _field("refunds_by_venue", "amount", "Refunds that the venue paid.", ""),
        _field("test_games", "count", "Games started without money, to try the table.", ""),
        _field("test_money", "amount", "The operator's money put in to try the table.", ""),
        _field("house_money", "amount", "The venue's money put in to start play.", ""),
    ),
    "opening_balances": (
        _KEY,
        _field("account", "text", "bank, cash_in_bags, tax_payable, owed_to_venues or venue_loans.", "bank", required=True),
        _field("venue", "text", "The venue, for owed_to_venues and venue_loans.", ""),
        _field("amount", "amount", "The balance, above 0.", "1250.00", "balance", required=True),
        _field("on", "date", "The date on which the books begin.", "2026-01-01", "date", required=True),
        _field("currency", "text", "The ISO 4217 code; needed where venues have several.", ""),
        _field("reference", "text", "Where the amount comes from.", "", "note", "notes"),
    ),
}  # fmt: skip
"""The fields of each kind, in the order of its template."""

ONE_OF: dict[Of, tuple[tuple[str, ...], ...]] = {
    "readings": (("taken_at", "taken_on"),),
    "collections": (("collected_at", "collected_on"), ("counted",)),
}
"""Of each of these groups a file needs one column at least."""

_METER_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}", re.ASCII)
_DENOMINATION = re.compile(r"[0-9]{1,12}(?:[.,][0-9]{1,4})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a file: its header, the field that it is (None: left out), and who said so."""

    header: str
    field: str | None
    by: ColumnFoundBy


def field_named(of: Of, name: str) -> Field | None:
    """Return the field with this name, for a family by its member (``meter cash``); None where there is none."""
    head, _, rest = name.partition(" ")
    for field in FIELDS_BY_KIND[of]:
        if field.is_family and field.name == head and _is_member(head, rest):
            return field
        if field.name == name and not field.is_family:
            return field
    return None


def match_columns(
    of: Of, headers: Sequence[str], *, stated: Mapping[str, str], remembered: Mapping[str, str]
) -> tuple[Column, ...]:
    """Return what each column of a file is.

    ``stated`` and ``remembered`` map headers to fields (``-``: leave it out). Refuses (``no_header``) a first line that
    names nothing known, and (``unknown_column``, ``column_twice``, ``missing_column``) all that is wrong with the rest.
    """
    plain = {_plain(header): field for header, field in stated.items()}
    before = {_plain(header): field for header, field in remembered.items()}
    columns: list[Column] = []
    faults: list[Fault] = []
    for header in headers:
        name = _plain(header)
        by: ColumnFoundBy = "stated" if name in plain else "remembered" if name in before else "header"
        field = plain.get(name) or before.get(name) or _guess(of, name)
        if field == LEFT_OUT:
            columns.append(Column(header, None, "left_out"))
        elif field is None or field_named(of, field) is None:
            faults.append(_unknown(of, header, field))
        else:
            columns.append(Column(header, field, by))
    if not columns:
        expected = f"a first line of column names, such as {', '.join(_needed(of))}"
        raise domain_error("no_header", where="line 1", found=_shown(headers), expected=expected)
    absent = [header for header in stated if _plain(header) not in {_plain(one) for one in headers}]
    faults += [Fault("unknown_column", "columns", repr(name[:60]), "a column of the file") for name in absent]
    faults += _twice(columns)
    faults += _missing(of, {column.field for column in columns if column.field}) if not faults else []
    if faults:
        raise DomainError(*faults)
    return tuple(columns)


def shape_of(of: Of, headers: Sequence[str]) -> str:
    """Return the name of a file's shape: the same for files of one kind with the same headers, in any order."""
    text = "\n".join(sorted(_plain(header) for header in headers))
    return f"{of}-{hashlib.sha256(text.encode()).hexdigest()[:12]}"


def template_header(of: Of) -> list[str]:
    """Return the headers of a file to fill in, as people write them; of families one or two members."""
    members = {"meter": ("meter cash", "meter plays"), "counted": ("counted 0.25", "counted 1.00", "counted 5.00")}
    fields = [field for field in FIELDS_BY_KIND[of] if not field.name.endswith("_offset")]
    names = [name for field in fields for name in (members[field.name] if field.is_family else (field.name,))]
    return [name.replace("_", " ") for name in names]


def stated_columns(text: str) -> dict[str, str]:
    """Read what a sender states of columns: ``Header:field`` with ``;`` between, ``-`` for one to leave out."""
    stated: dict[str, str] = {}
    for part in filter(None, (piece.strip() for piece in text.split(";"))):
        header, colon, field = part.rpartition(":")
        if not colon or not header.strip() or not field.strip():
            raise domain_error("invalid", where="columns", found=repr(part[:80]), expected="Header:field, or Header:-")
        stated[header.strip()] = field.strip()
    return stated


def recognised(of: Of, headers: Sequence[str]) -> int:
    """Return how many of these headers are known without being stated."""
    return sum(_guess(of, _plain(header)) is not None for header in headers)


def _guess(of: Of, name: str) -> str | None:
    for field in FIELDS_BY_KIND[of]:
        names = (_plain(field.name), *field.also)
        if not field.is_family and name in names:
            return field.name
    head, _, rest = name.partition(" ")
    family = next((field for field in FIELDS_BY_KIND[of] if field.is_family and field.name == head), None)
    if family is not None and _is_member(head, rest):
        return f"{head} {rest.replace(',', '.') if head == 'counted' else rest.replace(' ', '_')}"
    if name.endswith(" meter") and any(field.name == "meter" for field in FIELDS_BY_KIND[of]):
        meter = name.removesuffix(" meter")
        return f"meter {meter.replace(' ', '_')}" if _is_member("meter", meter) else None
    if any(field.name == "counted" for field in FIELDS_BY_KIND[of]) and _DENOMINATION.fullmatch(name):
        return f"counted {name.replace(',', '.')}"
    return None


def _is_member(family: str, rest: str) -> bool:
    if family == "counted":
        return _DENOMINATION.fullmatch(rest) is not None
    return _METER_NAME.fullmatch(rest.replace(" ", "_")) is not None


def _plain(header: str) -> str:
    """Return a header without what people write differently: case, underscores, hyphens, dots at its ends, spaces."""
    return " ".join(re.sub(r"[_\-\s]+", " ", header.casefold()).strip(" .:*").split())


def _needed(of: Of) -> list[str]:
    names = [field.name for field in FIELDS_BY_KIND[of] if field.required]
    return names + [group[0] for group in ONE_OF.get(of, ())]


def _unknown(of: Of, header: str, field: str | None) -> Fault:
    names = ", ".join(f"{one.name} …" if one.is_family else one.name for one in FIELDS_BY_KIND[of])
    if field is not None:
        return Fault("unknown_column", "columns", repr(field[:60]), f"one of {names}")
    found = repr(header[:60]) if header else "a column without a header"
    return Fault(
        "unknown_column",
        "line 1",
        found,
        f"one of {names}; or state it with columns={header[:40]}:…, or leave it out with columns={header[:40]}:-",
    )


def _twice(columns: Sequence[Column]) -> list[Fault]:
    seen: dict[str, str] = {}
    faults = []
    for column in columns:
        if column.field is None:
            continue
        if column.field in seen:
            found = f"{seen[column.field]!r} and {column.header!r}"
            faults.append(Fault("column_twice", "line 1", found[:120], f"one column for {column.field}"))
        seen.setdefault(column.field, column.header)
    return faults


def _missing(of: Of, fields: set[str]) -> list[Fault]:
    heads = {field.partition(" ")[0] for field in fields} | fields
    missing = [field.name for field in FIELDS_BY_KIND[of] if field.required and field.name not in fields]
    missing += [" or ".join(group) for group in ONE_OF.get(of, ()) if not heads & set(group)]
    return [Fault("missing_column", "line 1", "no such column", name) for name in missing]


def _shown(headers: Sequence[str]) -> str:
    return ", ".join(headers)[:80] or "an empty line"
