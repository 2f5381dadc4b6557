"""Lines of a file as the messages that the API takes. Values in, values out.

- A unit is what one message makes: mostly one line; a tariff's prices, or the boxes of one collection, are several.
- I2: a unit is known by its key: the column ``key`` where there is one, else what names it (a venue's name, a table's
  venue and label, a reading's table and time, …). Its digest is of all that it says: the same key with another digest
  is a corrected line, and a key that occurs twice in one file is refused.
- One refusal names all mistakes of a line. A unit with a wrong line is refused whole.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from functools import cached_property
from typing import Any

from ..pricing.errors import DomainError, Fault
from ..pricing.money import exponent
from .cells import Cell, CellRules, CellTime, joined, read_cell
from .columns import Of, field_named
from .known_names import Places, TableHere, VenueHere, folded


@dataclass(frozen=True, slots=True)
class FileLine:
    """A line of a file: its number, and its cells by field."""

    line: int
    cells: Mapping[str, Cell]


@dataclass
class Unit:
    """What one message makes: its key, its lines, where it is (``at``: ids of a venue or table), and its message."""

    key: str
    lines: tuple[int, ...]
    at: dict[str, str]
    body: dict[str, Any]

    @cached_property
    def digest(self) -> str:
        """Return the digest of all that the unit says."""
        said = json.dumps([self.at, self.body], sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(said.encode()).hexdigest()[:32]


@dataclass(slots=True)
class FileUnits:
    """The units of a file, the lines that are refused and why, and the lines that only repeat another."""

    units: list[Unit] = field(default_factory=list)
    refused: dict[int, DomainError] = field(default_factory=dict)
    repeated: list[int] = field(default_factory=list)


KeysSeen = dict[str, tuple[int, str]]
"""The keys met in a file so far: the line and the digest of each."""


class LineReader:
    """Reads the cells of one line, and keeps all that is wrong with them."""

    def __init__(self, of: Of, line: FileLine, rules: CellRules) -> None:
        self.of, self.line, self.rules = of, line, rules
        self.faults: list[Fault] = []

    def get(self, name: str) -> Any:
        """Return the value of a field, or None where its cell is empty, absent or wrong."""
        cell = self.line.cells.get(name)
        known = None if cell is None or cell == "" else field_named(self.of, name)
        if known is None:
            return None
        try:
            return read_cell(cell, known.reads, self.rules, where=name)
        except DomainError as error:
            self.faults.extend(error.faults)
            return None

    def need(self, name: str) -> Any:
        """Return the value of a field; an empty one is a mistake."""
        before = len(self.faults)
        value = self.get(name)
        if value is None and len(self.faults) == before:
            self.faults.append(Fault("empty_cell", name, "an empty cell", "a value: this column is required"))
        return value

    def family(self, name: str) -> dict[str, Any]:
        """Return the members of a family that have a value: ``{"cash": 10420}`` of ``meter cash``."""
        members = (column for column in self.line.cells if column.startswith(f"{name} "))
        found = {column.partition(" ")[2].replace(" ", "_"): self.get(column) for column in members}
        return {member: value for member, value in found.items() if value is not None}

    def amount(self, name: str, currency: str | None, *, needed: bool = False) -> str | None:
        """Return an amount; refuse (``currency_differs``) a sign or code of another currency."""
        found = self.need(name) if needed else self.get(name)
        if found is None:
            return None
        text, allowed = found
        if allowed is not None and currency is not None and currency not in allowed:
            sold = " or ".join(sorted(allowed)[:3])
            self.faults.append(Fault("currency_differs", name, sold, f"{currency}, or no sign"))
        return _padded(text, currency)

    def venue(self, places: Places, *, needed: bool = True) -> VenueHere | None:
        """Return the venue that the line names."""
        name = self.need("venue") if needed else self.get("venue")
        return None if name is None else self._found(lambda: places.venue(name))

    def table(self, places: Places, venue: VenueHere | None) -> TableHere | None:
        """Return the table that the line names."""
        name = self.need("table")
        return None if name is None else self._found(lambda: places.table(name, venue))

    def moment(self, base: str, venue: VenueHere | None, *, needed: bool = False) -> str | None:
        """Return an instant: from one column (``taken_at``), or from a date and a time (``taken_on``, ``taken_time``)."""
        before = len(self.faults)
        moment: CellTime | None = self.get(f"{base}_at")
        if moment is None and (on := self.get(f"{base}_on")) is not None:
            wall = self.get(f"{base}_time")
            moment = self._found(lambda: joined(on, wall, self.rules, f"{base}_on"))
        if moment is None:
            if needed and len(self.faults) == before:
                self.faults.append(Fault("empty_cell", f"{base}_at", "an empty cell", "a date and time"))
            return None
        offset = self.get(f"{base}_at_offset")
        try:
            if offset is not None and moment.local is not None:
                instant = datetime.fromisoformat(f"{moment.local.isoformat()}{offset}").astimezone(UTC)
            elif moment.text is not None:
                instant = datetime.fromisoformat(moment.text).astimezone(UTC)
            elif venue is not None and moment.local is not None:
                instant = venue.calendar.resolve(moment.local)
            else:
                return None
        except (ValueError, OverflowError):
            self.faults.append(
                Fault(
                    "unreadable_cell", f"{base}_at", repr(moment.text or offset), "a date, time and offset that exist"
                )
            )
            return None
        return instant.isoformat().replace("+00:00", "Z")

    def _found(self, find: Callable[[], Any]) -> Any:
        try:
            return find()
        except DomainError as error:
            self.faults.extend(error.faults)
            return None


@dataclass(slots=True)
class _Group:
    """The lines of one unit, read so far."""

    at: dict[str, str]
    lines: list[int] = field(default_factory=list)
    parts: list[dict[str, Any]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def read_units(of: Of, lines: Iterable[FileLine], places: Places, rules: CellRules, *, seen: KeysSeen) -> FileUnits:
    """Return the units of some lines, and what is wrong with the others; ``seen`` remembers the keys of the file."""
    read, build = _KINDS[of]
    found = FileUnits()
    groups: dict[str, _Group] = {}
    loose = 0
    for line in lines:
        reader = LineReader(of, line, rules)
        key, at, part = read(reader, places)
        if key is None or (of not in _GROUPED and (reader.faults or key in groups)):
            loose += 1
            key = f"{key or ''}\n{loose}"  # a unit of its own: it is refused, or compared with the first by its key
        group = groups.setdefault(key, _Group(at))
        group.lines.append(line.line)
        group.parts.append(part)
        several = of in _GROUPED
        group.faults += [fault.within(f"line {line.line}") if several else fault for fault in reader.faults]
    for key, group in groups.items():
        _close(of, key.partition("\n")[0], group, build, found, seen)
    return found


def _close(of: Of, key: str, group: _Group, build: Callable[..., Any], found: FileUnits, seen: KeysSeen) -> None:
    """Make the unit of a group, or refuse its lines."""
    try:
        if group.faults:
            raise DomainError(*group.faults)
        unit = Unit(key, tuple(group.lines), group.at, build(group.parts))
        first, digest = seen.setdefault(key, (group.lines[0], unit.digest))
        if first == group.lines[0]:
            found.units.append(unit)
        elif of == "readings" and digest == unit.digest:
            found.repeated += group.lines
        else:
            raise DomainError(
                Fault("twice_in_file", f"line {group.lines[0]}", f"named in line {first} too", "each once")
            )
    except DomainError as error:
        found.refused |= dict.fromkeys(group.lines, error)


MessagePart = tuple[str | None, dict[str, str], dict[str, Any]]


def _own_key(reader: LineReader, *names: str | None) -> str | None:
    """Return the key of a line: its own, else what names it; None where part of that is missing."""
    own = reader.get("key")
    if own is not None:
        return f"key:{folded(str(own))}"
    return None if None in names else "/".join(folded(name or "") for name in names)


def _stated(**values: Any) -> dict[str, Any]:
    """Return what is stated: the values that are not None."""
    return {name: value for name, value in values.items() if value is not None}


def _venue(reader: LineReader, places: Places) -> MessagePart:  # noqa: ARG001
    texts = ("address", "contact", "legal_name", "payee", "tax_number", "tax_area", "notes")
    name, currency = reader.need("name"), reader.need("currency")
    body = _stated(
        name=name,
        time_zone=reader.need("time_zone"),
        currency=None if currency is None else currency.upper(),
        day_starts_at=reader.get("day_starts_at"),
        **{text: reader.get(text) for text in texts},
    )
    return _own_key(reader, name), {}, body


def _table(reader: LineReader, places: Places) -> MessagePart:
    venue, label = reader.venue(places), reader.need("label")
    currency = None if venue is None else venue.currency
    power = _stated(
        kind=_word(reader, "power"),
        chemistry=_word(reader, "chemistry"),
        nominal_volts=reader.get("nominal_volts"),
        capacity_ah=reader.get("capacity_ah"),
    )
    box = _stated(
        coins_max=reader.get("coins_max"),
        notes_max=reader.get("notes_max"),
        value_max=reader.amount("value_max", currency),
    )
    licence = _stated(number=reader.get("licence_number"), expires_on=reader.get("licence_expires_on"))
    accepts = reader.need("accepts")
    body = _stated(
        label=label,
        frame_number=reader.get("frame_number"),
        accepts=None if accepts is None else [_denomination(reader, coin, currency) for coin in accepts],
        placed_at=reader.moment("placed", venue),
        power=power or None,
        meters=reader.get("meters"),
        cash_box=box or None,
        licence=licence or None,
    )
    return _own_key(reader, None if venue is None else venue.id, label), {"venue_id": venue.id if venue else ""}, body


def _tariff(reader: LineReader, places: Places) -> MessagePart:  # noqa: ARG001
    code, sells = reader.need("code"), _word(reader, "sells", needed=True)
    currency = reader.need("currency")
    free = sells == "free"
    if sells not in (None, "games", "minutes", "free"):
        reader.faults.append(Fault("unreadable_cell", "sells", repr(sells[:40]), "games, minutes or free"))
    part = _stated(
        name=reader.need("name"),
        currency=None if currency is None else currency.upper(),
        sells=sells,
        price=reader.amount("price", None if currency is None else currency.upper(), needed=not free),
        units=reader.get("units") if free else reader.need("units"),
        counting=_word(reader, "counting"),
    )
    return None if code is None else folded(code), {}, {"code": code, **part}


def _one_tariff(parts: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the tariff of the lines of one code; prices are put in order, for a sheet may be sorted by anything."""
    body: dict[str, Any] = {"code": parts[0]["code"]} | {name: _agreed(parts, name) for name in ("name", "currency")}
    for sells in dict.fromkeys(part["sells"] for part in parts):
        own = [part for part in parts if part["sells"] == sells]
        if sells == "free":
            body["free"] = True
            continue
        prices = [{"price": part["price"], "units": part["units"]} for part in own]
        counting = _agreed(own, "counting")
        prices.sort(key=lambda price: (Decimal(price["price"]), price["units"]))
        body[sells] = {"prices": prices} | ({"counting": counting} if counting else {})
    return body


