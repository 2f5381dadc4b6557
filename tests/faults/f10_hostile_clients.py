"""F10: behind the proxy of the guide hostile clients are dropped within 20 seconds or refused, store nothing, and others hardly notice."""

import json
import socket
from concurrent.futures import ThreadPoolExecutor
from random import Random

from tests.databases import sqlite_database
from tests.faults.caller import ask, p99_s
from tests.faults.fault import Fault, check
from tests.faults.hostile import ATTACKS, Attack, attack_at_once, half_a_head
from tests.serving import behind_nginx, served

CROWD = 850
NOTICEABLE_S = 0.05
"""Below this nobody notices, whatever it was before."""


def run(chance: Random, rounds: int) -> str:
    """Attack in every way at once, in an order of chance, while four callers read."""
    worst_before = worst_during = longest = 0.0
    with (
        sqlite_database() as database,
        served(database) as service,
        behind_nginx(service) as url,
        ThreadPoolExecutor(1) as pool,
    ):
        port = int(url.rsplit(":", 1)[1])
        for _ in range(rounds):
            before = p99_s(url, seconds=5, callers=4)
            attacks: tuple[Attack, ...] = tuple(chance.sample(ATTACKS, len(ATTACKS)))
            attacking = pool.submit(attack_at_once, port, attacks)
            during = p99_s(url, seconds=14, callers=4)
            longest = max(longest, *(ended.after_s for ended in attacking.result().values()))
            worst_before, worst_during = max(worst_before, before), max(worst_during, during)
            check(
                during < max(2 * before, NOTICEABLE_S),
                f"others waited: p99 {during * 1000:.0f} ms, {before * 1000:.0f} ms without the attacks",
            )
            _crowd(port, url)
        _, body, _ = ask(url, "GET", "/v1/venues")
        check(json.loads(body)["items"] == [], f"something was smuggled in: {body!r}")
    return (
        f"{rounds} × {len(ATTACKS)} attacks, the longest lasted {longest:.1f} s; p99 of others "
        f"{worst_during * 1000:.0f} ms, {worst_before * 1000:.0f} ms without"
    )


def _crowd(port: int, url: str) -> None:
    """Hold more connections than the service lets live, and see that another caller is answered all the same."""
    held = [socket.create_connection(("127.0.0.1", port)) for _ in range(CROWD)]
    try:
        status, _, _ = ask(url, "GET", "/v1/venues")
        check(status == 200, f"{CROWD} half-open connections lock others out: {status}")
    finally:
        for one in held:
            one.close()


def control(chance: Random) -> None:  # noqa: ARG001
    """Without the proxy a half-sent head is waited for without end."""
    with sqlite_database() as database, served(database) as url:
        attack_at_once(int(url.rsplit(":", 1)[1]), (half_a_head,))


FAULT = Fault(name="F10", says="hostile clients", run=run, control=control, short=1, long=10)
