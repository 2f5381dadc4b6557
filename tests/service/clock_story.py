"""A story of steps whose order decides prices and money, told at one service or at two, whatever their clocks say.

After every step each list that somebody may follow is read on from where it ended, and the prices of now are asked.
The instants that the story states itself are old: what is stated for later than the last recorded instant is still to
come for a service whose clock has gone back.
"""

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from baizebook.app import create_app
from baizebook.store import clock
from fastapi.testclient import TestClient

from tests.conftest import NOON, Route
from tests.databases import OWNER_TOKEN, settings_for, shared_engine

BETWEEN = timedelta(seconds=10)
ONE_INSTANT = (NOON - timedelta(minutes=1, seconds=30)).isoformat()
Off = Callable[[int], timedelta]


class Story:
    """One venue, one table, and what is known of both after each step."""

    def __init__(self, clients: Sequence[TestClient]) -> None:
        self.clients, self.number, self.made = clients, 0, 0
        self.now = NOON
        self.ids: dict[str, str] = {}
        self.ends: dict[str, list[str]] = {}
        self.followed: dict[str, tuple[list[str], str]] = {}
        self.seen: list[Any] = []
        self.touched: set[str] = set()

    @property
    def client(self) -> TestClient:
        """The service that this step is done at."""
        return self.clients[self.number % len(self.clients)]

    @property
    def stated(self) -> str:
        """The instant that somebody states: before the story began, which no clock here finds to be in the future."""
        return (self.now - timedelta(minutes=5)).isoformat()

    def post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        """Post to this step's service."""
        self.touched |= {list_ for tail, list_ in _LISTS.items() if path.endswith(tail)}
        return Route(self.client).post(path, body)

    def tariff(self, price: str) -> None:
        """Publish the next version of the one tariff."""
        games = {"prices": [{"price": price, "units": 1}]}
        self.ids["tariff before"] = self.ids.get("tariff", "")
        made = self.post("/tariffs", {"code": "game", "name": "A game", "currency": "USD", "games": games})
        self.ids["tariff"] = made["id"]
        self.seen.append(made["version"])

    def schedule(self, effective_on: str) -> None:
        """Publish a schedule of the venue."""
        body = {"effective_on": effective_on, "base": self.ids["tariff"]}
        self.ids["schedule"] = self.post(f"/venues/{self.ids['venue']}/schedules", body)["id"]

    def own_schedule(self) -> None:
        """Publish a schedule of the table's own."""
        body = {"effective_on": "2026-11-25", "base": self.ids["tariff"]}
        self.ids["schedule"] = self.post(f"/tables/{self.ids['table']}/schedules", body)["id"]

    def roll_out(self) -> None:
        """Replace the version before by the newest wherever it would hold."""
        body = {"replacement": self.ids["tariff"], "effective_on": "2026-11-25"}
        rows = self.post(f"/tariffs/{self.ids['tariff before']}/rollout", body)
        published = rows.get("items", rows.get("schedules"))
        self.ids["schedule"] = published[-1]["id"]
        self.seen.append(len(published))

    def key(self) -> None:
        """Key the newest schedule into the table, all at one stated instant."""
        at = (NOON - timedelta(minutes=1)).isoformat()
        self.post(
            f"/tables/{self.ids['table']}/keyings",
            {"schedule_id": self.ids["schedule"], "keyed_at": at, "by": "Ana"},
        )

    def move(self, *, venue: bool, at: str = "") -> None:
        """Move the table to the workshop, or back."""
        to = {"venue_id": self.ids["venue"] if venue else None, "moved_at": at or self.stated}
        self.post(f"/tables/{self.ids['table']}/moves", {**to, "meters": {}})

    def collect(self, on: str, dollars: int, *, name: str = "collection") -> None:
        """Record a collection of an earlier day."""
        self.made += 1
        body = {
            "id": str(UUID(int=self.made)),
            "venue_id": self.ids["venue"],
            "collected_at": f"{on}T16:00:00Z",
            "collector": "Ana",
            "tables": [{"table_id": self.ids["table"], "counted": {"1.00": dollars}}],
        }
        answer = self.post("/collections", body)
        self.ids[name] = answer["id"]
        self.seen.append(_lines(answer))

    def settle(self) -> None:
        """Settle the collection that came before the agreement."""
        self.seen.append(_lines(self.post(f"/collections/{self.ids['early']}/settle", {})))

    def reverse(self) -> None:
        """Take the newest collection back."""
        self.post(f"/collections/{self.ids['collection']}/reversal", {"reason": "miscounted"})

    def entry(self, kind: str, amount: str) -> None:
        """Post an entry of the venue."""
        self.post(
            "/ledger/entries",
            {"kind": kind, "amount": amount, "venue_id": self.ids["venue"], "on": "2026-11-02"},
        )

    def agree(self) -> None:
        """Agree to 60.00 of first money once, half and half, and the loan first."""
        first = [{"name": "Cloth", "amount": "60.00", "per": "once", "starts_on": "2026-10-01"}]
        terms = {"effective_on": "2026-01-01", "venue_percent": "50", "loan_repay_percent": "100"}
        self.post(f"/venues/{self.ids['venue']}/agreements", {**terms, "first_money": first})

    def read(self) -> None:
        """Send a reading."""
        self.made += 1
        reading = {
            "id": str(UUID(int=self.made)),
            "table_id": self.ids["table"],
            "taken_at": self.stated,
            "supply": {"volts": "12.60"},
        }
        (result,) = self.post("/readings", {"readings": [reading]})["results"]
        assert result["outcome"] == "recorded", result
        self.seen.append(result["flags"])

    def report(self) -> None:
        """Report a fault."""
        self.ids["job"] = str(UUID(int=9))
        job = {"id": self.ids["job"], "table_id": self.ids["table"], "reported_at": self.stated}
        self.post("/jobs", {**job, "fault": "cloth_damaged", "playable": True})

    def assign(self, person: str) -> None:
        """Give the job to somebody."""
        self.post(f"/jobs/{self.ids['job']}/assignment", {"person": person})

    def look(self) -> None:
        """Read every list that this step wrote to on from where it ended, and ask for the prices of now."""
        venue, table = self.ids["venue"], self.ids["table"]
        for path in sorted(self.touched):
            self._follow(path.format(venue=venue, table=table))
        self.touched = set()
        for place in (f"venue_id={venue}", f"table_id={table}"):
            answer = self.client.get(f"/v1/quotes?money=12.00&{place}").json()
            offers = answer.get("offers", answer.get("code"))
            self.seen.append([offer["units"] for offer in offers] if isinstance(offers, list) else offers)

    def _follow(self, path: str) -> None:
        """Go on after the last page that was full; what follows on the last one is read again the next time."""
        ids, after = self.followed.get(path, ([], ""))
        while True:
            page = self.client.get(f"/v1{path}?limit=1{after and f'&after={after}'}").json()
            last = [item["id"] for item in page["items"]]
            if page["next"] is None:
                break
            ids, after = [*ids, *last], page["next"]
        self.followed[path] = (ids, after)
        self.ends[path] = [*ids, *last]

    def found(self) -> dict[str, Any]:
        """Return what the whole story led to, without what differs from one telling to the next."""
        whole: dict[str, bool] = {}
        for path, ids in self.ends.items():
            items, after = [], ""
            while after is not None:
                page = self.client.get(f"/v1{path}?limit=2{after and f'&after={after}'}").json()
                items, after = [*items, *(item["id"] for item in page["items"])], page["next"]
            whole[path.split("/")[-1]] = items == ids
        accounts = self.client.get("/v1/ledger/accounts").json()["items"]
        sheet = self.client.get(f"/v1/tables/{self.ids['table']}/settings-sheet").json()
        readings = self.client.get(f"/v1/readings?table_id={self.ids['table']}").json()["items"]
        job = self.client.get(f"/v1/jobs/{self.ids['job']}").json()
        return {
            "seen": self.seen,
            "followed": {path.split("/")[-1]: len(ids) for path, ids in self.ends.items()},
            "whole": whole,
            "balances": {account["account"]: account["balance"] for account in accounts},
            "place of the readings": [reading["venue_id"] == self.ids["venue"] for reading in readings],
            "job": [job.get("state"), job.get("person")],
            "books": self.client.get("/v1/ledger/verify").json()["ok"],
            "sheet is of the newest": sheet.get("schedule_id") == self.ids["schedule"],
        }


