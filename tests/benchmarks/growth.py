"""What the owner asks every day, of a route of 100,000 tables against one of 1,000, on PostgreSQL.

An owner with a hundred times the tables asks the same questions and waits for the same page, so the time should be the
same: the first page of the worklist and of all tables, one table's health, a venue's month and its earnings, the next page of
the ledger's feed. Each is asked in the service's own process, without a server. For each the reads that its statements make on the
larger route are printed: the table, the index, the rows.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import ExitStack

from tests.benchmarks._plans import explained, recorded
from tests.benchmarks._route import NOW, Filled, Size, fill
from tests.benchmarks._service import Service, service
from tests.benchmarks.figure import Figure, compare
from tests.databases import postgres_database

SMALL, LARGE = 333, int(os.environ.get("BAIZEBOOK_BENCHMARK_VENUES", "33333"))
TIMES = 9


def run(*, rounds: int) -> Iterator[Figure]:
    """Ask both in turn."""
    with ExitStack() as stack:
        asked = []
        for venues in (LARGE, SMALL):
            url = stack.enter_context(postgres_database())
            filled = fill([url], Size(venues=venues))
            asked.append((stack.enter_context(service(url)), questions(filled, venues=venues)))
        yield from compared(*asked[0], *asked[1], rounds=rounds)


def questions(filled: Filled, *, venues: int) -> Mapping[str, str]:
    """Return the requests by what they ask, of a venue in the middle."""
    one = filled.of(venues // 2)
    month = f"{NOW:%Y-%m}"
    period = f"from={month}-01&to={month}-30"
    return {
        "worklist, first page": "/worklist",
        "all tables, first page": "/tables",
        "a table's health": f"/tables/{one.table_ids[0]}/health",
        "a venue's month": f"/venues/{one.venue_id}/statements?month={month}",
        "a venue's earnings of a month": f"/reports/earnings?{period}&by=table&venue_id={one.venue_id}",
        "next page of the ledger": f"/ledger/entries?after={venues * 2}&limit=100",
    }


def compared(
    large: Service, of_large: Mapping[str, str], small: Service, of_small: Mapping[str, str], *, rounds: int
) -> Iterator[Figure]:
    """Yield a figure for each question; print what its statements read."""
    large.now = small.now = NOW
    for name in of_large:
        with recorded(large.engine) as made:
            large.get(of_large[name])
        for read in dict.fromkeys(str(read) for one in explained(large.engine, made) for read in one.reads):
            print(f"       {name}: {read}")
        figure = Figure("N7", f"{name}, {LARGE * 3:,} tables", f"{SMALL * 3:,} tables", 1.5)
        yield compare(
            figure,
            lambda name=name: _seconds(large, of_large[name]),  # type: ignore[misc]
            lambda name=name: _seconds(small, of_small[name]),  # type: ignore[misc]
            rounds=rounds,
        )


def _seconds(asked: Service, path: str) -> float:
    """Return the shortest of some times: what else the machine does only adds to them."""
    took = []
    for _ in range(TIMES):
        asked.get(path)
        took.append(asked.elapsed_s)
    return min(took)
