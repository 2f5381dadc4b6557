"""Loads the invented route into an empty database, as if it had been run for three months.

Whatever is loaded goes through the services, with the time that it would have happened at: the demo can hold nothing
that the API could not have stored. One table of the Copper Lantern was forgotten when prices changed last week.
"""

from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlmodel import Session, select

from ..collections.schemas import CollectionIn, CollectionOut, DisputeIn
from ..collections.service import raise_dispute, record_collection, reverse_collection
from ..controllers.schemas import KeyingIn, SheetOut
from ..controllers.service import record_keying, settings_sheet
from ..date_sets.schemas import DateSetIn
from ..date_sets.service import put_date_set
from ..jobs.schemas import JobDoneIn, JobIn
from ..jobs.service import Reporter, assign_job, close_job, report_job, wait_for_parts
from ..ledger.schemas import EntryIn
from ..ledger.service import post_owner_entry
from ..lifecycle.schemas import RetirementIn
from ..lifecycle.service import depart_venue, retire_table
from ..pool_tables.schemas import MoveIn, TableIn
from ..pool_tables.service import create_table, move_table
from ..readings.admission import Sender
from ..readings.schemas import ReadingsIn
from ..readings.service import record_readings, results_out
from ..schedules.schemas import RolloutIn, ScheduleIn
from ..schedules.service import publish_for_venue, roll_out
from ..settlements.schemas import AgreementIn
from ..settlements.service import publish_agreement
from ..store.changes import note_tables
from ..store.clock import next_id
from ..tariffs.schemas import TariffIn
from ..tariffs.service import publish_tariff
from ..tax_areas.schemas import TaxAreaIn
from ..tax_areas.service import put_tax_area
from ..tokens.service import make_sheet_link, make_token
from ..trips.schemas import TripIn
from ..trips.service import end_trip, plan_trip
from ..venues.rows import VenueRow
from ..venues.schemas import VenueIn
from ..venues.service import calendar_of, create_venue
from ..web.auth import Principal
from ..web.errors import Problem
from ..web.examples import BODIES, DEMO_IDS
from ..web.rows import TokenRow
from ..web.schema_types import write_instant
from ..webhooks.schemas import WebhookEndpointIn
from ..webhooks.service import create_endpoint, send_test
from ..worklist.rows import WorkRow
from ..worklist.schemas import DeferralIn
from ..worklist.service import assign_work, defer_work
from .agreements import TAX_AREA_OF, TAX_AREAS, agreements
from .collection_visits import MISCOUNTED, Visit, miscounted, visits
from .departures_and_jobs import BAR, CORNER, FIDDLE, LAST_BOX, SOLD, jobs
from .places import VENUES, schedules
from .prices import TARIFFS
from .readings import miskeyed, readings_of, settings_found
from .table_troubles import ROUTE

OWNER = "demo owner"
PLACED_AT = "2026-01-05T15:00:00Z"
"""When every table was placed: before the demo's books began, whenever it is loaded."""
LATE_AGREEMENT = "marigold"
"""The venue whose agreement was entered a day after its first collection, which has not been settled since."""

_PRICE_CHANGE = timedelta(days=9)


@dataclass(slots=True)
class Demo:
    """What was loaded, by the names of ``places`` and ``prices``."""

    now: datetime
    began_at: datetime
    tariffs: dict[str, UUID] = field(default_factory=dict)
    venues: dict[str, VenueRow] = field(default_factory=dict)
    tables: dict[str, UUID] = field(default_factory=dict)


def is_loaded(session: Session) -> bool:
    """Tell whether the demo stands here; refuse (409) a database that holds something else."""
    if session.exec(select(TokenRow).where(TokenRow.name == OWNER)).first() is not None:
        return True
    if session.exec(select(VenueRow.id).limit(1)).first() is not None:
        raise Problem("conflict", "The demo is loaded into an empty database, and this one has venues.")
    return False


def owner_token(session: Session, *, now: datetime) -> str:
    """Make an owner's token for the demo and return it."""
    _, token = make_token(session, name=OWNER, role="owner", venue_id=None, table_id=None, expires_at=None, now=now)
    return token


