"""Cash in hand follows each bag from its collection to the deposit that names it, and always adds up (O4)."""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID

from baizebook.reports.cash_in_hand import CashEntry, Filling, cash_in_hand, named_together, open_bags
from hypothesis import given
from hypothesis import strategies as st

FIRST = date(2026, 11, 2)


def filling(
    number: int, amount: int, *, bag: str = "A", day: int = 0, person: str = "Ana", currency: str = "USD"
) -> Filling:
    on = FIRST + timedelta(days=day)
    return Filling(
        collection_id=UUID(int=number),
        venue_id=UUID(int=1),
        person=person,
        bag=bag,
        currency=currency,
        collected_at=datetime(on.year, on.month, on.day, 16, tzinfo=UTC),
        on=on,
        amount=amount,
    )


def deposit(
    number: int, amount: int, *bags: str, day: int = 7, currency: str = "USD", kind: str = "deposit"
) -> CashEntry:
    on = FIRST + timedelta(days=day)
    return CashEntry(number=number, id=UUID(int=number), kind=kind, on=on, currency=currency, amount=-amount, bags=bags)


def in_hand(*found: Filling | CashEntry) -> tuple[dict[str, int], int]:
    """Return what each bag still holds, and what is unassigned."""
    hand = cash_in_hand(
        [one for one in found if isinstance(one, Filling)], [one for one in found if isinstance(one, CashEntry)]
    )
    return {bag.name: bag.in_hand for bag in open_bags(hand.left)}, sum(one.amount for one in hand.unassigned)


def test_a_deposit_that_names_a_bag_takes_it_out_of_hand() -> None:
    assert in_hand(filling(1, 4000)) == ({"A": 4000}, 0)
    assert in_hand(filling(1, 4000), filling(2, 2500, bag="B"), deposit(1, 4000, "A")) == ({"B": 2500}, 0)


def test_a_part_that_was_not_banked_stays_in_the_bag_and_may_be_written_off_by_its_name() -> None:
    short = (filling(1, 4000), deposit(1, 3950, "A"))
    assert in_hand(*short) == ({"A": 50}, 0)
    assert in_hand(*short, deposit(2, 50, "A", kind="write_off")) == ({}, 0)


def test_several_bags_in_one_deposit_are_emptied_in_their_order() -> None:
    bags = (filling(1, 4000), filling(2, 2500, bag="B"))
    assert in_hand(*bags, deposit(1, 5000, "B", "A")) == ({"A": 1500}, 0)


def test_what_names_no_bag_or_more_than_was_in_it_is_unassigned() -> None:
    assert in_hand(filling(1, 4000), deposit(1, 4000)) == ({"A": 4000}, -4000)
    assert in_hand(filling(1, 4000), deposit(1, 4100, "A")) == ({}, -100)
    assert in_hand(filling(1, 4000), deposit(1, 4000, "Z")) == ({"A": 4000}, -4000)
    assert in_hand(filling(1, 4000), deposit(1, 4000, "A", currency="EUR")) == ({"A": 4000}, -4000)


def test_a_deposit_names_cash_in_no_bag_by_the_collection() -> None:
    nameless, other = filling(1, 50, bag=""), filling(2, 30, bag="")
    assert in_hand(nameless, other, deposit(1, 50, str(UUID(int=1)))) == ({"": 30}, 0)


def test_a_bag_with_a_name_used_again_is_another_bag_and_the_older_is_emptied_first() -> None:
    again = (filling(1, 4000), filling(2, 2500, day=10))
    assert in_hand(*again, deposit(1, 4000, "A", day=7)) == ({"A": 2500}, 0)
    assert in_hand(*again, deposit(1, 2500, "A", day=11)) == ({"A": 4000}, 0)
    assert in_hand(filling(2, 2500, day=10), deposit(1, 2500, "A", day=7)) == ({"A": 2500}, -2500)


def test_a_collection_that_arrives_late_finds_the_deposit_that_was_waiting_for_it() -> None:
    assert in_hand(deposit(1, 4000, "A")) == ({}, -4000)
    assert in_hand(deposit(1, 4000, "A"), filling(1, 4000)) == ({}, 0)


def test_bags_of_two_people_are_kept_apart() -> None:
    hand = cash_in_hand([filling(1, 4000), filling(2, 100, person="Ben", day=1)], [deposit(1, 4000, "A")])
    assert [(bag.person, bag.in_hand) for bag in open_bags(hand.left)] == [("Ben", 100)]


def test_deposits_tie_the_bags_together_that_they_name() -> None:
    entries = [deposit(1, 1, "A", "B"), deposit(2, 1, "B", "C"), deposit(3, 1, "D", "E")]
    assert named_together(["A"], entries) == {"A", "B", "C"}
    assert named_together(["X"], entries) == {"X"}


_BAGS = st.sampled_from(["A", "B", "C", ""])
_FILLINGS = st.lists(
    st.tuples(
        st.integers(-50, 9_000),
        _BAGS,
        st.integers(0, 30),
        st.sampled_from(["Ana", "Ben"]),
        st.sampled_from(["USD", "EUR"]),
    ),
    max_size=12,
)
_ENTRIES = st.lists(
    st.tuples(
        st.integers(-9_000, 20_000),
        st.lists(st.sampled_from(["A", "B", "C"]), unique=True, max_size=3),
        st.integers(0, 30),
        st.sampled_from(["USD", "EUR"]),
    ),
    max_size=8,
)


@given(_FILLINGS, _ENTRIES, st.randoms())
def test_bags_and_what_is_unassigned_add_up_in_any_order_and_no_bag_is_overdrawn(fillings, entries, random) -> None:  # type: ignore[no-untyped-def]
    filled = [
        filling(number, amount, bag=bag, day=day, person=person, currency=currency)
        for number, (amount, bag, day, person, currency) in enumerate(fillings, start=1)
    ]
    booked = [
        deposit(number, amount, *(bags if amount > 0 else ()), day=day, currency=currency)
        for number, (amount, bags, day, currency) in enumerate(entries, start=1)
    ]
    hand = cash_in_hand(filled, booked)
    for currency in ("USD", "EUR"):
        expected = sum(one.amount for one in (*filled, *booked) if one.currency == currency)
        assert hand.totals().get(currency, 0) == expected
    assert all(0 <= one.taken <= max(one.filling.amount, 0) for one in hand.left)
    random.shuffle(filled)
    random.shuffle(booked)
    assert cash_in_hand(filled, booked) == hand
    for bag in ("A", "B", "C"):
        names = named_together([bag], booked)
        alone = cash_in_hand(
            [one for one in filled if one.bag in names], [one for one in booked if set(one.bags) & names]
        )
        expected_left = [one for one in hand.left if one.filling.bag == bag]
        assert [one for one in alone.left if one.filling.bag == bag] == expected_left
