"""A venue with everything that two operations can meet over, made at once; and every operation that writes to it."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple
from uuid import UUID, uuid4

from baizebook.collections.schemas import CollectionIn, DisputeIn
from baizebook.collections.service import raise_dispute, record_collection
from baizebook.controllers.schemas import KeyingIn
from baizebook.controllers.service import record_keying
from baizebook.jobs.schemas import JobIn
from baizebook.jobs.service import Reporter, report_job
from baizebook.ledger.schemas import EntryIn
from baizebook.ledger.service import post_owner_entry
from baizebook.pool_tables.schemas import MoveIn, TableIn
from baizebook.pool_tables.service import create_table, move_table
from baizebook.readings.admission import Sender
from baizebook.readings.schemas import ReadingsIn
from baizebook.readings.service import record_readings
from baizebook.schedules.schemas import ScheduleIn
from baizebook.schedules.service import publish_for_venue
from baizebook.settlements.schemas import AgreementIn
from baizebook.settlements.service import publish_agreement
from baizebook.store.db import writing
from baizebook.tariffs.schemas import TariffIn
from baizebook.tariffs.service import publish_tariff
from baizebook.venues.schemas import VenueIn
from baizebook.venues.service import create_venue
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlalchemy import Engine
from sqlmodel import Session

from tests.conftest import NOON
from tests.faults.fault import check

PLACED_AT = "2026-01-05T15:00:00Z"
COLLECTED_AT = "2026-11-24T20:00:00Z"
OPEN_DAY = "2026-11-20"
BEFORE_NOON = (NOON - timedelta(minutes=10)).isoformat()

Scene = dict[str, UUID]
"""The things of a scene by name."""


class Request(NamedTuple):
    """A request to the service; a body of text is a file."""

    method: str
    path: str
    body: Any

    def send(self, client: TestClient) -> Response:
        """Send it, and return the answer."""
        headers = {"If-Match": "*"} if self.method in ("PATCH", "PUT") else {}
        if isinstance(self.body, str):
            headers["Content-Type"] = "application/octet-stream"
            return client.request(self.method, self.path, content=self.body, headers=headers)
        return client.request(self.method, self.path, json=self.body, headers=headers)


@dataclass(frozen=True, slots=True, eq=False)
class Operation:
    """A request that writes: its name, path, body and method; braces name things of the scene."""

    name: str
    path: str
    body: Any = None
    method: str = "POST"

    def of(self, scene: Scene) -> Request:
        """Return the request for a scene."""
        return Request(self.method, f"/v1{self.path.format(**scene)}", _filled(self.body, scene))


def _filled(value: Any, scene: Scene) -> Any:
    if isinstance(value, dict):
        return {key: _filled(item, scene) for key, item in value.items()}
    if isinstance(value, list):
        return [_filled(item, scene) for item in value]
    return value.format(**scene) if isinstance(value, str) else value


def _collection(id_: str, table: str, *, at: str = COLLECTED_AT, dollars: int = 150) -> dict[str, Any]:
    box = {"table_id": table, "counted": {"1.00": dollars}}
    return {"id": id_, "venue_id": "{venue}", "collected_at": at, "collector": "Ana", "tables": [box]}


def _job(id_: str, table: str = "{used}") -> dict[str, Any]:
    return {"id": id_, "table_id": table, "reported_at": BEFORE_NOON, "fault": "cloth_damaged", "playable": True}


def _keying(id_: str, table: str = "{used}") -> dict[str, Any]:
    return {"id": id_, "table_id": table, "schedule_id": "{schedule}", "keyed_at": BEFORE_NOON, "by": "Ana"}


def _tariff(code: str, price: str) -> dict[str, Any]:
    games = {"prices": [{"price": price, "units": 1}]}
    return {"code": code, "name": code, "currency": "USD", "games": games}


_PLACE = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}
_RATE, _NEXT_RATE = ({"from_on": f"{year}-01-01", "rate_percent": f"{year - 2020}.25"} for year in (2026, 2027))
_AREA = {"code": "millbrook", "name": "Millbrook Falls", "rates": [_RATE]}
_ROLLED_OUT = {"effective_on": OPEN_DAY, "venue_ids": ["{venue}"]}
_AT_IT = {"table_id": "{used}", "on": "2026-11-23"}
_ENDPOINT = {
    "name": "Office display",
    "url": "https://display.baizebook.example/hooks",
    "event_types": ["job.reported", "collection.recorded"],
}
_DATES = {"name": "Feast days", "dates": [{"on": "2027-02-08", "name": "Big game"}]}
_VENUES = "name,time_zone,currency,contact\nThe Tin Heron,America/New_York,USD,Odile\n"
_CALENDAR = (
    "BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//Example//League//EN\nBEGIN:VEVENT\nUID:2027-final@league.example\n"
    "DTSTAMP:20261120T120000Z\nSUMMARY:Final\nDTSTART;TZID=America/New_York:20270410T180000\nDURATION:PT5H\n"
    "END:VEVENT\nEND:VCALENDAR\n"
)
_TABLE = {"label": "Door side", "accepts": ["0.25", "1.00"]}
_AGREEMENT = {"effective_on": "2026-01-01", "venue_percent": "40", "loan_repay_percent": "100"}
_ENTRY = {"venue_id": "{venue}", "on": "2026-11-23"}

OPERATIONS: tuple[Operation, ...] = (
    Operation("publish a schedule", "/venues/{venue}/schedules", {"effective_on": OPEN_DAY, "base": "{dear}"}),
    Operation("publish another", "/venues/{venue}/schedules", {"effective_on": OPEN_DAY, "base": "{cheap}"}),
    Operation("publish for a table", "/tables/{used}/schedules", {"effective_on": OPEN_DAY, "base": "{dear}"}),
    Operation(
        "roll out",
        "/tariffs/{cheap}/rollout",
        {"replacement": "{dear}", "effective_on": OPEN_DAY, "venue_ids": ["{venue}"]},
    ),
    Operation("key", "/tables/{used}/keyings", {"schedule_id": "{schedule}", "keyed_at": BEFORE_NOON, "by": "Ana"}),
    Operation("void a keying", "/keyings/{keying}/void", {"reason": "wrong table"}),
    Operation("make a table", "/venues/{venue}/tables", _TABLE),
    Operation("change a table", "/tables/{used}", {"label": "Door side"}, "PATCH"),
    Operation("move to the workshop", "/tables/{used}/moves", {"venue_id": None, "moved_at": BEFORE_NOON}),
    Operation("move to another venue", "/tables/{used}/moves", {"venue_id": "{bare}", "moved_at": BEFORE_NOON}),
    Operation("retire", "/tables/{used}/retirement", {"how": "retired", "at": BEFORE_NOON, "box": "empty"}),
    Operation(
        "sell", "/tables/{used}/retirement", {"how": "sold", "at": BEFORE_NOON, "box": "empty", "price": "90.00"}
    ),
    Operation("void a move", "/moves/{move}/void", {"reason": "never left"}),
    Operation("bring back", "/tables/{away}/moves", {"venue_id": "{venue}", "moved_at": BEFORE_NOON}),
    Operation("delete a table", "/tables/{unused}", method="DELETE"),
    Operation(
        "key the unused one",
        "/tables/{unused}/keyings",
        {"schedule_id": "{schedule}", "keyed_at": BEFORE_NOON, "by": "Ana"},
    ),
    Operation(
        "read at the unused one",
        "/readings",
        {
            "readings": [
                {"id": "{new reading}", "table_id": "{unused}", "taken_at": BEFORE_NOON, "supply": {"volts": "12.5"}}
            ]
        },
    ),
    Operation("collect at the unused one", "/collections", _collection("{another}", "{unused}")),
    Operation(
        "report at the unused one",
        "/jobs",
        {
            "id": "{another}",
            "table_id": "{unused}",
            "reported_at": BEFORE_NOON,
            "fault": "cloth_damaged",
            "playable": True,
        },
    ),
    Operation("move into the bare venue", "/tables/{away}/moves", {"venue_id": "{bare}", "moved_at": BEFORE_NOON}),
    Operation("make a table in the bare venue", "/venues/{bare}/tables", _TABLE),
    Operation("publish in the bare venue", "/venues/{bare}/schedules", {"effective_on": OPEN_DAY, "base": "{cheap}"}),
    Operation("agree in the bare venue", "/venues/{bare}/agreements", {**_AGREEMENT}),
    Operation(
        "lend to the bare venue",
        "/ledger/entries",
        {"kind": "loan_advance", "amount": "5.00", "venue_id": "{bare}", "on": "2026-11-23"},
    ),
    Operation("change the bare venue's currency", "/venues/{bare}", {"currency": "JPY"}, "PATCH"),
    Operation("change the bare venue's day", "/venues/{bare}", {"day_starts_at": "05:00"}, "PATCH"),
    Operation("delete the bare venue", "/venues/{bare}", method="DELETE"),
    Operation("let the bare venue leave", "/venues/{bare}/departure", {"on": "2026-11-19"}),
    Operation("agree", "/venues/{venue}/agreements", _AGREEMENT),
    Operation("change a venue", "/venues/{venue}", {"notes": "Ring first."}, "PATCH"),
    Operation("change a venue's payee", "/venues/{venue}", {"payee": "Odile"}, "PATCH"),
    Operation("collect", "/collections", _collection("{another}", "{used}")),
    Operation("collect again", "/collections", _collection("{another}", "{used}", dollars=151)),
    Operation("collect later", "/collections", _collection("{more}", "{used}", at="2026-11-24T21:00:00Z")),
    Operation("settle", "/collections/{unsettled}/settle"),
    Operation("reverse the unsettled", "/collections/{unsettled}/reversal", {"reason": "miscounted"}),
    Operation("reverse", "/collections/{settled}/reversal", {"reason": "miscounted"}),
    Operation(
        "dispute", "/collections/{settled}/disputes", {"by": "Odile", "claims": "4.00 more", "reason": "A slip."}
    ),
    Operation("answer", "/collections/{settled}/disputes/{dispute}/answer", {"by": "Ana", "answer": "Found it."}),
    Operation("lend", "/ledger/entries", {"kind": "loan_advance", "amount": "40.00", **_ENTRY}),
    Operation("write off", "/ledger/entries", {"kind": "write_off", "amount": "100.00", **_ENTRY}),
    Operation("take the loan back", "/ledger/entries/{loan}/reversal", {"reason": "typed twice", "on": "2026-11-23"}),
    Operation("bank", "/ledger/entries", {"kind": "deposit", "amount": "1.00", "on": "2026-11-23", "currency": "USD"}),
    Operation(
        "read",
        "/readings",
        {
            "readings": [
                {"id": "{new reading}", "table_id": "{used}", "taken_at": BEFORE_NOON, "supply": {"volts": "12.5"}}
            ]
        },
    ),
    Operation("void a reading", "/readings/{reading}/void", {"reason": "wrong table"}),
    Operation(
        "report",
        "/jobs",
        {"id": "{more}", "table_id": "{used}", "reported_at": BEFORE_NOON, "fault": "cloth_damaged", "playable": True},
    ),
    Operation("assign", "/jobs/{job}/assignment", {"person": "Bram"}),
    Operation(
        "close",
        "/jobs/{job}/done",
        {"at": BEFORE_NOON, "found": "torn cloth", "parts": [{"name": "cloth", "cost": "50.00"}]},
    ),
    Operation("wait for parts", "/jobs/{job}/waiting", {"words": "A cloth, on order."}),
    Operation("report in a batch", "/jobs/batch", {"jobs": [_job("{more}"), _job("{another}", "{unused}")]}),
    Operation("key in a batch", "/keyings/batch", {"keyings": [_keying("{more}"), _keying("{another}", "{unused}")]}),
    Operation(
        "collect in a batch",
        "/collections/batch",
        {"collections": [_collection("{another}", "{used}"), _collection("{more}", "{unused}", dollars=9)]},
    ),
    Operation(
        "spend on a table", "/ledger/entries", {"kind": "expense", "what": "repairs", "amount": "8.00", **_AT_IT}
    ),
    Operation("pay the venue", "/ledger/entries", {"kind": "venue_payment", "amount": "6.00", **_ENTRY}),
    Operation("name accounts", "/ledger/account-names", {"names": {"bank": "K-02 Savings bank"}}, "PUT"),
    Operation("set levels", "/settings", {"clock": {"tolerance_s": 180}}, "PUT"),
    Operation("make a venue", "/venues", {**_PLACE, "name": "The Tin Heron"}),
    Operation("make a venue of the area", "/venues", {**_PLACE, "name": "The Tin Heron", "tax_area": "millbrook"}),
    Operation("tax the bare venue by the area", "/venues/{bare}", {"tax_area": "millbrook"}, "PATCH"),
    Operation("put a tax area", "/tax-areas", {**_AREA, "name": "Millbrook"}),
    Operation("change the tax area", "/tax-areas", {**_AREA, "code": "held", "rates": [_RATE, _NEXT_RATE]}),
    Operation("delete the tax area", "/tax-areas/millbrook", method="DELETE"),
    Operation("publish a tariff", "/tariffs", _tariff("dear", "4.00")),
    Operation("delete a tariff", "/tariffs/{spare}", method="DELETE"),
    Operation("publish the spare tariff", "/venues/{venue}/schedules", {"effective_on": OPEN_DAY, "base": "{spare}"}),
    Operation("roll out the spare tariff", "/tariffs/{cheap}/rollout", {"replacement": "{spare}", **_ROLLED_OUT}),
    Operation("put a date set", "/date-sets", {**_DATES, "dates": [{"on": "2027-08-14", "name": "Town fair"}]}),
    Operation("delete a date set", "/date-sets?name=Feast%20days", method="DELETE"),
    Operation(
        "publish dates",
        "/dates-publications",
        {
            "effective_on": "2027-01-01",
            "venue_ids": ["{venue}", "{bare}"],
            "tariff": "{dear}",
            "date_set": "Feast days",
        },
    ),
    Operation(
        "bring in a calendar",
        "/venues/{venue}/calendar-imports?calendar=League&tariff={dear}&effective_on=2027-01-01",
        _CALENDAR,
    ),
    Operation("bring back the gone venue", "/venues/{gone}/departure", method="DELETE"),
    Operation("make a table in the gone venue", "/venues/{gone}/tables", _TABLE),
    Operation("assign work", "/worklist/{work}/assignment", {"person": "Bram"}),
    Operation("put work off", "/worklist/{work}/deferral", {"until": "2027-01-10", "reason": "Closed for repairs."}),
    Operation("complete work", "/worklist/{signal}/completion", {"outcome": "found", "words": "A jam."}),
    Operation("read the worklist", "/worklist", method="GET"),
    Operation("plan a trip", "/trips", {"on": "2027-01-10", "person": "Bram", "stops": ["{venue}", "{bare}"]}),
    Operation("plan a trip for work", "/trips", {"on": "2027-01-10", "person": "Bram", "work": ["{work}"]}),
    Operation("complete the trip", "/trips/{trip}/completion", {"words": "All done."}),
    Operation("cancel the trip", "/trips/{trip}/cancellation", {"reason": "Snow."}),
    Operation("make a token", "/tokens", {"name": "A phone", "role": "device", "table_id": "{unused}"}),
    Operation("make a token of the bare venue", "/tokens", {"name": "A phone", "role": "venue", "venue_id": "{bare}"}),
    Operation("revoke a token", "/tokens/{token}", method="DELETE"),
    Operation(
        "make a sheet link", "/sheet-links", {"name": "Office", "venue_ids": ["{bare}"], "reports": ["worklist"]}
    ),
    Operation("revoke a sheet link", "/sheet-links/{sheet}", method="DELETE"),
    Operation("make an endpoint", "/webhook-endpoints", _ENDPOINT),
    Operation("change an endpoint", "/webhook-endpoints/{endpoint}", {"event_types": ["collection.recorded"]}, "PATCH"),
    Operation("change an endpoint's venues", "/webhook-endpoints/{endpoint}", {"venue_ids": ["{bare}"]}, "PATCH"),
    Operation("delete an endpoint", "/webhook-endpoints/{endpoint}", method="DELETE"),
    Operation("replace a secret", "/webhook-endpoints/{endpoint}/secret"),
    Operation("test an endpoint", "/webhook-endpoints/{endpoint}/test"),
    Operation("send a delivery again", "/webhook-deliveries/{delivery}/again"),
    Operation("import readings", "/imports?of=readings", "table,taken at,volts\nused,2026-11-20 17:40,12.62\n"),
    Operation("import venues", "/imports?of=venues", _VENUES),
    Operation("import tables", "/imports?of=tables", "venue,label,accepts\nThe Copper Lantern,Attic,1.00\n"),
)


def make(engine: Engine, client: TestClient) -> Scene:
    """Make the scene, in part as a client would, and return its things."""
    with writing(engine) as session:
        scene = _make(session)
    for name, path, body in _ADDED:
        answer = Operation(name, path, body).of(scene).send(client)
        check(answer.is_success, f"the scene has no {name}: {answer.text}")
        if "id" in answer.json():
            scene[name] = UUID(answer.json()["id"])
    departure = client.post(f"/v1/venues/{scene['gone']}/departure", json={"on": "2026-11-19"})
    check(departure.is_success, departure.text)
    deliveries = client.get(f"/v1/webhook-endpoints/{scene['endpoint']}/deliveries").json()["items"]
    scene["delivery"] = UUID(deliveries[0]["id"])
    work = client.get("/v1/worklist").json()["items"]
    scene["work"] = next(UUID(item["id"]) for item in work if item["venue_id"] == str(scene["venue"]))
    scene["signal"] = next(UUID(item["id"]) for item in work if item["code"] == "difference")
    trip = {"on": "2027-01-09", "person": "Bram", "work": [str(scene["work"])], "stops": [str(scene["third"])]}
    answer = client.post("/v1/trips", json=trip)
    check(answer.is_success, answer.text)
    scene["trip"] = UUID(answer.json()["id"])
    reading = {"id": str(uuid4()), "table_id": str(scene["used"]), "taken_at": "2026-11-13T15:00:00Z"}
    answer = client.post("/v1/readings", json={"readings": [{**reading, "supply": {"volts": "12.40"}}]})
    check(answer.json()["recorded"] == 1, answer.text)  # the worklist has something to assess
    return scene


_METER = {"name": "cash", "counts": "money", "unit_value": "1.00", "digits": 6, "resets": "never"}


def _counted(on: int, *, meter: int, dollars: int) -> dict[str, Any]:
    box = {"table_id": "{short}", "meters": {"cash": meter}, "counted": {"1.00": dollars}}
    at = f"2026-11-{on:02}T17:00:00Z"
    return {"id": str(uuid4()), "venue_id": "{third}", "collected_at": at, "collector": "Ana", "tables": [box]}


_ADDED: tuple[tuple[str, str, Any], ...] = (
    ("endpoint", "/webhook-endpoints", _ENDPOINT),
    ("area", "/tax-areas", _AREA),
    ("area of the third", "/tax-areas", {**_AREA, "code": "held"}),
    ("third", "/venues", {**_PLACE, "name": "The Marigold", "tax_area": "held"}),
    ("gone", "/venues", {**_PLACE, "name": "The Wicket"}),
    ("prices of the third", "/venues/{third}/schedules", {"effective_on": "2026-01-01", "base": "{cheap}"}),
    ("short", "/venues/{third}/tables", {"label": "Short", "accepts": ["1.00"], "meters": [_METER]}),
    ("first count", "/collections", _counted(3, meter=100, dollars=100)),
    ("second count", "/collections", _counted(10, meter=300, dollars=150)),
    ("a date set", "/date-sets", _DATES),
    ("a token of the trip's", "/tokens", {"name": "Bram", "role": "collector"}),
    ("token", "/tokens", {"name": "Cells", "role": "reader"}),
    ("sheet", "/sheet-links", {"name": "Wall", "reports": ["worklist"]}),
    ("a job for the endpoint", "/jobs", {**_job(str(uuid4())), "fault": "ball_stuck"}),
)


def _make(session: Session) -> Scene:
    scene: Scene = {name: uuid4() for name in ("another", "more", "new reading")}
    for name, called in (("venue", "The Copper Lantern"), ("bare", "Zum blauen Keiler")):
        scene[name] = create_venue(session, VenueIn.model_validate({**_PLACE, "name": called}), now=NOON).id
    for name, price in (("cheap", "2.00"), ("dear", "3.00"), ("spare", "5.00")):
        scene[name] = publish_tariff(session, TariffIn.model_validate(_tariff(name, price)), now=NOON).id
    first = ScheduleIn.model_validate({"effective_on": "2026-01-01", "base": str(scene["cheap"])})
    scene["schedule"] = publish_for_venue(session, scene["venue"], first, now=NOON).id
    for name in ("used", "unused", "away"):
        table = TableIn.model_validate({"label": name, "accepts": ["0.25", "1.00"], "placed_at": PLACED_AT})
        scene[name] = create_table(session, scene["venue"], table, now=NOON).id
    away = MoveIn.model_validate({"venue_id": None, "moved_at": "2026-11-01T15:00:00Z"})
    scene["move"] = move_table(session, scene["away"], away, now=NOON).id
    keying = {"schedule_id": str(scene["schedule"]), "keyed_at": "2026-02-01T15:00:00Z", "by": "Ana"}
    scene["keying"] = record_keying(session, scene["used"], KeyingIn.model_validate(keying), now=NOON)[0].id
    scene["unsettled"] = _collect(session, scene, on=2)
    agreement = {"effective_on": "2026-01-01", "venue_percent": "50", "loan_repay_percent": "100"}
    publish_agreement(session, scene["venue"], AgreementIn.model_validate(agreement), now=NOON)
    scene["settled"] = _collect(session, scene, on=9)
    loan = {"kind": "loan_advance", "amount": "100.00", "venue_id": str(scene["venue"]), "on": "2026-11-10"}
    entry, _ = post_owner_entry(session, EntryIn.model_validate(loan), currency="USD", now=NOON)
    scene["loan"] = UUID(entry.id)
    claim = DisputeIn.model_validate({"by": "Odile", "claims": "4.00 more", "reason": "A slip."})
    scene["dispute"] = raise_dispute(session, scene["settled"], claim, now=NOON).id
    scene["reading"], scene["job"] = uuid4(), uuid4()
    reading = {"id": str(scene["reading"]), "table_id": str(scene["used"]), "taken_at": "2026-11-11T15:00:00Z"}
    readings = ReadingsIn.model_validate({"readings": [{**reading, "supply": {"volts": "12.60"}}]})
    record_readings(session, readings.readings, sender=Sender("Ana", None, None, has_key=True), now=NOON)
    job = {"id": str(scene["job"]), "table_id": str(scene["used"]), "reported_at": "2026-11-12T15:00:00Z"}
    message = JobIn.model_validate({**job, "fault": "cloth_damaged", "playable": True})
    report_job(session, message, by=Reporter("Ana"), now=NOON)
    return scene


def _collect(session: Session, scene: Scene, *, on: int) -> UUID:
    id_ = uuid4()
    at = datetime(2026, 11, on, 16, tzinfo=UTC).isoformat()
    message = CollectionIn.model_validate(
        {
            "id": str(id_),
            "venue_id": str(scene["venue"]),
            "collected_at": at,
            "collector": "Ana",
            "tables": [{"table_id": str(scene["used"]), "counted": {"1.00": 80}}],
        }
    )
    record_collection(session, message, now=NOON, by="Ana", person="Ana")
    return id_