def load(session: Session, *, now: datetime) -> Demo:
    """Load the whole route and its history, and say what needs doing by now."""
    demo = Demo(now, now - ROUTE)
    for name, tariff in TARIFFS.items():
        at = demo.began_at if name != "weekday, dearer" else now - _PRICE_CHANGE
        with _named(f"tariff {name}"):
            demo.tariffs[name] = publish_tariff(session, TariffIn.model_validate(tariff), now=at).id
    _open_venues(session, demo)
    _change_prices(session, demo)
    _send_readings(session, demo)
    _collect(session, demo)
    _report(session, demo)
    _drive(session, demo)
    _make_mistakes(session, demo)
    _leave(session, demo)
    _mend(session, demo)
    _tell_the_office(session, demo)
    note_tables(session, list(demo.tables.values()))
    return demo


def _drive(session: Session, demo: Demo) -> None:
    """Plan two trips: one of last week, which was made, and the next."""
    owner = Principal("environment", OWNER, OWNER, "owner")
    start = {"latitude": 43.25, "longitude": -88.1}
    for name, names, days in (("trip done", ["lantern"], -7), ("trip planned", ["marigold", "harbour"], 1)):
        made_at = demo.now + timedelta(days=days - 1)
        on = calendar_of(demo.venues[names[0]]).trading_day(demo.now) + timedelta(days=days)
        stops = [demo.venues[venue].id for venue in names]
        trip = {"on": on, "person": "Rosalind", "stops": stops, "order": "shortest"}
        message = TripIn.model_validate({**trip, "start": start} if days > 0 else trip)
        with _named(name):
            row = plan_trip(session, message, by=owner, now=made_at)
        if days < 0:
            ended_at, words = demo.now + timedelta(days=days), "All three boxes emptied."
            end_trip(session, row.id, state="done", words=words, person="Rosalind", by="Rosalind", now=ended_at)


def _tell_the_office(session: Session, demo: Demo) -> None:
    """Make an endpoint of webhooks, last, so that nothing waits for it, and one delivery that arrived."""
    office = BODIES["create_webhook_endpoint"] | {"event_types": ["job.reported"]}
    del office["venue_ids"]
    with _named("webhook endpoint office"):
        endpoint_id, _ = create_endpoint(
            session, WebhookEndpointIn.model_validate(office), any_address=False, now=demo.now
        )
    with _named("webhook delivery office"):
        delivery = send_test(session, endpoint_id, now=demo.now)
    delivery.state, delivery.tries, delivery.next_at = "delivered", 1, None
    delivery.tried_at, delivery.status, delivery.says = demo.now, 204, "Answered 204."


def hand_out(session: Session, *, now: datetime) -> None:
    """Give a clock to set to Rosalind, and put a battery off for two weeks, once the demo's work has been found."""
    query = select(WorkRow)
    at_clock = WorkRow.pool_table_id == DEMO_IDS["table Upstairs"], WorkRow.kind == "set_clock"
    at_battery = WorkRow.pool_table_id == DEMO_IDS["table By the jukebox"], WorkRow.kind == "charge_battery"
    owner = Principal("environment", OWNER, OWNER, "owner")
    if (clock := session.exec(query.where(*at_clock)).first()) is not None:
        assign_work(session, clock.id, person="Rosalind", by=owner, now=now)
    if (battery := session.exec(query.where(*at_battery)).first()) is not None:
        until = (now + timedelta(days=14)).date()
        deferral = DeferralIn(until=until, reason="Rosalind brings the charged spare with the next collection.")
        defer_work(session, battery.id, deferral, by=owner, now=now)


def _make_mistakes(session: Session, demo: Demo) -> None:
    """Make a venue whose one table went to the workshop, and a venue, a table and a set of dates by mistake."""
    dates = {"name": "Feast days", "dates": [{"on": "2027-01-01", "name": "New Year"}]}
    put_date_set(session, DateSetIn.model_validate(dates), now=demo.now)
    with _named("tariff typed twice"):
        publish_tariff(session, TariffIn.model_validate(TARIFFS["weekday, dearer"]), now=demo.now)
    place = {"time_zone": "America/New_York", "currency": "USD"}
    for name, of_venue in (("wicket", "The Wicket"), ("typed twice", "The Wickett")):
        with _named(f"venue {name}"):
            message = VenueIn.model_validate({"name": of_venue, **place})
            demo.venues[name] = create_venue(session, message, now=demo.now)
    for name, label, placed_at in (
        ("Spare frame", "Spare frame", PLACED_AT),
        ("typed twice", "Spare fraem", write_instant(demo.now)),
    ):
        stated = {"label": label, "accepts": ["0.25", "1.00"], "placed_at": placed_at}
        with _named(f"table {name}"):
            row = create_table(session, demo.venues["wicket"].id, TableIn.model_validate(stated), now=demo.now)
        demo.tables[name] = row.id
    moved_at = min(datetime(2026, 11, 17, 15, tzinfo=UTC), demo.now - timedelta(days=8))
    move = MoveIn.model_validate({"venue_id": None, "to": "workshop", "moved_at": write_instant(moved_at)})
    with _named("move Spare frame"):
        move_table(session, demo.tables["Spare frame"], move, now=demo.now)


