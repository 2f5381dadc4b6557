"""A venue with everything that two operations can meet over, made at once; and every operation that writes to it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
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
from sqlalchemy import Engine
from sqlmodel import Session

from tests.conftest import NOON

PLACED_AT = "2026-01-05T15:00:00Z"
COLLECTED_AT = "2026-11-24T20:00:00Z"
OPEN_DAY = "2026-11-20"
BEFORE_NOON = (NOON - timedelta(minutes=10)).isoformat()

Scene = dict[str, UUID]
"""The things of a scene by name."""


@dataclass(frozen=True, slots=True)
class Operation:
    """A request that writes: its name, method, path, and body; braces name things of the scene."""

    name: str
    path: str
    body: Any = None
    method: str = "POST"

    def of(self, scene: Scene) -> tuple[str, str, Any, dict[str, str]]:
        """Return method, path, body and headers of the request."""
        headers = {"If-Match": "*"} if self.method in ("PATCH", "PUT") else {}
        return self.method, f"/v1{self.path.format(**scene)}", _filled(self.body, scene), headers


def _filled(value: Any, scene: Scene) -> Any:
    if isinstance(value, dict):
        return {key: _filled(item, scene) for key, item in value.items()}
    if isinstance(value, list):
        return [_filled(item, scene) for item in value]
    return value.format(**scene) if isinstance(value, str) else value


def _collection(id_: str, table: str, *, at: str = COLLECTED_AT, dollars: int = 150) -> dict[str, Any]:
    box = {"table_id": table, "counted": {"1.00": dollars}}
    return {"id": id_, "venue_id": "{venue}", "collected_at": at, "collector": "Ana", "tables": [box]}


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
                {"id": "{new reading}", "table_id": "{unused}", "taken_at": BEFORE_NOON, "battery": {"volts": "12.5"}}
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
                {"id": "{new reading}", "table_id": "{used}", "taken_at": BEFORE_NOON, "battery": {"volts": "12.5"}}
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
)


def make(engine: Engine) -> Scene:
    """Make a scene of its own and return its things."""
    with writing(engine) as session:
        return _make(session)


def _make(session: Session) -> Scene:
    place = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}
    scene: Scene = {name: uuid4() for name in ("another", "more", "new reading")}
    for name in ("venue", "bare"):
        scene[name] = create_venue(session, VenueIn.model_validate(place), now=NOON).id
    for name, price in (("cheap", "2.00"), ("dear", "3.00")):
        games = {"prices": [{"price": price, "units": 1}]}
        tariff = {"code": f"{name}-{uuid4().hex[:12]}", "name": name, "currency": "USD", "games": games}
        scene[name] = publish_tariff(session, TariffIn.model_validate(tariff), now=NOON).id
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
    readings = ReadingsIn.model_validate({"readings": [{**reading, "battery": {"volts": "12.60"}}]})
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


Make = Callable[[Engine], Scene]
