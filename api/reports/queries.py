"""Reads what reports are made of."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence, Set
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice
from typing import Any
from uuid import UUID

from sqlalchemy import Boolean, Integer, String, Table, Text, and_, cast, exists, func, or_, type_coerce
from sqlalchemy import select as select_columns
from sqlalchemy.orm import aliased
from sqlmodel import Session, SQLModel, col, select

from ..collections.facts_digest import facts_digest
from ..collections.queries import judge_collected, not_reversed, revisions
from ..collections.rows import CollectedTableRow, CollectionRow
from ..ledger.bags import bags_of
from ..ledger.export.period import ExportPeriod
from ..ledger.queries import check_ledger, last_record, read_entries
from ..ledger.rows import EntryRow, PostingRow
from ..ledger.schemas import LedgerCheckOut
from ..ledger.source_digest import record_digest, source_digest
from ..ledger.stored_record import instant_text
from ..pool_tables.service import get_table
from ..pricing import format_money
from ..settlements.queries import agreements_of, waiting_claims
from ..settlements.rows import AgreementRow, ReversalRow, SettlementRow
from ..store.db import Utc
from ..store.long_lists import among
from ..tax_areas.percents import format_percent
from ..tax_areas.rows import TaxAreaRow
from ..tax_areas.tax_area import NOT_ADVICE
from ..venues.dated_fact import payee_spells
from ..venues.rows import VenueRow
from ..venues.service import dated_facts_of
from ..web.errors import http_problem
from .cash_in_hand import CashEntry, CashInHand, Filling, Left, cash_in_hand, named_together, sums_differ
from .over_and_short import FEWEST_POINTS, Chart, ChartPoint, chart, point
from .schemas import DifferencesOut, PointOut, SignalOut, TaxLineOut, TaxReportOut
from .statement import Statement, statement
from .year_totals import YearTotals, year_totals


@dataclass(slots=True)
class _Sum:
    """The tables of one collection that have a money meter's figure, added up."""

    collection: Any
    counted: int = 0
    expected: int = 0


def differences_of_table(session: Session, table_id: UUID, *, after: datetime | None = None) -> DifferencesOut:
    """Chart the differences of a table in the order of its collections; of all, or of those after an instant."""
    get_table(session, table_id)
    return _differences(session, table_id=table_id, collector=None, after=after)


def differences_of_collector(session: Session, collector: str, *, after: datetime | None = None) -> DifferencesOut:
    """Chart the differences of whoever collected, one point a collection; of all, or of those after an instant."""
    return _differences(session, table_id=None, collector=collector, after=after)


def tax_report(session: Session, *, from_on: date, to_on: date) -> TaxReportOut:
    """Add up the taxes of settlements that stand by area, currency, rate and calendar month of the trading date."""
    if to_on < from_on:
        raise http_problem("invalid", where="to", found=to_on, expected=f"{from_on} or later")
    query = (
        select(SettlementRow, CollectionRow.currency)
        .join(CollectionRow, col(CollectionRow.id) == col(SettlementRow.collection_id))
        .where(
            col(SettlementRow.trading_on).between(from_on, to_on),
            col(SettlementRow.tax_area).is_not(None),
            not_reversed(),
        )
    )
    groups: dict[tuple[str, str, str, str], list[SettlementRow]] = defaultdict(list)
    for row, currency in session.exec(query).all():
        groups[row.tax_area or "", currency, row.trading_on.isoformat()[:7], row.tax_rate or ""].append(row)
    names = {row.code: row.name for row in session.exec(select(TaxAreaRow)).all()}
    items = [
        TaxLineOut(
            tax_area=area,
            name=names[area],
            rate=rate,
            month=month,
            currency=currency,
            collections=len(rows),
            taxed=format_money(sum(row.taxed_minor for row in rows), currency),
            tax=format_money(sum(row.tax_minor for row in rows), currency),
        )
        for (area, currency, month, rate), rows in sorted(groups.items())
    ]
    return TaxReportOut(from_on=from_on, to_on=to_on, items=items, notice=NOT_ADVICE)


