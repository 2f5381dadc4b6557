"""Imports: every line is stored as a request of its own would be, and has its own outcome.

- The use cases of the folders below store a line, so its problem is the API's own problem.
- A preview is the whole import in a transaction that is rolled back; so is ``mode=all`` with a refused line.
- ``import_line`` keeps the key and digest of each stored line. Only a stored key finds again what a corrected line made
  before: a reading with a wrong time, a venue with a wrong name. A line with the same key and digest is ``same``,
  even if somebody has changed what it made.
- A correction uses the API's own means: a venue or table is changed, a tariff or agreement gets its next version, a
  reading is voided or a collection or entry reversed, with the line as the reason, and the new one is recorded.
- One import at a time: locks, in this order, ``imports``, then those of the use cases.
"""

import hashlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid5

from pydantic import BaseModel, ValidationError
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from ..collections.rows import CollectionRow
from ..collections.schemas import CollectionIn
from ..collections.service import record_collection, reverse_collection
from ..ledger.queries import get_entry
from ..ledger.schemas import EntryIn
from ..ledger.service import entry_currency, post_owner_entry, reverse_entry
from ..pool_tables.profile import normal_profile
from ..pool_tables.rows import PoolTableRow
from ..pool_tables.schemas import TableChangeIn, TableIn
from ..pool_tables.service import change_table, create_table
from ..pricing import DomainError
from ..readings.admission import Sender
from ..readings.schemas import ReadingIn
from ..readings.service import record_readings, void_reading
from ..settlements.rows import AgreementRow
from ..settlements.schemas import AgreementIn
from ..settlements.service import publish_agreement
from ..store.changes import note_tables, note_venues
from ..store.db import lock
from ..tariffs.rows import TariffRow
from ..tariffs.schemas import TariffIn
from ..tariffs.service import publish_tariff
from ..venues.dated_fact import FACT_NAMES, value_on
from ..venues.rows import VenueRow
from ..venues.schemas import VenueChangeIn, VenueIn
from ..venues.service import calendar_of, change_venue, create_venue, currencies, dated_facts_of, get_venue
from ..web.batch import Unreadable
from ..web.errors import ERRORS_MAX, Problem, bound_errors, from_validation, http_problem, problem_out
from .cells import CellRules
from .columns import LEFT_OUT, Column, Of, match_columns, shape_of
from .known_names import Places, folded
from .lines_to_messages import FileLine, KeysSeen, Unit, read_units
from .queries import load_places, stored_lines
from .rows import IMPORT_LINE, ImportLineRow, ImportShapeRow
from .schemas import ImportLineOut, LineOutcome
from .table_file import OpenFile

_NAMESPACE = UUID("6f2d1f0e-7c58-5b0a-9d63-3a1c5e8b4f27")
"""Ids of lines, and of what lines make under a sender's id, are UUIDs of version 5 (RFC 9562, section 5.5) in it."""


@dataclass(frozen=True, slots=True)
class Who:
    """Who imports, and when."""

    name: str
    person: str
    now: datetime


@dataclass(slots=True)
class Imported:
    """The outcomes of some lines, and what they made or found."""

    lines: list[ImportLineOut] = field(default_factory=list)
    subjects: set[UUID] = field(default_factory=set)

    def say(self, lines: Iterable[int], outcome: LineOutcome, *, id: UUID | None = None, problem: Any = None) -> None:
        """Note the outcome of lines that belong together."""
        said = None if problem is None else problem_out(problem)
        if id is not None:
            self.subjects.add(id)
        self.lines += [ImportLineOut(line=line, outcome=outcome, id=id, problem=said) for line in lines]

    def counts(self) -> Counter[str]:
        """Return how many lines had each outcome."""
        return Counter(line.outcome for line in self.lines)


def read_columns(
    session: Session, of: Of, file: OpenFile, stated: Mapping[str, str]
) -> tuple[str, tuple[Column, ...], ImportShapeRow | None]:
    """Return the name of a file's shape, what its columns are, and what is remembered of that shape."""
    shape = shape_of(of, file.headers)
    known = session.get(ImportShapeRow, shape)
    columns = match_columns(of, file.headers, stated=stated, remembered=known.columns if known else {})
    return shape, columns, known