def _leave(session: Session, demo: Demo) -> None:
    """Let a venue leave the route three weeks ago, after its table was collected a last time and sold."""
    left_at = demo.now - timedelta(days=21)
    with _named("venue fiddle"):
        venue = create_venue(session, VenueIn.model_validate(FIDDLE), now=demo.began_at)
    stated = TableIn.model_validate({**CORNER, "placed_at": PLACED_AT})
    with _named("table Corner"):
        table_id = create_table(session, venue.id, stated, now=demo.began_at).id
    terms = {"effective_on": demo.began_at.date().isoformat(), "venue_percent": "50"}
    publish_agreement(session, venue.id, AgreementIn.model_validate(terms), now=demo.began_at)
    collection = {
        "id": str(DEMO_IDS["collection fiddle"]),
        "venue_id": str(venue.id),
        "collected_at": write_instant(left_at),
        "collector": "Rosalind",
        "bag": "PK-001",
        "tables": [{"table_id": str(table_id), "counted": LAST_BOX}],
    }
    last = CollectionIn.model_validate(collection)
    _, recorded = record_collection(session, last, now=left_at, by="Rosalind", person="Rosalind")
    if recorded is not None and recorded.settlement is not None:
        banked_at = left_at + timedelta(days=2)
        _post(session, venue, "deposit", recorded.settlement.to_bag, at=banked_at, bags=["PK-001"])
    sale = RetirementIn.model_validate({**SOLD, "at": write_instant(left_at + timedelta(hours=1))})
    retire_table(session, table_id, sale, by=OWNER, now=left_at + timedelta(hours=2))
    depart_venue(session, venue.id, on=calendar_of(venue).trading_day(left_at + timedelta(hours=1)))


def _mend(session: Session, demo: Demo) -> None:
    """Report the faults of the last weeks, some by the bar's own token, and do what was done about them."""
    lantern = demo.venues["lantern"].id
    make_token(session, name=BAR, role="venue", venue_id=lantern, table_id=None, expires_at=None, now=demo.began_at)
    for job in jobs(demo.now):
        id_ = DEMO_IDS[f"job {job.label}"]
        at, reporter = job.reported_at, Reporter(job.by, lantern if job.by == BAR else None)
        report = {
            "id": str(id_),
            "table_id": str(demo.tables[job.label]),
            "reported_at": write_instant(at),
            **job.report,
        }
        report_job(session, JobIn.model_validate(report), by=reporter, now=at)
        if job.assigned_to is not None:
            assign_job(session, id_, person=job.assigned_to, by=OWNER, now=at + timedelta(minutes=20))
        if job.waits_for is not None:
            wait_for_parts(session, id_, words=job.waits_for, by="Rosalind", now=at + timedelta(days=1))
        if job.done is not None and job.done_after is not None:
            done_at = at + job.done_after
            done = JobDoneIn.model_validate({**job.done, "at": write_instant(done_at)})
            close_job(session, id_, done, by="Rosalind", now=done_at)


def _named(name: str) -> AbstractContextManager[None]:
    """Give what is made its id of the demo, if it has one."""
    return next_id(DEMO_IDS[name]) if name in DEMO_IDS else nullcontext()


