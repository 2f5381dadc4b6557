"""F15: devices whose clocks are off, whose readings come in any order and again: the same answers, odd ones flagged.

Each history is told twice, by two tables of one make: by the one in order, by the other shuffled, in batches, and over
again. What the service makes of both must be the same: health, what there is to do, and what a collection would settle.
"""

import json
import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime, timedelta
from random import Random
from typing import Any
from uuid import UUID

import baizebook.health.queries
from baizebook.app import create_app
from baizebook.readings.rows import READING
from baizebook.store.db import make_engine
from fastapi.testclient import TestClient
from sqlalchemy import select
from sqlmodel import Session

from tests.conftest import NOON, WEEKDAY, Route
from tests.databases import OWNER_TOKEN, postgres_database, settings_for, sqlite_database
from tests.faults.fault import Broken, Fault, check

BEGAN = NOON - timedelta(days=500)
"""When every table came to its venue."""

AGAIN = 10
READINGS_MAX = 40
METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 5, "resets": "never"}]
BATTERY = {"kind": "battery", "chemistry": "flooded", "nominal_volts": 12}
FUTURE_ALLOWED = timedelta(minutes=5)
_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}")


def run(chance: Random, rounds: int) -> str:
    """Tell so many histories to each kind of database."""
    told = sum(_tell(database, chance, rounds=rounds) for database in (sqlite_database, postgres_database))
    return f"{rounds} histories on each database, {told} readings, shuffled and {AGAIN} times over: the same answers"


def control(chance: Random) -> None:
    """A service that takes what came last for the newest answers by the order in which readings came."""
    with _newest_is_what_came_last():
        _tell(sqlite_database, chance, rounds=20)


def _tell(database: Callable[[], AbstractContextManager[str]], chance: Random, *, rounds: int) -> int:
    """Tell histories, a new pair of tables each; return how many readings they had."""
    told = 0
    with database() as url:
        engine = make_engine(settings_for(url))
        app = create_app(settings_for(url), engine)
        client = TestClient(app, headers={"Authorization": f"Bearer {OWNER_TOKEN}"}, raise_server_exceptions=False)
        route = Route(client)
        app.state.clock = lambda: BEGAN
        tariff = route.tariff(**WEEKDAY)["id"]
        places = []
        for _ in range(2 * rounds):
            venue = route.venue()["id"]
            route.schedule(venue, tariff, effective_on="2025-01-01")
            places.append(
                (
                    venue,
                    route.table(venue, meters=METERS, power=BATTERY, placed_at=(BEGAN - timedelta(days=1)).isoformat())[
                        "id"
                    ],
                )
            )
        app.state.clock = lambda: NOON
        for one, other in zip(places[::2], places[1::2], strict=True):
            history = list(_history(chance))
            told += len(history)
            _send_in_order(client, one[1], history, chance)
            _send_anyhow(client, other[1], history, chance)
            found = [_answers(client, *place) for place in (one, other)]
            if found[0] != found[1]:
                raise Broken(f"two orders, two answers: {_difference(*found)}")
        engine.dispose()
    return told


def _history(chance: Random) -> Iterator[dict[str, Any]]:
    """Make readings of a year; the device's clock is off by up to 400 days, and is set, or lost, now and then."""
    off = _a_clock(chance)
    cash, instants = chance.randrange(90_000), set()
    real = NOON - timedelta(days=chance.randint(21, 420))  # the first reading is never later than NOON
    for _ in range(chance.randint(5, READINGS_MAX)):
        real += timedelta(minutes=chance.randint(1, 30_000))
        if real > NOON:
            return
        if chance.random() < 0.1:
            off = _a_clock(chance)
        taken_at = real + off
        cash = (cash + chance.randrange(400)) % 100_000
        if taken_at in instants:
            continue
        instants.add(taken_at)
        shown = (real + timedelta(minutes=chance.choice((0, 0, 60, 61, 720)))).astimezone()
        yield {
            "taken_at": taken_at.isoformat(),
            "meters": {"cash": cash},
            "supply": {"volts": f"{chance.randint(1150, 1290) / 100:.2f}", "rested_minutes": chance.choice((0, 600))},
            "clock": {
                "time": f"{shown:%H:%M}",
                "weekday": f"{shown:%a}".lower(),
                "display": chance.choice(("24h", "12h")),
            },
        }


def _a_clock(chance: Random) -> timedelta:
    """Return by how much a clock is off: mostly a little, sometimes by up to 400 days, sometimes it begins in 1970."""
    kind = chance.random()
    if kind < 0.6:
        return timedelta(seconds=chance.randint(-120, 120))
    if kind < 0.95:
        return timedelta(seconds=chance.randint(-400 * 86_400, 400 * 86_400))
    return datetime(1970, 1, 1, tzinfo=NOON.tzinfo) - NOON


