"""Shared expenses are spread by a stated key, by largest remainder (N5)."""

from datetime import date
from itertools import product

import pytest
from baizebook.earnings.earned_totals import Earned, Spent, earnings
from baizebook.earnings.shared_expenses import SharedBy, spread_shared
from hypothesis import given
from hypothesis import strategies as st

JUNE, JULY = date(2026, 6, 1), date(2026, 7, 1)


def box(table: str, venue: str, gross: int, days: int) -> Earned:
    return Earned(
        collection_id=f"c{table}", entry_id=None, table_id=table, venue_id=venue, currency="USD",
        emptied_before_on=date(2026, 6, 1), emptied_on=date(2026, 6, 1 + days), gross=gross,
    )  # fmt: skip


BOXES = [box("t1", "v1", 300, 10), box("t2", "v1", 100, 20), box("t3", "v2", 600, 10)]

SUMS = earnings(BOXES, (), by=("venue", "table"), from_on=JUNE, until_on=JULY)


def spread(by: SharedBy, **of: str) -> dict[str | None, int]:
    spent = Spent(entry_id="e", on=date(2026, 6, 5), currency="USD", amount=10_00, **of)  # type: ignore[arg-type]
    return {one.table_id: one.amount for one in spread_shared([spent], SUMS, by=by)}


def test_the_key_decides() -> None:
    assert spread("gross") == {"t1": 300, "t2": 100, "t3": 600}
    assert spread("table_weeks") == {"t1": 250, "t2": 500, "t3": 250}
    assert spread("tables") == {"t1": 334, "t2": 333, "t3": 333}


def test_an_expense_of_a_venue_is_its_tables_alone_and_one_of_a_table_its_own() -> None:
    assert spread("gross", venue_id="v1") == {"t1": 750, "t2": 250}
    assert spread("gross", venue_id="v1", table_id="t2") == {"t2": 1000}
    assert spread("gross", venue_id="v3") == {None: 1000}


def test_other_currencies_share_nothing() -> None:
    euros = Spent(entry_id="e", on=date(2026, 6, 5), currency="EUR", amount=7)
    assert spread_shared([euros], SUMS, by="tables") == [euros]


@pytest.mark.parametrize("by", ["gross", "table_weeks", "tables"])
@given(amount=st.integers(1, 40))
def test_no_other_whole_parts_are_nearer_to_the_exact_ones(by: SharedBy, amount: int) -> None:
    # Largest remainder has the least sum of distances to the exact parts, over all ways to cut the amount.
    spent = Spent(entry_id="e", on=date(2026, 6, 5), currency="USD", amount=amount)
    parts = {one.table_id: one.amount for one in spread_shared([spent], SUMS, by=by)}
    weights = {"gross": (3, 1, 6), "table_weeks": (1, 2, 1), "tables": (1, 1, 1)}[by]
    mine = [parts.get(table, 0) for table in ("t1", "t2", "t3")]

    def distance(cut: tuple[int, ...] | list[int]) -> int:
        return sum(abs(part * sum(weights) - amount * weight) for part, weight in zip(cut, weights, strict=True))

    cuts = [(a, b, amount - a - b) for a, b in product(range(amount + 1), repeat=2) if a + b <= amount]
    assert sum(mine) == amount
    assert distance(mine) == min(map(distance, cuts))