_LISTS = {
    "/tariffs": "/tariffs",
    "/schedules": "/venues/{venue}/schedules",
    "/rollout": "/venues/{venue}/schedules",
    "/keyings": "/tables/{table}/keyings",
    "/moves": "/tables/{table}/moves",
    "/agreements": "/venues/{venue}/agreements",
    "/collections": "/collections",
    "/readings": "/readings",
}
"""The list that shows what is posted to an address with this end."""


def _lines(answer: dict[str, Any]) -> list[tuple[str, str]]:
    settlement = answer["settlement"]
    return [(line["code"], line["amount"]) for line in settlement["lines"]] if settlement else []


STEPS: tuple[tuple[str, Callable[[Story], None]], ...] = (
    ("tariff", lambda story: story.tariff("3.00")),
    ("schedule", lambda story: story.schedule("2026-01-01")),
    ("keying", Story.key),
    ("second tariff", lambda story: story.tariff("2.00")),
    ("second schedule", lambda story: story.schedule("2026-11-25")),
    ("third schedule of the same day", lambda story: story.schedule("2026-11-25")),
    ("third tariff", lambda story: story.tariff("4.00")),
    ("roll-out", Story.roll_out),
    ("keying of the roll-out", Story.key),
    ("collection without an agreement", lambda story: story.collect("2026-10-09", 100, name="early")),
    ("agreement", Story.agree),
    ("loan", lambda story: story.entry("loan_advance", "100.00")),
    ("first money", lambda story: story.collect("2026-10-10", 70)),
    ("collection", lambda story: story.collect("2026-10-11", 100)),
    ("reversal", Story.reverse),
    ("loan repaid", lambda story: story.collect("2026-10-12", 240)),
    ("correction", lambda story: story.collect("2026-10-11", 101)),
    ("settlement", Story.settle),
    ("reading", Story.read),
    ("to the workshop", lambda story: story.move(venue=False)),
    ("back again", lambda story: story.move(venue=True)),
    ("to the workshop, at one instant", lambda story: story.move(venue=False, at=ONE_INSTANT)),
    ("back at the same instant", lambda story: story.move(venue=True, at=ONE_INSTANT)),
    ("reading after it", Story.read),
    ("job", Story.report),
    ("job for Ana", lambda story: story.assign("Ana")),
    ("job for Bram", lambda story: story.assign("Bram")),
    ("own schedule", Story.own_schedule),
    ("keying of the own schedule", Story.key),
)