def _open_venues(session: Session, demo: Demo) -> None:
    """Make venues and tables, publish their first schedules, and key them."""
    ids = {name: str(tariff_id) for name, tariff_id in demo.tariffs.items()}
    first = schedules(ids, began_on=demo.began_at.date(), today=demo.now.date())
    for area in TAX_AREAS:
        put_tax_area(session, TaxAreaIn.model_validate(area), now=demo.began_at)
    for name, place in VENUES.items():
        message = VenueIn.model_validate({**place.venue, "tax_area": TAX_AREA_OF[name]})
        with _named(f"venue {name}"):
            venue = create_venue(session, message, now=demo.began_at)
        demo.venues[name] = venue
        schedule = ScheduleIn.model_validate(first[name])
        with _named(f"schedule {name}"):
            published = publish_for_venue(session, venue.id, schedule, now=demo.began_at)
        for table in place.tables:
            with _named(f"table {table['label']}"):
                row = create_table(
                    session, venue.id, TableIn.model_validate({**table, "placed_at": PLACED_AT}), now=demo.began_at
                )
            demo.tables[table["label"]] = row.id
            with _named(f"keying {table['label']}"):
                _key(session, row.id, published.id, at=demo.began_at + timedelta(hours=2))


def _change_prices(session: Session, demo: Demo) -> None:
    """Roll out the dearer weekday tariff from last Monday on, and key it everywhere but in the back room."""
    published_at = demo.now - _PRICE_CHANGE
    today = calendar_of(demo.venues["lantern"]).trading_day(demo.now)
    monday = today - timedelta(days=today.weekday())
    rollout = RolloutIn(replacement=demo.tariffs["weekday, dearer"], effective_on=monday)
    rows = roll_out(session, demo.tariffs["weekday"], rollout, now=published_at)
    for row in rows:
        venue = next(venue for venue in demo.venues.values() if venue.id == row.venue_id)
        keyed_at = min(calendar_of(venue).day_starts(monday) + timedelta(hours=9), demo.now)
        for label in _tables_of(demo, venue):
            if label != "Back room":
                _key(session, demo.tables[label], row.id, at=keyed_at)


def _tables_of(demo: Demo, venue: VenueRow) -> list[str]:
    place = next(place for name, place in VENUES.items() if demo.venues[name].id == venue.id)
    return [table["label"] for table in place.tables]


def _key(session: Session, table_id: UUID, schedule_id: UUID, *, at: datetime) -> None:
    keying = KeyingIn(schedule_id=schedule_id, keyed_at=at, by="Rosalind")
    record_keying(session, table_id, keying, now=at)


def demo_readings(session: Session, demo: Demo) -> list[dict[str, Any]]:
    """Return all readings of the demo, as they are sent to ``POST /v1/readings``."""
    readings: list[dict[str, Any]] = []
    for name, place in VENUES.items():
        zone = calendar_of(demo.venues[name]).zone
        for table in place.tables:
            label = table["label"]
            readings += readings_of(label, demo.tables[label], zone=zone, began_at=demo.began_at, now=demo.now)
    for table_id in demo.tables.values():
        at = demo.began_at + timedelta(hours=3)
        sheet = settings_sheet(session, table_id, on=demo.began_at.date(), now=at, cautions=())
        readings.append(settings_found(table_id, at=at, days=_days(sheet)))
    table_id = demo.tables["Window side"]
    sheet = settings_sheet(session, table_id, on=None, now=demo.now, cautions=())
    found = settings_found(table_id, at=demo.now - timedelta(hours=20), days=miskeyed(_days(sheet)))
    return [*readings, {**found, "id": str(DEMO_IDS["reading settings"])}]


def _days(sheet: SheetOut) -> list[dict[str, Any]]:
    return [day.model_dump(mode="json", by_alias=True) for day in sheet.days]


def _send_readings(session: Session, demo: Demo) -> None:
    batch = ReadingsIn.model_validate({"readings": demo_readings(session, demo)})
    sender = Sender("Rosalind", None, None, has_key=True)
    recorded = results_out(record_readings(session, batch.readings, sender=sender, now=demo.now))
    assert recorded.refused == 0, [result.problem for result in recorded.results if result.problem]