def rules_for(known: ImportShapeRow | None, stated: CellRules) -> CellRules:
    """Return the rules by which cells are read: those stated now, else those remembered of the file's shape."""
    dates: Any = stated.dates or (known and known.dates)
    decimals: Any = stated.decimals or (known and known.decimals)
    return CellRules(dates, decimals, stated.time_of_day)


def remember(session: Session, shape: str, columns: Iterable[Column], rules: CellRules, *, now: datetime) -> None:
    """Keep how a shape of file was read, for the next file of the same shape."""
    named = {column.header: column.field or LEFT_OUT for column in columns}
    session.merge(
        ImportShapeRow(shape=shape, columns=named, dates=rules.dates, decimals=rules.decimals, imported_at=now)
    )
    session.flush()


def file_lines(file: OpenFile, columns: Iterable[Column]) -> Iterator[FileLine]:
    """Yield the lines of a file that hold anything, each cell by its field; refuse a cell beyond the last header."""
    fields = [column.field for column in columns]
    for row in file.rows:
        if row.is_empty:
            continue
        beyond = [cell for cell in row.cells[len(fields) :] if cell not in (None, "")]
        if beyond:
            found, expected = f"{len(row.cells)} cells", f"{len(fields)}, as the header has"
            raise http_problem("unreadable_file", where=f"line {row.line}", found=found, expected=expected)
        named = zip(fields, row.cells, strict=False)
        yield FileLine(row.line, {name: cell for name, cell in named if name is not None})


def import_lines(
    session: Session, of: Of, lines: Iterable[FileLine], rules: CellRules, *, who: Who, seen: KeysSeen | None = None
) -> Imported:
    """Store some lines, each on its own; whoever calls decides whether all of it is kept."""
    lock(session, "imports")
    places = load_places(session)
    read = read_units(of, lines, places, rules, seen={} if seen is None else seen)
    known = stored_lines(session, {_line_id(of, unit.key) for unit in read.units})

    imported = Imported()
    for line, error in read.refused.items():
        imported.say([line], "refused", problem=error)
    imported.say(read.repeated, "same")
    fresh = []
    for unit in read.units:
        before = known.get(_line_id(of, unit.key))
        if before is not None and before.digest == unit.digest and _is_there(session, of, before):
            imported.say(unit.lines, "same", id=before.subject_id)
        else:
            fresh.append((unit, before))
    if of == "readings":
        _import_readings(session, fresh, imported, who=who)
    else:
        for unit, before in fresh:
            _import_unit(session, of, unit, before, imported, places=places, who=who)
    imported.lines.sort(key=lambda line: line.line)
    imported.lines = _first_refusals(imported.lines)
    return imported


def _first_refusals(outcomes: Iterable[ImportLineOut]) -> list[ImportLineOut]:
    """Return the outcomes of lines without the problems past those of the first 100 refused lines."""
    refused, kept = 0, []
    for line in bound_errors(outcomes):
        refused += line.problem is not None
        kept.append(line if refused <= ERRORS_MAX else line.model_copy(update={"problem": None}))
    return kept


def _import_unit(
    session: Session,
    of: Of,
    unit: Unit,
    before: ImportLineRow | None,
    imported: Imported,
    *,
    places: Places,
    who: Who,
) -> None:
    """Make or change what a unit says, in a savepoint: a refusal leaves nothing of it."""
    kind = _KINDS[of]
    try:
        with session.begin_nested():
            message = kind.message.model_validate(_body(of, unit, before))
            subject_id = before.subject_id if before is not None and _is_there(session, of, before) else None
            if subject_id is None:
                subject_id = kind.find(session, unit, places)
                if subject_id in imported.subjects:
                    where, found = f"line {unit.lines[0]}", "what another line of the file is about, by its name"
                    raise http_problem("twice_in_file", where=where, found=found, expected="each once")
            if subject_id is None:
                outcome: LineOutcome = "new"
                subject_id = kind.make(session, unit, message, who)
            elif kind.says(session, subject_id, unit, message, who):
                outcome = "same"
            else:
                outcome = "changed"
                subject_id = kind.change(session, subject_id, unit, message, who)
            _keep(session, of, [(unit, before, subject_id)], who=who)
    except (Problem, DomainError) as error:
        imported.say(unit.lines, "refused", problem=error)
    except ValidationError as error:
        imported.say(unit.lines, "refused", problem=from_validation(error.errors(include_url=False)))
    except IntegrityError:
        imported.say(unit.lines, "refused", problem=Problem("conflict"))
    else:
        imported.say(unit.lines, outcome, id=subject_id)