def tell(url: str, off: Off, *, hosts: int = 1) -> dict[str, Any]:
    """Tell the story with the clock off by ``off(step)``, the steps done at so many services in turn; return its end.

    Ids have the time of the service's clock, and a service that is started again knows of no later one.
    """
    headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
    apps = [create_app(settings_for(url), shared_engine(url)) for _ in range(hosts)]
    clients = [TestClient(app, headers=headers, raise_server_exceptions=False) for app in apps]
    story = Story(clients)

    def wall() -> datetime:
        return story.now + off(story.number)

    kept, clock.time = clock.time, _Time(wall)  # type: ignore[assignment]
    with ExitStack() as running:
        running.callback(setattr, clock, "time", kept)
        for app, client in zip(apps, clients, strict=True):
            app.state.clock = wall
            running.enter_context(client)
        route = Route(story.client)
        story.ids["venue"] = route.venue()["id"]
        story.ids["table"] = route.table(story.ids["venue"], placed_at="2026-01-05T15:00:00Z")["id"]
        for number, (_, step) in enumerate(STEPS):
            story.number, story.now = number, NOON + BETWEEN * number
            clock._latest = 0
            step(story)
            story.look()
        return story.found()


class _Time:
    """The part of ``time`` that ids are made with."""

    def __init__(self, wall: Callable[[], datetime]) -> None:
        self.wall = wall

    def time_ns(self) -> int:
        return int(self.wall().timestamp() * 1e9)