def _differences(
    session: Session, *, table_id: UUID | None, collector: str | None, after: datetime | None
) -> DifferencesOut:
    collected = _sums(session, table_id=table_id, collector=collector, after=after)
    sums = [found for found in collected if found.expected > 0]
    points = [found for found in map(_point, sums) if found is not None]
    charted = chart(points)
    few = f"{len(points)} collections with a money meter's figure; a chart needs {FEWEST_POINTS}."
    return DifferencesOut(
        table_id=table_id,
        collector=collector,
        points=[_point_out(i, found, charted) for i, found in enumerate(sums)],
        sigma_percent=charted and _share(charted.sigma),
        ewma_limit_percent=charted and _share(charted.limit),
        cusum_limit_percent=charted and _share(charted.h),
        signals=[
            SignalOut(
                chart=signal.chart,
                side=signal.side,
                seen_at=UUID(signal.seen_at),
                points_to=UUID(signal.points_to),
                detail=signal.detail,
            )
            for signal in (charted.signals if charted else ())
        ],
        notice=charted.notice if charted else "Too few collections to tell a lean from chance.",
        why_no_chart=None if charted else few,
    )


_NO_METERS = "{}"


def _sums(session: Session, *, table_id: UUID | None, collector: str | None, after: datetime | None) -> Iterable[_Sum]:
    """Return the collections that make points, by their expectations as judged now (C9), in time order."""
    query = (
        select_columns(
            col(CollectionRow.id),
            col(CollectionRow.collected_at),
            col(CollectionRow.currency),
            col(CollectedTableRow.pool_table_id),
        )
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(not_reversed(), cast(col(CollectedTableRow.meters), Text) != _NO_METERS)
        .order_by(col(CollectionRow.collected_at), col(CollectionRow.id))
    )
    if table_id is not None:
        query = query.where(col(CollectedTableRow.pool_table_id) == table_id)
    if collector is not None:
        query = query.where(col(CollectionRow.collector) == collector)
    if after is not None:
        query = query.where(col(CollectionRow.collected_at) > after)
    rows = session.execute(query).all()
    judged = judge_collected(session, [(row.id, row.pool_table_id) for row in rows], money_only=True)
    sums: dict[UUID, _Sum] = {}
    for row in rows:
        finding = judged.get((row.id, row.pool_table_id))
        if finding is None:
            continue
        expectation = finding.expectation
        if expectation.is_figure and expectation.expected is not None:
            found = sums.setdefault(row.id, _Sum(row))
            found.counted += finding.box.counted
            found.expected += expectation.expected.most
    return sums.values()


def _point(found: _Sum) -> ChartPoint | None:
    return point(str(found.collection.id), counted=found.counted, expected=found.expected)


def _point_out(place: int, found: _Sum, charted: Chart | None) -> PointOut:
    collection, currency = found.collection, found.collection.currency
    made = _point(found)
    assert made is not None
    return PointOut(
        collection_id=collection.id,
        collected_at=collection.collected_at,
        currency=currency,
        expected=format_money(found.expected, currency),
        counted=format_money(found.counted, currency),
        difference=format_money(found.counted - found.expected, currency),
        difference_percent=format_percent(made.share * 100),
        ewma_percent=charted and _share(charted.ewma[place]),
        cusum_high_percent=charted and _share(charted.sums.high[place]),
        cusum_low_percent=charted and _share(charted.sums.low[place]),
    )


def _share(share: float) -> str:
    """Write a share as per cent with two decimals."""
    return f"{share * 100:.2f}"


def read_statement(session: Session, *, venue: VenueRow, period: ExportPeriod) -> Statement:
    """Return a venue's statement over a period, with what its settlements carried forward and the period's payees."""
    carried: Counter[str] = Counter()
    revised = revisions(session, venue.id, agreements_of(session, venue.id))
    for claim in waiting_claims(session, venue.id, until_on=period.to_on, revisions=revised):
        carried[claim.name or claim.code] += claim.amount
    mine = select(PostingRow.entry_number).where(PostingRow.venue_id == venue.id)
    return statement(
        read_entries(session, col(EntryRow.number).in_(mine), col(EntryRow.booked_on) <= period.to_on),
        venue_id=str(venue.id),
        currency=venue.currency,
        period=period,
        carried_forward=carried,
        payees=payee_spells(dated_facts_of(session, [venue.id])[venue.id], from_on=period.from_on, to_on=period.to_on),
        departed_on=venue.departed_on,
    )


def read_year(session: Session, year: int) -> tuple[YearTotals, ...]:
    """Return each venue's totals of a calendar year, by payee."""
    period = ExportPeriod.of_year(year)
    entries = read_entries(session, col(EntryRow.booked_on).between(period.from_on, period.to_on))
    facts = dated_facts_of(session)
    venue_ids = {entry.venue_id for entry in entries if entry.venue_id}
    payees = {
        venue_id: payee_spells(facts[UUID(venue_id)], from_on=period.from_on, to_on=period.to_on)
        for venue_id in venue_ids
    }
    return year_totals(entries, year, payees=payees)