def _import_readings(
    session: Session, fresh: list[tuple[Unit, ImportLineRow | None]], imported: Imported, *, who: Who
) -> None:
    """Record readings together, as one batch of the API: thousands cost a few queries."""
    items: list[ReadingIn | Unreadable] = []
    for unit, before in fresh:
        body = _body("readings", unit, before)
        try:
            items.append(ReadingIn.model_validate(body))
        except ValidationError as error:
            items.append(Unreadable(UUID(body["id"]), error))
    recorded = record_readings(session, items, sender=Sender(who.name), now=who.now)
    kept = []
    touched = set(recorded.table_ids)
    for (unit, before), result in zip(fresh, recorded.results, strict=True):
        if result.outcome == "refused" or result.id is None:
            imported.lines += [
                ImportLineOut(line=line, outcome="refused", id=None, problem=result.problem) for line in unit.lines
            ]
            continue
        outcome: LineOutcome = "same" if result.outcome == "duplicate" else "new"
        if before is not None:
            outcome = "changed"
            touched.add(_void_before(session, before.subject_id, unit, who))
        imported.say(unit.lines, outcome, id=result.id)
        kept.append((unit, before, result.id))
    _keep(session, "readings", kept, who=who)
    note_tables(session, touched)


def _void_before(session: Session, reading_id: UUID, unit: Unit, who: Who) -> UUID:
    """Void the reading that a corrected line made before, unless somebody did; return its table."""
    try:
        row, _ = void_reading(session, reading_id, reason=_reason(unit), by=who.name, now=who.now)
        return row.pool_table_id
    except Problem as problem:
        if problem.code != "already_void":
            raise
        return UUID(unit.body["table_id"])


def _body(of: Of, unit: Unit, before: ImportLineRow | None) -> dict[str, Any]:
    """Return the message of a unit, with the id that a sender gives: from its key, what it says, and its revision."""
    if of not in ("readings", "collections"):
        return unit.body
    revision = 1 if before is None else before.revision + 1
    return {"id": str(uuid5(_NAMESPACE, f"{of}\n{unit.key}\n{unit.digest}\n{revision}")), **unit.body}


def _keep(session: Session, of: Of, kept: list[tuple[Unit, ImportLineRow | None, UUID]], *, who: Who) -> None:
    """Keep what was stored of some units, by their keys."""
    new = []
    for unit, before, subject_id in kept:
        values = {"digest": unit.digest, "subject_id": subject_id, "imported_at": who.now}
        if before is None:
            new.append({"id": _line_id(of, unit.key), "kind": of, "revision": 1, **values})
        else:
            changed = IMPORT_LINE.update().where(IMPORT_LINE.c.id == before.id)
            session.connection().execute(changed.values(revision=before.revision + 1, **values))
    if new:
        session.connection().execute(IMPORT_LINE.insert(), new)


def _line_id(of: Of, key: str) -> UUID:
    return uuid5(_NAMESPACE, f"{of}\n{hashlib.sha256(key.encode()).hexdigest()}")


def _is_there(session: Session, of: Of, before: ImportLineRow) -> bool:
    """Tell whether what a line made is still there: a venue or table never used may have been deleted since."""
    if of == "venues":
        return session.get(VenueRow, before.subject_id) is not None
    return of != "tables" or session.get(PoolTableRow, before.subject_id) is not None


def _reason(unit: Unit) -> str:
    return f"Corrected by line {unit.lines[0]} of an import."


def _never(session: Session, unit: Unit, places: Places) -> UUID | None:  # noqa: ARG001
    """Find nothing: what was recorded by other means has an id of its own."""
    return None


def _differs(session: Session, subject_id: UUID, unit: Unit, message: Any, who: Who) -> bool:  # noqa: ARG001
    """Say that a corrected line says something else: its digest already did."""
    return False


# Venues


