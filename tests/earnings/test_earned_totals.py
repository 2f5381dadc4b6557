"""Earnings add up, however they are grouped and wherever a period is cut (N1)."""

from datetime import date, timedelta
from itertools import permutations

from baizebook.earnings.earned_totals import Earned, Grouping, Spent, Sum, earnings
from hypothesis import given, settings
from hypothesis import strategies as st

BEGIN, END = date(2026, 1, 1), date(2027, 1, 1)
GROUPINGS: tuple[Grouping, ...] = ("table", "venue", "week", "month", "year")


def box(**changes: object) -> Earned:
    values = {
        "collection_id": "c1", "entry_id": "e1", "table_id": "t1", "venue_id": "v1", "currency": "USD",
        "emptied_before_on": date(2026, 3, 26), "emptied_on": date(2026, 4, 5), "gross": 100_00, "refunds": 4_00,
        "tax": 4_57, "venue_share": 45_71, "games": 90,
    }  # fmt: skip
    return Earned(**{**values, **changes})  # type: ignore[arg-type]


def test_a_box_over_the_turn_of_a_month_belongs_to_both() -> None:
    rows = earnings([box()], [], by=("month",), from_on=BEGIN, until_on=END)
    assert {key: (row.gross, row.table_days) for key, row in rows.items()} == {
        ("USD", "2026-03"): (50_00, 5),
        ("USD", "2026-04"): (50_00, 5),
    }
    assert sum(row.operator_share for row in rows.values()) == 100_00 - 4_00 - 4_57 - 45_71


def test_expenses_lower_the_profit_of_what_they_are_against() -> None:
    spent = [
        Spent(entry_id="e2", on=date(2026, 4, 1), currency="USD", amount=12_00, table_id="t1", venue_id="v1"),
        Spent(entry_id="e3", on=date(2026, 4, 1), currency="USD", amount=30_00),
        Spent(entry_id="e4", on=END, currency="USD", amount=1_00),
    ]
    rows = earnings([box()], spent, by=("table",), from_on=BEGIN, until_on=END)
    assert {key: (row.expenses, row.profit) for key, row in rows.items()} == {
        ("USD", ""): (30_00, -30_00),
        ("USD", "t1"): (12_00, 45_72 - 12_00),
    }
    assert (rows["USD", "t1"].entry_ids, rows["USD", "t1"].expense_entry_ids) == ({"e1"}, {"e2"})


def test_currencies_are_never_added() -> None:
    rows = earnings([box(), box(currency="EUR", venue_id="v2")], [], by=(), from_on=BEGIN, until_on=END)
    assert {key: row.gross for key, row in rows.items()} == {("EUR",): 100_00, ("USD",): 100_00}


def test_denominations_add_up_to_the_gross() -> None:
    found = earnings(
        [box(denominations={25: 40_00, 500: 60_00})], [], by=("denomination",), from_on=BEGIN, until_on=END
    )
    assert {key: row.gross for key, row in found.items()} == {("USD", "25"): 40_00, ("USD", "500"): 60_00}


def test_a_day_that_two_boxes_share_is_one_table_day() -> None:
    twice = [box(), box(collection_id="c2", emptied_before_on=date(2026, 4, 5))]
    assert earnings(twice, [], by=(), from_on=BEGIN, until_on=END)["USD",].table_days == 10


boxes = st.lists(
    st.builds(
        lambda table, begun, length, gross, share: box(
            collection_id=f"{table}-{begun}",
            table_id=f"t{table}",
            venue_id=f"v{table % 2}",
            emptied_before_on=BEGIN + timedelta(days=begun),
            emptied_on=BEGIN + timedelta(days=begun + length),
            gross=gross,
            refunds=0,
            tax=0,
            venue_share=gross * share // 100,
        ),
        st.integers(0, 3),
        st.integers(0, 300),
        st.integers(0, 90),
        st.integers(0, 10**6),
        st.integers(0, 100),
    ),
    max_size=6,
)


def in_all(rows: dict[tuple[str, ...], Sum]) -> tuple[int, int, int]:
    return tuple(sum(getattr(row, name) for row in rows.values()) for name in ("gross", "venue_share", "games"))  # type: ignore[return-value]


@given(found=boxes, cut=st.integers(0, 365), by=st.lists(st.sampled_from(GROUPINGS), unique=True, max_size=3))
def test_parts_add_up_to_the_whole_whatever_the_grouping_and_the_cut(
    found: list[Earned], cut: int, by: list[Grouping]
) -> None:
    middle = BEGIN + timedelta(days=cut)
    whole = in_all(earnings(found, [], by=(), from_on=BEGIN, until_on=END))
    assert in_all(earnings(found, [], by=by, from_on=BEGIN, until_on=END)) == whole
    halves = [
        in_all(earnings(found, [], by=by, from_on=start, until_on=end))
        for start, end in ((BEGIN, middle), (middle, END))
    ]
    assert tuple(map(sum, zip(*halves, strict=True))) == whole


@settings(max_examples=25)
@given(found=boxes.filter(lambda found: 1 < len(found) < 5))
def test_the_order_of_arrival_changes_nothing(found: list[Earned]) -> None:
    answers = [earnings(order, [], by=("table", "month"), from_on=BEGIN, until_on=END) for order in permutations(found)]
    assert all(answer == answers[0] for answer in answers)