def altered_bookings(session: Session) -> Iterator[int]:
    """Yield the number of each entry whose stored facts are no longer those that it books (L3).

    The facts are the collection with its tables, settlement and agreement, or the reversal. Entries of earlier releases
    carry no digest and are passed over.
    """
    after = 0
    entry = SQLModel.metadata.tables["ledger_entry"].c
    query = (
        select_columns(entry.number, entry.id, entry.source_id, entry.source_digest, entry.kind)
        .where(entry.source_digest.is_not(None))
        .order_by(entry.number)
        .limit(_AT_ONCE)
    )
    while entries := session.execute(query.where(entry.number > after)).all():
        after = entries[-1].number
        try:
            booked = _booked(session, entries)
        except _UNREADABLE:
            booked = {}
            for known in entries:
                with suppress(*_UNREADABLE):
                    booked |= _booked(session, [known])
        yield from (number for number, id_, _, digest, _ in entries if booked.get(id_) != digest)


def verify_books(session: Session) -> LedgerCheckOut:
    """Follow the chain of entries (L3), and compare what is stored with the digests of what was recorded."""
    found = check_ledger(session)
    entries = [] if found.first_bad else list(islice(altered_bookings(session), _NAMED_MAX))
    collections = [str(id_) for id_ in islice(altered_collections(session), _NAMED_MAX)]
    records = [str(id_) for id_ in islice(altered_records(session), _NAMED_MAX)]
    ok = found.ok and not (entries or collections or records)
    altered = {"altered_entries": entries, "altered_collections": collections, "altered_records": records}
    number, digest = (None if records else last_record(session)) or (0, None)
    last = {"records": number, "last_record_digest": digest}
    return found.model_copy(update={"ok": ok, **last, **altered})


def altered_collections(session: Session) -> Iterator[UUID | str]:
    """Yield the id of each collection, settled or not, that is no longer as it was recorded, or whose predecessor is gone.

    An id that is none any more is yielded as it is stored.
    Collections of earlier releases carry no digest; after the first that has one, one without is altered too.
    """
    after, before = -1, ""
    raw = SQLModel.metadata.tables["collection"].c
    query = select_columns(raw.sequence, type_coerce(raw.id, String), raw.facts_digest)
    query = query.order_by(raw.sequence).limit(_AT_ONCE)
    while stored := session.execute(query.where(raw.sequence > after)).all():
        page = [(sequence, _id_of(id_), digest) for sequence, id_, digest in stored]
        after = page[-1][0]
        ids = {id_ for _, id_, _ in page if isinstance(id_, UUID)}
        collections = _readable_rows(session, "collection", "id", ids)
        tables = _readable_rows(session, "collected_table", "collection_id", ids)
        for _, id_, digest in page:
            if (digest or before) and not _is_as_recorded(
                collections.get(id_, []), tables.get(id_, []), digest, before=before
            ):
                yield id_
            before = digest


def altered_records(session: Session) -> Iterator[UUID | str]:
    """Yield the id of each record (``record_digest``) that is no longer as it was, or whose predecessor is gone.

    An id that is none any more is yielded as it is stored.
    Those are agreements, closed jobs (by the job), retirements (by the last move) and reversals, used or not. What was recorded
    by an earlier release has no digest.
    """
    after, before = 0, None
    raw = SQLModel.metadata.tables["record_digest"].c
    query = select_columns(raw.number, raw.kind, type_coerce(raw.subject_id, String), raw.digest)
    query = query.order_by(raw.number).limit(_AT_ONCE)
    while stored := session.execute(query.where(raw.number > after)).all():
        page = [(number, kind, _id_of(id_), digest) for number, kind, id_, digest in stored]
        rows = {
            kind: _rows_of(session, kind, {id_ for _, of, id_, _ in page if of == kind and isinstance(id_, UUID)})
            for kind in _RECORDS
        }
        for number, kind, id_, digest in page:
            facts = {table: found.get(id_, []) for table, found in rows.get(kind, {}).items()}
            if number != after + 1 or not _has_digest(facts, digest, before=before):
                yield id_
            after, before = number, digest


def _id_of(stored: UUID | str) -> UUID | str:
    """Return an id that was read as it is stored; SQLite may hold a text that is none."""
    try:
        return stored if isinstance(stored, UUID) else UUID(stored)
    except ValueError:
        return stored


def _rows_of(session: Session, kind: str, ids: Set[UUID]) -> dict[str, dict[Any, list[dict[str, Any]]]]:
    found = {}
    for table, key in _RECORDS[kind]:
        rows = _readable_rows(session, table, key, ids)
        for of in rows.values():
            of.sort(key=lambda row: row.get("place", 0))
        found[table] = rows
    return found


