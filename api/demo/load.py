"""Loads the invented route into an empty database, as if it had been run for three months.

Whatever is loaded goes through the services, with the time that it would have happened at: the demo can hold nothing
that the API could not have stored. One table of the Copper Lantern was forgotten when prices changed last week.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from sqlmodel import Session, select

from api.access.models import TokenRow
from api.access.service import make_token
from api.demo.places import VENUES, schedules
from api.demo.prices import TARIFFS
from api.errors import Problem
from api.schedules.models import KeyingIn, RolloutIn, ScheduleIn
from api.schedules.service import publish_for_venue, record_keying, roll_out
from api.tariffs.models import TariffIn
from api.tariffs.service import publish_tariff
from api.venues.models import TableIn, VenueIn, VenueRow
from api.venues.service import calendar_of, create_table, create_venue

OWNER = "demo owner"
_BEGAN = timedelta(weeks=14)
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
    """Load the whole route."""
    demo = Demo(now, now - _BEGAN)
    for name, tariff in TARIFFS.items():
        at = demo.began_at if name != "weekday, dearer" else now - _PRICE_CHANGE
        demo.tariffs[name] = publish_tariff(session, TariffIn.model_validate(tariff), now=at).id
    _open_venues(session, demo)
    _change_prices(session, demo)
    return demo


def _open_venues(session: Session, demo: Demo) -> None:
    """Make venues and tables, publish their first schedules, and key them."""
    ids = {name: str(tariff_id) for name, tariff_id in demo.tariffs.items()}
    first = schedules(ids, began_on=demo.began_at.date(), today=demo.now.date())
    for name, place in VENUES.items():
        venue = create_venue(session, VenueIn.model_validate(place.venue), now=demo.began_at)
        demo.venues[name] = venue
        schedule = ScheduleIn.model_validate(first[name])
        published = publish_for_venue(session, venue.id, schedule, now=demo.began_at)
        for table in place.tables:
            row = create_table(session, venue.id, TableIn.model_validate(table), now=demo.began_at)
            demo.tables[table["label"]] = row.id
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