def _find_venue(session: Session, unit: Unit, places: Places) -> UUID | None:  # noqa: ARG001
    named = [UUID(venue.id) for venue in places.venues.get(folded(unit.body["name"]), [])]
    if len(named) > 1:
        found = f"{len(named)} venues of this name"
        raise http_problem(
            "ambiguous_name", where="name", found=found, expected="one: change the names in the service first"
        )
    return named[0] if named else None


def _make_venue(session: Session, unit: Unit, message: VenueIn, who: Who) -> UUID:  # noqa: ARG001
    return create_venue(session, message, now=who.now).id


def _venue_says(session: Session, venue_id: UUID, unit: Unit, message: VenueIn, who: Who) -> bool:  # noqa: ARG001
    row = get_venue(session, venue_id)
    facts, today = dated_facts_of(session, [venue_id])[venue_id], calendar_of(row).trading_day(who.now)
    values = message.model_dump()
    return all(
        value == ((value_on(facts, name, today) or "") if name in FACT_NAMES else getattr(row, name))
        for name, value in values.items()
    )


def _change_venue(session: Session, venue_id: UUID, unit: Unit, message: VenueIn, who: Who) -> UUID:  # noqa: ARG001
    change = VenueChangeIn.model_validate(message.model_dump(mode="json"))
    change_venue(session, venue_id, change, if_match="*", now=who.now)
    note_venues(session, [venue_id])
    return venue_id


# Tables


def _find_table(session: Session, unit: Unit, places: Places) -> UUID | None:  # noqa: ARG001
    here = select(PoolTableRow).where(PoolTableRow.venue_id == UUID(unit.at["venue_id"]))
    named = [row.id for row in session.exec(here) if folded(row.label) == folded(unit.body["label"])]
    if len(named) > 1:
        found = f"{len(named)} tables of this label at the venue"
        raise http_problem(
            "ambiguous_name", where="label", found=found, expected="one: change the labels in the service first"
        )
    return named[0] if named else None


def _make_table(session: Session, unit: Unit, message: TableIn, who: Who) -> UUID:
    row = create_table(session, UUID(unit.at["venue_id"]), message, now=who.now)
    note_tables(session, [row.id])
    return row.id


def _table_says(session: Session, table_id: UUID, unit: Unit, message: TableIn, who: Who) -> bool:  # noqa: ARG001
    row = session.get_one(PoolTableRow, table_id)
    venue = get_venue(session, UUID(unit.at["venue_id"]))
    stated = message.model_dump(exclude={"label", "placed_at"}, by_alias=True, mode="json")
    profile = normal_profile({**row.profile, **stated}, venue.currency)
    return row.venue_id == venue.id and row.label == message.label and profile == row.profile


def _change_table(session: Session, table_id: UUID, unit: Unit, message: TableIn, who: Who) -> UUID:  # noqa: ARG001
    row = session.get_one(PoolTableRow, table_id)
    if str(row.venue_id) != unit.at["venue_id"]:
        expected = "the venue where the table is; record a move with POST /v1/tables/{table_id}/moves"
        raise http_problem(
            "invalid", where="venue", found=get_venue(session, UUID(unit.at["venue_id"])).name, expected=expected
        )
    values = message.model_dump(exclude={"placed_at"}, by_alias=True, mode="json")
    change_table(session, table_id, TableChangeIn.model_validate(values), if_match="*")
    note_tables(session, [table_id])
    return table_id


# Tariffs and agreements


def _latest_tariff(session: Session, named: str) -> TariffRow | None:
    query = select(TariffRow).where(TariffRow.code == named).order_by(col(TariffRow.version).desc()).limit(1)
    return session.exec(query).first()


def _find_tariff(session: Session, unit: Unit, places: Places) -> UUID | None:  # noqa: ARG001
    row = _latest_tariff(session, unit.body["code"])
    return None if row is None else row.id


def _make_tariff(session: Session, unit: Unit, message: TariffIn, who: Who) -> UUID:  # noqa: ARG001
    return publish_tariff(session, message, now=who.now).id


def _tariff_says(session: Session, tariff_id: UUID, unit: Unit, message: TariffIn, who: Who) -> bool:  # noqa: ARG001
    row = _latest_tariff(session, message.code)
    return row is not None and row.terms == message.model_dump(mode="json")