def _has_digest(facts: Mapping[str, list[dict[str, Any]]], digest: str, *, before: str | None) -> bool:
    try:
        return record_digest(facts, before=before) == digest
    except _UNREADABLE:
        return False


_RECORDS: dict[str, tuple[tuple[str, str], ...]] = {
    "agreement": (("agreement", "id"),),
    "job_done": (("job_done", "job_id"), ("job_part", "job_id")),
    "retirement": (("retirement", "stay_id"),),
    "reversal": (("reversal", "id"),),
}
"""The tables whose rows a record is, and the column of its id; the first is what it is called."""


def _is_as_recorded(
    collections: Sequence[dict[str, Any]], tables: Iterable[dict[str, Any]], digest: str, *, before: str
) -> bool:
    """Tell whether a collection and its tables still have their digest."""
    try:
        in_order = sorted(tables, key=lambda row: row["place"])
        return facts_digest(collections[0], in_order, before=before) == digest
    except _UNREADABLE:
        return False


_AT_ONCE = 500
_NAMED_MAX = 100
_UNREADABLE = (ValueError, TypeError, LookupError, AttributeError, OverflowError)
"""A value that its column cannot hold, by whatever reads it."""


def _booked(session: Session, entries: Sequence[Any]) -> dict[UUID, str]:
    """Return the digest of what is stored now, by entry; raise one of ``_UNREADABLE`` where a value is no longer one."""
    sources = {entry.source_id for entry in entries if entry.kind == "collection"}
    taken_back = {entry.id for entry in entries if entry.kind == "reversal"}
    collections = _rows_by(session, CollectionRow, "id", sources)
    tables = _rows_by(session, CollectedTableRow, "collection_id", sources)
    settlements = _rows_by(session, SettlementRow, "collection_id", sources)
    used = {row["agreement_id"] for rows in settlements.values() for row in rows}
    agreements = _rows_by(session, AgreementRow, "id", used)
    reversals = _rows_by(session, ReversalRow, "entry_id", taken_back)
    found: dict[UUID, str] = {}
    for entry in entries:
        if entry.kind == "reversal":
            found[entry.id] = source_digest({"reversal": reversals[entry.id]})
            continue
        settled = settlements[entry.source_id]
        facts = {
            "collection": collections[entry.source_id],
            "collected_table": sorted(tables[entry.source_id], key=lambda row: row["place"]),
            "settlement": settled,
            "agreement": [row for settlement in settled for row in agreements[settlement["agreement_id"]]],
        }
        found[entry.id] = source_digest(facts)
    return found


def _readable_rows(session: Session, name: str, key: str, values: Set[Any]) -> dict[Any, list[dict[str, Any]]]:
    """Return a table's rows as they are stored, by a column, without those that hold no value of their columns."""
    table = SQLModel.metadata.tables[name]
    try:
        return _rows_of_table(session, table, key, values)
    except _UNREADABLE:
        found = defaultdict[Any, list[dict[str, Any]]](list)
        for value in values:
            with suppress(*_UNREADABLE):
                found |= _rows_of_table(session, table, key, {value})
        return found


def _rows_by(session: Session, model: type[SQLModel], key: str, values: Set[Any]) -> dict[Any, list[dict[str, Any]]]:
    """Return a model's rows as they are stored, by a column."""
    return _rows_of_table(session, SQLModel.metadata.tables[str(model.__tablename__)], key, values)


def _rows_of_table(session: Session, table: Table, key: str, values: Set[Any]) -> dict[Any, list[dict[str, Any]]]:
    """Return rows as they are stored, by a column: yes and no as numbers, and on SQLite instants by their very text."""
    instants = set[str]()
    if session.get_bind().dialect.name == "sqlite":
        instants = {column.name for column in table.c if isinstance(column.type, Utc)}
    columns = [
        type_coerce(column, Integer).label(column.name)
        if isinstance(column.type, Boolean)
        else type_coerce(column, String).label(column.name)
        if column.name in instants
        else column
        for column in table.c
    ]
    found: defaultdict[Any, list[dict[str, Any]]] = defaultdict(list)
    names = table.c.keys()
    for values_of_row in session.execute(select_columns(*columns).where(table.c[key].in_(values))):
        row = dict(zip(names, values_of_row, strict=True))
        row |= {name: instant_text(row[name]) for name in instants}
        found[row[key]].append(row)
    return found


