"""Trips as received and sent."""

from typing import Annotated, Literal

from pydantic import MISSING
from pydantic import Field as Limits

from ..jobs.faults import FaultSeen
from ..jobs.job import State as JobState
from ..pool_tables.schemas import CautionOut
from ..venues.schemas import Latitude, Longitude
from ..web.schema_types import Date, Id, In, Instant, MoneyOut, Name, Out, PageOf, Text, TimeOfDay, Words
from ..worklist.schemas import WorkOut

Order = Literal["given", "shortest"]
TripState = Literal["planned", "done", "cancelled"]


class StartIn(In):
    """Where a trip starts and ends."""

    latitude: Annotated[Latitude, Limits(description="Decimal degrees, north above zero.")]
    longitude: Annotated[Longitude, Limits(description="Decimal degrees, east above zero.")]


class TripIn(In):
    """A trip to make, from venues, from work on the list, or both."""

    on: Annotated[Date, Limits(description="The date of the trip: today or later.")]
    person: Annotated[Name, Limits(description="Who drives: the person of a valid token of role owner or collector.")]
    stops: (
        Annotated[
            list[Id],
            Limits(max_length=50, description="Venues, each once. Every box there is to be emptied."),
        ]
        | MISSING
    ) = MISSING
    work: (
        Annotated[
            list[Id],
            Limits(
                max_length=200,
                description="Work on the list. Its venues are stops too, after those named; of these, only boxes whose "
                "work is to collect are to be emptied.",
            ),
        ]
        | MISSING
    ) = MISSING
    order: Annotated[
        Order,
        Limits(description="given: as named; shortest: the shortest round by straight lines, of up to twelve stops."),
    ] = "given"
    start: (
        Annotated[
            StartIn, Limits(description="Where the trip starts and ends; without it, it goes round from a first stop.")
        ]
        | MISSING
    ) = MISSING


class TripCompletionIn(In):
    """How a trip went."""

    words: Annotated[Text, Limits(description="Anything worth knowing about it.")] | MISSING = MISSING


class TripCancellationIn(In):
    """Why a trip does not take place."""

    reason: Annotated[Words, Limits(description="Why it does not take place.")]


class TripAmountOut(Out):
    """An amount in a currency."""

    currency: str
    amount: MoneyOut


class PiecesOut(Out):
    """How many pieces of a denomination are expected."""

    denomination: MoneyOut
    count: int


class BoxContentOut(Out):
    """The expected content of a box on the day of the trip, in the mix of its last collections."""

    currency: str
    amount: MoneyOut
    pieces: Annotated[list[PiecesOut], Limits(description="Empty where no earlier count shows the mix.")]
    coins_kg: Annotated[str, Limits(description="The weight of its coins by the mints' figures.")]


class TripJobOut(Out):
    """A reported fault that is not mended."""

    id: Id
    fault: FaultSeen
    words: str
    state: JobState
    person: str | None
    waits_for: str


class TripTableOut(Out):
    """A table at a stop: what to do, read, key and empty."""

    id: Id
    label: str
    needs_key: bool
    empty: Annotated[bool, Limits(description="Whether its box is to be emptied.")]
    box: Annotated[BoxContentOut | None, Limits(description="Null where nothing on record shows it.")]
    read: Annotated[list[str], Limits(description="What to read and write down.")]
    key: Annotated[list[Id], Limits(description="The schedules whose settings are to be keyed.")]
    work: list[WorkOut]
    jobs: list[TripJobOut]


class OpeningOut(Out):
    """A time during which a venue sells, in its own time; an end at or before the start is on the next day."""

    from_local: TimeOfDay
    to_local: TimeOfDay


class LoadOut(Out):
    """What is carried after a stop, by what the boxes are expected to hold."""

    amounts: list[TripAmountOut]
    coins_kg: str


class TripStopOut(Out):
    """A stop: the venue, its work and tables, and what is carried from there on."""

    place: Annotated[int, Limits(description="From 1.")]
    venue_id: Id
    venue: str
    address: str
    contact: str
    notes: str
    latitude: float | None
    longitude: float | None
    leg_km: Annotated[float | None, Limits(description="The straight line from the stop before, or from the start.")]
    hours: Annotated[
        list[OpeningOut] | None,
        Limits(description="When it sells on that day, by its schedule; empty: closed; null: no schedule."),
    ]
    tables: list[TripTableOut]
    not_known: Annotated[int, Limits(description="Boxes to empty whose content is unknown.")]
    bags: Annotated[int, Limits(description="Bags, and as many seals: at most 16 kg of coins in each.")]
    carried: LoadOut


class SheetToBringOut(Out):
    """A settings sheet to bring."""

    table_id: Id
    table: str
    venue: str
    schedule_id: Id
    on: Annotated[Date, Limits(description="The trading date whose prices are on it.")]
    path: Annotated[str, Limits(description="Where to get it.")]


class ItemToBringOut(Out):
    """A thing to bring, and the tables that it is for."""

    item: str
    tables: list[str]


class BringOut(Out):
    """Everything to bring, for all stops."""

    keys: Annotated[list[str], Limits(description="The tables to open, each with its venue.")]
    sheets: list[SheetToBringOut]
    parts: Annotated[list[ItemToBringOut], Limits(description="Parts that open jobs wait for.")]
    floats: Annotated[
        list[TripAmountOut],
        Limits(description="Your own coins for trying tables after keying or mending: one game each."),
    ]
    bags: int
    seals: int
    items: Annotated[list[ItemToBringOut], Limits(description="Everything else that the work needs.")]


class TripLineOut(Out):
    """A trip of the list."""

    id: Id
    on: Date
    person: str
    state: TripState
    stops: Annotated[list[str], Limits(description="The names of its venues in order.")]
    made_at: Instant
    made_by: str


class TripPage(PageOf[TripLineOut]):
    """A page of trips."""


class TripEndOut(Out):
    """How a trip ended."""

    at: Instant
    by: str
    words: str


class TripOut(Out):
    """A trip with its sheet. Work, boxes and what to bring are as of now; of a trip that has ended only the stops stay."""

    id: Id
    on: Date
    person: str
    state: TripState
    end: TripEndOut | None
    order: Order
    start: Annotated[StartIn | None, Limits(description="Where it starts and ends, where that was named.")]
    round_km: Annotated[
        float | None,
        Limits(
            description="All straight lines and the way back; null where a coordinate is missing. Roads are longer."
        ),
    ]
    made_at: Instant
    made_by: str
    stops: list[TripStopOut]
    bring: BringOut
    cautions: list[CautionOut]