def _agreement(reader: LineReader, places: Places) -> MessagePart:
    venue, from_on = reader.venue(places), reader.need("effective_on")
    currency = None if venue is None else venue.currency
    first, minimum = reader.amount("first_money", currency), reader.amount("operator_minimum", currency)
    body = _stated(
        effective_on=from_on,
        venue_percent=reader.need("venue_percent"),
        settles_on=_word(reader, "settles_on"),
        pays=_word(reader, "pays"),
        odd_unit_to=_word(reader, "odd_unit_to"),
        loan_repay_percent=reader.get("loan_repay_percent"),
    )
    if first is not None:
        name, per = reader.need("first_money_name"), _word(reader, "first_money_per", needed=True)
        starts_on = reader.get("first_money_starts_on") or from_on
        body["first_money"] = [{"name": name, "amount": first, "per": per, "starts_on": starts_on}]
    if minimum is not None:
        body["operator_minimum"] = {"amount": minimum, "kind": _word(reader, "operator_minimum_kind", needed=True)}
    key = None if venue is None or from_on is None else f"{venue.id}/{from_on}"
    return key, {"venue_id": venue.id if venue else ""}, body


def _reading(reader: LineReader, places: Places) -> MessagePart:
    venue = reader.venue(places, needed=False)
    table = reader.table(places, venue)
    at = reader.moment("taken", None if table is None else table.venue, needed=True)
    supply = _stated(
        volts=reader.get("volts"),
        temperature_c=reader.get("temperature_c"),
        rested_minutes=reader.get("rested_minutes"),
    )
    clock = _stated(weekday=reader.get("clock_day"), time=reader.get("clock_time"), date=reader.get("clock_date"))
    body = _stated(
        table_id=None if table is None else table.id,
        taken_at=at,
        supply=supply or None,
        clock=clock or None,
        meters=reader.family("meter") or None,
        controller_version=reader.get("controller_version"),
        done=reader.get("done") or None,
        note=reader.get("note"),
    )
    return _own_key(reader, None if table is None else table.id, at), {}, body


