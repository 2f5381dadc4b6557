"""Balances, a statement and the check of the chain, of 100,000 entries, against ``beancount`` on the same entries as text.

The text is the service's own export. Whoever keeps books in text loads the file before any question, which parses it and checks
that every entry balances: that is what the other side does, and nothing more. Ours are the answers of the service in its own
process, on SQLite: all balances, a venue's month, and the check of the chain. The check of the stored facts beside it, which
the text does not have, is shown without a reach.
"""

import os
from collections.abc import Iterator
from time import perf_counter

from baizebook.ledger.queries import check_ledger
from baizebook.store.db import reading
from beancount import loader

from tests.benchmarks._route import NOW, Size, fill
from tests.benchmarks._service import Service, service
from tests.benchmarks.figure import Figure
from tests.databases import sqlite_database

VENUES, WEEKS = int(os.environ.get("BAIZEBOOK_BENCHMARK_VENUES", "5000")), 20
ENTRIES = VENUES * WEEKS


def run(*, rounds: int) -> Iterator[Figure]:
    """Ask and load in turn: one load for all questions of a round."""
    size = Size(venues=VENUES, tables=1, collections=WEEKS, readings=1)
    with sqlite_database() as url:
        filled = fill([url], size)
        month = f"/venues/{filled.of(VENUES // 2).venue_id}/statements?month={NOW:%Y-%m}"
        with service(url) as ours:
            ours.now = NOW
            text = ours.text("/ledger/export?format=beancount")
            asked = {
                "all balances": (1 / 20, lambda: _answered(ours, "/ledger/accounts?limit=500")),
                "a venue's month": (1 / 20, lambda: _answered(ours, month)),
                "the chain checked": (1 / 5, lambda: _checked(ours)),
                "the chain and all stored facts checked": (None, lambda: _answered(ours, "/ledger/verify")),
            }
            figures = {
                name: Figure("N8", f"{name}, {ENTRIES:,} entries", "loaded by beancount", reach)
                for name, (reach, _) in asked.items()
            }
            for _ in range(rounds):
                took = {name: ask() for name, (_, ask) in asked.items()}
                loaded = _loaded(text)
                for name, figure in figures.items():
                    figure.rounds.append((took[name], loaded))
            yield from figures.values()


def _answered(ours: Service, path: str) -> float:
    ours.get(path)
    return ours.elapsed_s


def _checked(ours: Service) -> float:
    began = perf_counter()
    with reading(ours.engine) as session:
        found = check_ledger(session)
    if not found.ok or found.entries != ENTRIES:
        raise SystemExit(f"the chain does not hold: {found}")
    return perf_counter() - began


def _loaded(text: str) -> float:
    began = perf_counter()
    entries, errors, _ = loader.load_string(text)
    if errors or sum(type(entry).__name__ == "Transaction" for entry in entries) != ENTRIES:
        raise SystemExit(f"{len(entries)} entries, {len(errors)} errors: {errors[:2]}")
    return perf_counter() - began