def _next_tariff(session: Session, tariff_id: UUID, unit: Unit, message: TariffIn, who: Who) -> UUID:  # noqa: ARG001
    return _make_tariff(session, unit, message, who)


def _latest_agreement(session: Session, venue_id: UUID, from_on: date) -> AgreementRow | None:
    query = select(AgreementRow).where(AgreementRow.venue_id == venue_id, AgreementRow.effective_on == from_on)
    return session.exec(query.order_by(col(AgreementRow.version).desc()).limit(1)).first()


def _find_agreement(session: Session, unit: Unit, places: Places) -> UUID | None:  # noqa: ARG001
    row = _latest_agreement(session, UUID(unit.at["venue_id"]), date.fromisoformat(unit.body["effective_on"]))
    return None if row is None else row.id


def _make_agreement(session: Session, unit: Unit, message: AgreementIn, who: Who) -> UUID:
    return publish_agreement(session, UUID(unit.at["venue_id"]), message, now=who.now).id


def _agreement_says(session: Session, agreement_id: UUID, unit: Unit, message: AgreementIn, who: Who) -> bool:  # noqa: ARG001
    row = _latest_agreement(session, UUID(unit.at["venue_id"]), message.effective_on)
    return row is not None and row.terms == message.model_dump(mode="json", by_alias=True)


def _next_agreement(session: Session, agreement_id: UUID, unit: Unit, message: AgreementIn, who: Who) -> UUID:  # noqa: ARG001
    return _make_agreement(session, unit, message, who)


# Collections and opening balances


def _make_collection(session: Session, unit: Unit, message: CollectionIn, who: Who) -> UUID:  # noqa: ARG001
    row, _ = record_collection(session, message, now=who.now, by=who.name, person=who.person)
    return row.id


def _correct_collection(session: Session, collection_id: UUID, unit: Unit, message: CollectionIn, who: Who) -> UUID:
    if session.get(CollectionRow, collection_id) is not None:
        try:
            reverse_collection(session, collection_id, reason=_reason(unit), now=who.now, by=who.name)
        except Problem as problem:
            if problem.code != "already_reversed":
                raise
    return _make_collection(session, unit, message, who)


def _post_opening(session: Session, unit: Unit, message: EntryIn, who: Who) -> UUID:
    venue_id = unit.body.get("venue_id")
    of_venue = None if venue_id is None else get_venue(session, UUID(venue_id)).currency
    currency = entry_currency(message, venue_currency=of_venue, known=currencies(session))
    posted, _ = post_owner_entry(session, message, currency=currency, now=who.now)
    return UUID(posted.id)


def _correct_opening(session: Session, entry_id: UUID, unit: Unit, message: EntryIn, who: Who) -> UUID:
    on = get_entry(session, entry_id).on
    try:
        reverse_entry(session, entry_id, on=on, reference=_reason(unit), now=who.now)
    except Problem as problem:
        if problem.code != "already_reversed":
            raise
    return _post_opening(session, unit, message, who)


@dataclass(frozen=True, slots=True)
class _Kind:
    """How one kind is stored: its message, and the use cases that find it, make it, compare it and change it."""

    message: type[BaseModel]
    find: Callable[[Session, Unit, Places], UUID | None]
    make: Callable[[Session, Unit, Any, Who], UUID]
    says: Callable[[Session, UUID, Unit, Any, Who], bool]
    change: Callable[[Session, UUID, Unit, Any, Who], UUID]


_KINDS: dict[Of, _Kind] = {
    "venues": _Kind(VenueIn, _find_venue, _make_venue, _venue_says, _change_venue),
    "tables": _Kind(TableIn, _find_table, _make_table, _table_says, _change_table),
    "tariffs": _Kind(TariffIn, _find_tariff, _make_tariff, _tariff_says, _next_tariff),
    "agreements": _Kind(AgreementIn, _find_agreement, _make_agreement, _agreement_says, _next_agreement),
    "collections": _Kind(CollectionIn, _never, _make_collection, _differs, _correct_collection),
    "opening_balances": _Kind(EntryIn, _never, _post_opening, _differs, _correct_opening),
}