def read_cash_in_hand(session: Session) -> CashInHand:
    """Return all cash in hand; raise (RuntimeError) where it is not what the books have in bags."""
    entries = _cash_entries(session)
    found = cash_in_hand(_fillings(session), entries)
    query = (
        select(EntryRow.currency, func.sum(PostingRow.amount_minor))
        .join(EntryRow, col(EntryRow.number) == col(PostingRow.entry_number))
        .where(PostingRow.account == "cash_in_bags")
        .group_by(EntryRow.currency)
    )
    account = {currency: int(amount) for currency, amount in session.exec(query)}
    if apart := sums_differ(found.totals(), account):
        raise RuntimeError(f"expected cash in hand to be the account cash_in_bags, found {apart}")
    return found


def not_in_the_books(session: Session, *, person: str | None) -> list[CollectionRow]:
    """Return the collections that were neither settled nor reversed, of one person or of all."""
    query = (
        select(CollectionRow)
        .where(not_reversed(), ~exists().where(col(SettlementRow.collection_id) == col(CollectionRow.id)))
        .order_by(col(CollectionRow.collected_at), col(CollectionRow.id))
    )
    return list(session.exec(query if person is None else query.where(CollectionRow.collector == person)).all())


def bags_in_hand(session: Session, table_ids: Collection[UUID]) -> dict[UUID, list[Left]]:
    """Return what is left in the named bags of collections whose first table is one of these."""
    query = (
        select(CollectedTableRow.pool_table_id, CollectionRow.id, CollectionRow.bag)
        .join(CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(
            among(col(CollectedTableRow.pool_table_id), table_ids),
            CollectedTableRow.place == 0,
            CollectionRow.bag != "",
            not_reversed(),
        )
    )
    of_table = {collection_id: (table_id, bag) for table_id, collection_id, bag in session.exec(query)}
    if not of_table:
        return {}
    entries = _cash_entries(session, with_bags=True)
    names = named_together((bag for _, bag in of_table.values()), entries)
    found: dict[UUID, list[Left]] = {}
    for left in cash_in_hand(_fillings(session, names), entries).left:
        if left.filling.collection_id in of_table and left.in_hand:
            found.setdefault(of_table[left.filling.collection_id][0], []).append(left)
    return found


def _fillings(session: Session, bags: Collection[str] | None = None) -> list[Filling]:
    """Return what settled collections put into bags, of all or of some names."""
    amount = func.sum(PostingRow.amount_minor)
    query = (
        select(CollectionRow, amount)
        .join(EntryRow, and_(col(EntryRow.source_id) == col(CollectionRow.id), col(EntryRow.kind) == "collection"))
        .join(PostingRow, col(PostingRow.entry_number) == col(EntryRow.number))
        .where(PostingRow.account == "cash_in_bags", not_reversed())
        .group_by(col(CollectionRow.id))
    )
    if bags is not None:
        nameless = and_(col(CollectionRow.bag) == "", among(col(CollectionRow.id), _ids_among(bags)))
        query = query.where(or_(among(col(CollectionRow.bag), bags), nameless))
    return [
        Filling(
            collection_id=row.id,
            venue_id=row.venue_id,
            person=row.collector,
            bag=row.bag,
            currency=row.currency,
            collected_at=row.collected_at,
            on=row.trading_on,
            amount=int(added),
        )
        for row, added in session.exec(query)
    ]


def _ids_among(names: Iterable[str]) -> list[UUID]:
    """Return the names that are ids: of collections that name no bag."""
    found = []
    for name in names:
        with suppress(ValueError):
            found.append(UUID(name))
    return found


def _cash_entries(session: Session, *, with_bags: bool = False) -> list[CashEntry]:
    """Return the other entries on cash in bags that were not reversed: all, or those that name bags."""
    reversal = aliased(EntryRow)
    query = (
        select(EntryRow, func.sum(PostingRow.amount_minor))
        .join(PostingRow, col(PostingRow.entry_number) == col(EntryRow.number))
        .where(
            PostingRow.account == "cash_in_bags",
            col(EntryRow.kind).not_in(("collection", "reversal")),
            ~exists().where(col(reversal.kind) == "reversal", col(reversal.source_id) == col(EntryRow.id)),
        )
        .group_by(col(EntryRow.number))
    )
    if with_bags:
        query = query.where(col(EntryRow.bags).is_not(None), col(EntryRow.kind).in_(("deposit", "write_off")))
    return [
        CashEntry(
            number=row.number,
            id=row.id,
            kind=row.kind,
            on=row.booked_on,
            currency=row.currency,
            amount=int(added),
            bags=bags_of(row.bags),
            reference=row.reference,
        )
        for row, added in session.exec(query)
    ]