def _send_in_order(client: TestClient, table: str, history: list[dict[str, Any]], chance: Random) -> None:
    _check_outcomes(history, _send(client, table, [(_id(chance), item) for item in history]))


def _send_anyhow(client: TestClient, table: str, history: list[dict[str, Any]], chance: Random) -> None:
    """Send each reading at least once, in any order, and ten batches of chance over again."""
    named = [(_id(chance), item) for item in history]
    for batch in (chance.sample(named, len(named)), *(chance.choices(named, k=10) for _ in range(AGAIN))):
        at = chance.randint(0, len(batch))
        for part in (batch[:at], batch[at:]):
            if part:
                _check_outcomes([item for _, item in part], _send(client, table, part))


def _id(chance: Random) -> str:
    return str(UUID(int=chance.getrandbits(128), version=4))


def _send(client: TestClient, table: str, named: list[tuple[str, dict[str, Any]]]) -> list[dict[str, Any]]:
    readings = [{"id": id_, "table_id": table, **item} for id_, item in named]
    answer = client.post("/v1/readings", json={"readings": readings})
    check(answer.status_code == 200, f"readings were answered {answer.status_code}: {answer.text[:300]}")
    found: list[dict[str, Any]] = answer.json()["results"]
    return found


def _check_outcomes(history: list[dict[str, Any]], results: list[dict[str, Any]]) -> None:
    """None is dropped: each is kept, flagged where it is from the future or older than its table, or refused by name."""
    for item, result in zip(history, results, strict=True):
        taken_at = datetime.fromisoformat(item["taken_at"])
        if taken_at.year < 2000:
            check(result["problem"]["errors"][0]["where"].endswith("taken_at"), f"1970 was answered {result}")
            continue
        check(result["outcome"] in ("recorded", "duplicate"), f"a reading was dropped: {result}")
        odd = {
            "from_future": taken_at > NOON + FUTURE_ALLOWED,
            "before_the_table": taken_at < BEGAN - timedelta(days=1),
        }
        flags = {flag for flag, is_odd in odd.items() if is_odd}
        check(set(result["flags"]) & set(odd) == flags, f"{taken_at} has the flags {result['flags']}")


def _answers(client: TestClient, venue: str, table: str) -> dict[str, Any]:
    """Return what the service makes of a table's readings; ids are blotted out."""
    collection = {"id": table, "venue_id": venue, "collected_at": NOON.isoformat(), "collector": "Ana"}
    collection["tables"] = [{"table_id": table, "counted": {"1.00": 40}, "meters": {"cash": 70_000}}]  # type: ignore[assignment]
    answers = {
        "health": client.get(f"/v1/tables/{table}/health"),
        "worklist": client.get("/v1/worklist", params={"venue_id": venue}),
        "collection": client.post("/v1/collections/preview", json=collection),
    }
    for name, answer in answers.items():
        check(answer.status_code == 200, f"{name} was answered {answer.status_code}: {answer.text[:300]}")
    found = {name: json.loads(_ID.sub("@", answer.text)) for name, answer in answers.items()}
    found["worklist"]["items"].sort(key=json.dumps)  # it lists what was found first, first
    del found["worklist"]["waiting"]  # of the whole route: fewer at each look
    return found


def _difference(one: Any, other: Any, where: str = "") -> str:
    """Tell the first place at which two answers differ."""
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return next(_difference(one[name], other[name], f"{where}.{name}") for name in one if one[name] != other[name])
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = enumerate(zip(one, other, strict=True))
        return next(_difference(*pair, f"{where}[{at}]") for at, pair in pairs if pair[0] != pair[1])
    return f"{where}: {str(one)[:200]} and {str(other)[:200]}"


@contextmanager
def _newest_is_what_came_last() -> Iterator[None]:
    histories = baizebook.health.queries.histories

    def by_arrival(session: Session, *arguments: Any, **values: Any) -> Any:
        found = histories(session, *arguments, **values)
        columns = READING.c.pool_table_id, READING.c.taken_at, READING.c.arrival
        arrived = {(table, at): arrival for table, at, arrival in session.execute(select(*columns))}
        return {
            kind: {
                table: sorted(rows, key=lambda row: arrived[row.pool_table_id, row.taken_at])[-3:]
                for table, rows in of_kind.items()
            }
            for kind, of_kind in found.items()
        }

    baizebook.health.queries.histories = by_arrival
    try:
        yield
    finally:
        baizebook.health.queries.histories = histories


FAULT = Fault(name="F15", says="device histories", run=run, control=control, short=8, long=1000)
