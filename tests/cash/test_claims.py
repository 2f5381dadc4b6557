"""Claims on the box: the oldest first, never below zero, and nothing of them lost."""

from __future__ import annotations

from datetime import date, timedelta

from baizebook.settlements.carried_forward import Claim, offset, take
from hypothesis import given
from hypothesis import strategies as st

DAY = date(2026, 3, 6)


def service(amount: int, days_ago: int) -> Claim:
    return Claim("first_money", amount, DAY - timedelta(days=days_ago), "Service")


def test_the_oldest_claim_is_taken_first_and_keeps_its_date_when_carried() -> None:
    taken = take([service(10_00, 0), service(8_00, 14), service(9_00, 7)], available=12_00)
    assert [(line.basis, line.amount) for line in taken.lines] == [(8_00, 8_00), (9_00, 4_00)]
    assert taken.carried == (service(5_00, 7), service(10_00, 0))
    assert taken.lines[0].what == "Service, due 2026-02-20"


def test_what_was_taken_too_much_is_set_against_its_own_kind_only() -> None:
    other = Claim("first_money", 4_00, DAY, "Licence")
    assert offset([service(-10_00, 14), service(8_00, 7), service(5_00, 0), other]) == (service(3_00, 0), other)
    assert offset([service(-10_00, 14), other]) == (other, service(-10_00, 14))


CLAIMS = st.lists(
    st.builds(
        Claim,
        st.sampled_from(["refunds_by_venue", "house_money"]),
        st.integers(-100, 100),
        st.integers(0, 9).map(lambda days: DAY - timedelta(days=days)),
    ),
    max_size=6,
)


@given(CLAIMS, st.integers(0, 300))
def test_what_was_claimed_is_taken_or_carried(claims: list[Claim], available: int) -> None:
    taken = take(claims, available=available)
    assert 0 <= taken.total == sum(line.amount for line in taken.lines) <= available
    assert taken.total + sum(claim.amount for claim in taken.carried) == sum(claim.amount for claim in claims)


@given(CLAIMS)
def test_setting_claims_against_each_other_changes_no_kinds_sum_and_leaves_one_sign(claims: list[Claim]) -> None:
    after = offset(claims)
    for code in ("refunds_by_venue", "house_money"):
        of_kind = [claim.amount for claim in after if claim.code == code]
        assert sum(of_kind) == sum(claim.amount for claim in claims if claim.code == code)
        assert all(amount > 0 for amount in of_kind) or len(of_kind) == 1