_OF_THE_COLLECTION = ("collector", "witness", "bag", "seal")


def _box(reader: LineReader, places: Places) -> MessagePart:
    venue = reader.venue(places)
    table = reader.table(places, venue)
    at = reader.moment("collected", venue, needed=True)
    currency = None if venue is None else venue.currency
    counted = {_padded(coin, currency): number for coin, number in reader.family("counted").items()}
    money = ("refunds_from_box", "refunds_by_venue", "test_money", "house_money")
    box = _stated(
        table_id=None if table is None else table.id,
        counted=counted,
        meters=reader.family("meter") or None,
        test_games=reader.get("test_games"),
        **{name: reader.amount(name, currency) for name in money},
    )
    part = {"venue_id": venue and venue.id, "collected_at": at, "box": box}
    part |= {name: reader.get(name) for name in _OF_THE_COLLECTION}
    return _own_key(reader, None if venue is None else venue.id, at), {}, part


def _one_collection(parts: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the collection of the boxes of one venue and time, or of one key."""
    shared = {name: _agreed(parts, name) for name in ("venue_id", "collected_at", *_OF_THE_COLLECTION)}
    return _stated(**shared) | {"tables": [part["box"] for part in parts]}


def _opening(reader: LineReader, places: Places) -> MessagePart:
    venue = reader.venue(places, needed=False)
    account, currency = _word(reader, "account", needed=True), reader.get("currency")
    currency = currency.upper() if currency else venue.currency if venue else None
    body = _stated(
        kind="opening",
        account=account,
        venue_id=None if venue is None else venue.id,
        amount=reader.amount("amount", currency, needed=True),
        on=reader.need("on"),
        currency=currency,
        reference=reader.get("reference"),
    )
    key = _own_key(reader, account, "" if venue is None else venue.id, currency or "")
    return key, {}, body


def _only(parts: list[dict[str, Any]]) -> dict[str, Any]:
    (part,) = parts
    return part


_GROUPED = ("tariffs", "collections")
_KINDS: dict[
    Of, tuple[Callable[[LineReader, Places], MessagePart], Callable[[list[dict[str, Any]]], dict[str, Any]]]
] = {
    "venues": (_venue, _only),
    "tables": (_table, _only),
    "tariffs": (_tariff, _one_tariff),
    "agreements": (_agreement, _only),
    "readings": (_reading, _only),
    "collections": (_box, _one_collection),
    "opening_balances": (_opening, _only),
}


def _agreed(parts: list[dict[str, Any]], name: str) -> Any:
    """Return what all lines of a unit say of a field; refuse (``lines_disagree``) two answers."""
    said = list(dict.fromkeys(part[name] for part in parts if part.get(name) is not None))
    if len(said) > 1:
        found = " and ".join(repr(str(value)[:40]) for value in said[:3])
        raise DomainError(Fault("lines_disagree", name, found, "the same in all lines that belong together"))
    return said[0] if said else None


def _word(reader: LineReader, name: str, *, needed: bool = False) -> str | None:
    """Return a word of the API's own lists: in small letters, with underscores."""
    text = reader.need(name) if needed else reader.get(name)
    return None if text is None else text.casefold().replace(" ", "_").replace("-", "_")


def _denomination(reader: LineReader, coin: str, currency: str | None) -> str:
    try:
        text, _ = read_cell(coin, "amount", reader.rules, where="accepts")
    except DomainError as error:
        reader.faults.extend(error.faults)
        return coin
    return _padded(text, currency)


def _padded(text: str, currency: str | None) -> str:
    """Return an amount with its currency's decimals, so that 4, 4.0 and 4.00 are one; with more than it has, as it is."""
    if currency is None:
        return text
    try:
        decimals = exponent(currency)
    except DomainError:
        return text
    whole, _, part = text.partition(".")
    part = part.rstrip("0").ljust(decimals, "0") if len(part.rstrip("0")) <= decimals else part
    return f"{whole}.{part}" if part else whole