def _collect(session: Session, demo: Demo) -> None:
    """Agree, lend, collect and pay in the order of time, as it would have happened."""
    for name in agreements(demo.began_at.date()):
        if name != LATE_AGREEMENT:
            _agree(session, demo, name, at=demo.began_at)
    lantern = demo.venues["lantern"]
    _post(session, lantern, "loan_advance", "1200.00", at=demo.began_at + timedelta(days=1))
    route = [visit for name in VENUES for visit in _visits(demo, name)]
    for visit in sorted(route, key=lambda visit: visit.at):
        if (visit.venue, visit.number) == MISCOUNTED:
            wrong = CollectionIn.model_validate(miscounted(visit))
            record_collection(session, wrong, now=visit.at, by="Rosalind", person="Rosalind")
            reverse_collection(session, wrong.id, reason="Notes counted twice.", now=visit.at, by="demo owner")
        _, recorded = record_collection(
            session, CollectionIn.model_validate(visit.collection), now=visit.at, by="Rosalind", person="Rosalind"
        )
        _bank(session, demo, visit, recorded)
        if (visit.venue, visit.number) == (LATE_AGREEMENT, 0):
            _agree(session, demo, LATE_AGREEMENT, at=visit.at + timedelta(days=1))
    _post(session, demo.venues["keiler"], "venue_payment", "150.00", at=demo.now - timedelta(days=20))


def _bank(session: Session, demo: Demo, visit: Visit, recorded: CollectionOut | None) -> None:
    """Bank a visit's bag two days later; one bag of Harbour Lane was forgotten, and the newest are still in hand."""
    banked_at = visit.at + timedelta(days=2)
    forgotten = visit.venue == "harbour" and timedelta(days=10) < demo.now - visit.at <= timedelta(days=17)
    if recorded is None or recorded.settlement is None or banked_at > demo.now or forgotten:
        return
    is_first = (visit.venue, visit.number) == ("lantern", 0)
    with _named("entry deposit") if is_first else nullcontext():
        _post(
            session,
            demo.venues[visit.venue],
            "deposit",
            recorded.settlement.to_bag,
            at=banked_at,
            bags=[visit.collection["bag"]],
        )


def _agree(session: Session, demo: Demo, name: str, *, at: datetime) -> None:
    """Publish a venue's agreement, in force since the route began."""
    message = AgreementIn.model_validate(agreements(demo.began_at.date())[name])
    publish_agreement(session, demo.venues[name].id, message, now=at)


def _report(session: Session, demo: Demo) -> None:
    """Report a fault, dispute the last collection of the Copper Lantern, and make a collector's token."""
    reported_at = min(datetime(2026, 11, 2, 20, 15, tzinfo=UTC), demo.now - timedelta(days=2))
    fault = {
        "id": DEMO_IDS["job Downstairs"],
        "table_id": demo.tables["Downstairs"],
        "reported_at": reported_at,
        "fault": "cloth_damaged",
        "words": "A tear in front of the head string.",
        "playable": True,
    }
    report_job(session, JobIn.model_validate(fault), by=Reporter("Bram"), now=demo.now)
    claim = {"by": "Odile", "claims": "4.00 more", "reason": "A refund slip was left out."}
    with _named("dispute lantern"):
        raise_dispute(session, DEMO_IDS["collection lantern"], DisputeIn.model_validate(claim), now=demo.now)
    with _named("sheet link office"):
        make_sheet_link(session, name="Price list in the office", venue_ids=(), reports=("worklist",), now=demo.now)
    with _named("token Rosalind"):
        make_token(
            session, name="Rosalind", role="collector", venue_id=None, table_id=None, expires_at=None, now=demo.now
        )


def _visits(demo: Demo, name: str) -> list[Visit]:
    tables = {table["label"]: (demo.tables[table["label"]], table["accepts"]) for table in VENUES[name].tables}
    venue = demo.venues[name]
    made = list(visits(name, venue.id, tables, currency=venue.currency, began_at=demo.began_at, now=demo.now))
    for place, known in ((-1, f"collection {name}"), (0, f"first collection {name}")):
        if known in DEMO_IDS:
            made[place].collection["id"] = str(DEMO_IDS[known])
    return made


def _post(session: Session, venue: VenueRow, kind: str, amount: str, *, at: datetime, **more: Any) -> None:
    on = calendar_of(venue).trading_day(at)
    of_venue = {} if kind == "deposit" else {"venue_id": str(venue.id)}
    entry = EntryIn.model_validate(
        {"kind": kind, "amount": amount, "on": on.isoformat(), "currency": venue.currency, **of_venue, **more}
    )
    post_owner_entry(session, entry, currency=venue.currency, now=at)
