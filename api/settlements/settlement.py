"""A settlement: how the money of one collection is divided, in numbered steps, each a line.

1. gross: what was counted, or what was expected, or the higher of the two, as the agreement says (``settles_on``);
2. returns: refunds that the venue paid, house money and test money, which were never takings; and the change of
   earlier grosses whose expectation is judged otherwise now, taken or given back by the operator (C9);
3. tax, taken out of the rest;
4. first money to the operator, and what was taken too much before a correction given back (C5);
5. the operator's minimum, as front money before the split or as a guarantee of the operator's share after it;
6. the split of what is left;
7. the venue's loan: a percentage of its share, at most what it owes;
8. the rest of the venue's share: handed over now, or onto its balance.

- The first line is the gross; all other lines add up to it, to the cent (D1). Each is money that goes to one place, so
  the venue's share is there as its parts: what repays its loan, and what it gets.
- Nothing takes more than is there: what returns, first money or the minimum could not take is carried forward by kind,
  the oldest first, whatever agreement comes next (D2). Claimed = taken + carried forward. Only a correction is below
  zero, and a loan repayment where the venue had repaid more than it owed.
- Where the gross is not the count, it is the count brought into the expected range (C4): a count inside the range
  does not change. The operator bears the difference: takings in the books are what was counted, the others get theirs
  of the gross. Without any expectation the count is settled, with advice.
- A settlement is never changed. When the expectation that it rested on is judged otherwise later, the next settlement
  has a ``correction`` line before tax and split: both then follow the gross as it is judged now (C9).
- Nobody is handed more than was counted: what the venue cannot be given now goes onto its balance.
- A guarantee is a floor of the operator's share of each collection; what one could not reach raises the next floor.
  Carried minimum money is front money where the agreement in force has no minimum.
- The odd unit of the split goes to the party that the agreement names; a zero share never gets one (D1).
- A venue's share above the agreement's cap brings advice with the cap's own name, never another split (D4).
- The same inputs give the same settlement, as a preview and for good (C6).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from math import floor

from ..pricing.money import allot, format_money, round_half_up
from ..tax_areas.percents import percent_in_words
from ..tax_areas.tax_area import NOT_ADVICE, TaxRate
from .agreement import Agreement, CapAfter, ShareCap
from .box_contents import Box
from .carried_forward import RETURNS, Claim, LineCode, SettlementLine, Taken, bounded, give_back, offset, take


@dataclass(frozen=True, slots=True)
class SettlementAdvice:
    """Something the owner may want to know about a settlement; never a refusal."""

    code: str
    detail: str


@dataclass(frozen=True, slots=True)
class Settlement:
    """How one collection was divided: amounts in minor units, lines in the order of the steps.

    ``operator_share`` is the operator's part of the split with what a guarantee adds to it; first money and front money
    are lines of their own. ``venue_share`` is the venue's part, before its loan. ``claims`` is all that was claimed.
    ``revised`` is what the operator took, or below zero gave back, of earlier grosses (C9).
    """

    agreement_id: str
    agreement_version: int
    trading_on: date
    counted: int
    gross: int
    lines: tuple[SettlementLine, ...]
    tax: int
    venue_share: int
    operator_share: int
    loan_repaid: int
    to_venue_now: int
    to_venue_balance: int
    claims: tuple[Claim, ...]
    carried_forward: tuple[Claim, ...]
    advice: tuple[SettlementAdvice, ...]
    revised: int = 0
    notice: str = NOT_ADVICE

    @property
    def first_money(self) -> int:
        """All that the operator takes before the split, less what is given back (C5); not what C9 changed."""
        codes = ("first_money", "operator_minimum", "correction")
        return sum(line.amount for line in self.lines if line.code in codes) - self.revised

    @property
    def returned_to_venue(self) -> int:
        """Refunds and house money handed back at the visit."""
        return sum(line.amount for line in self.lines if line.code in ("refunds_by_venue", "house_money"))

    @property
    def to_bag(self) -> int:
        """The cash that the collector takes along."""
        return self.counted - self.returned_to_venue - self.to_venue_now


def settle(
    agreement: Agreement,
    box: Box,
    *,
    currency: str,
    trading_on: date,
    tax: TaxRate | None = None,
    due: Sequence[Claim] = (),
    carried_in: Sequence[Claim] = (),
    loan_balance: int = 0,
) -> Settlement:
    """Divide the money of one collection under the agreement in force on its trading date.

    ``tax`` is the rate of the venue's area on that date; ``due`` what ``first_money_due`` finds; ``carried_in`` what the
    last settlement carried forward, and corrections below zero; ``loan_balance`` what the venue owes, in minor units,
    below zero where it repaid too much. Refuses a date before the agreement (``not_in_force``).
    """
    agreement.week_on(trading_on)
    claims = (*carried_in, *box.claims(trading_on), *due, *_minimum_claim(agreement, trading_on))

    gross = {"counted": box.counted, "expected": box.near, "higher": max(box.counted, box.near)}[agreement.settles_on]
    returned = take(offset(_of(claims, *RETURNS)), available=min(gross, box.counted))
    after_returns = gross - returned.total
    revised = _revised(claims, available=after_returns)
    taxed = after_returns - revised.total
    tax_taken = tax.inside(taxed) if tax else 0
    after_tax = taxed - tax_taken
    first = _first_money(claims, available=after_tax)
    after_first = after_tax - first.total
    front_claims, floor_claims = _minimum_claims(agreement, claims)
    front = take(front_claims, available=after_first)
    after_front = after_first - front.total
    split = _split(agreement, after_front, floor_claims, on=trading_on)
    cash = box.counted - sum(line.amount for line in returned.lines if line.to == "venue")
    venue = _venue(agreement, split.venue, loan_balance=loan_balance, cash=cash)

    after: dict[CapAfter, int] = {
        "gross": gross,
        "returns": after_returns,
        "tax": after_tax,
        "first_money": after_first,
        "minimum": after_front,
    }
    top = SettlementLine("gross", box.counted, gross, f"Gross, as {agreement.settles_on}", "all")
    tax_lines = _tax_lines(tax, taxed, tax_taken)
    before_tax = (top, *returned.lines, *revised.lines)
    return Settlement(
        agreement_id=agreement.id,
        agreement_version=agreement.version,
        trading_on=trading_on,
        counted=box.counted,
        gross=gross,
        lines=(*before_tax, *tax_lines, *first.lines, *front.lines, *split.lines, *venue.lines),
        tax=tax_taken,
        venue_share=split.venue,
        operator_share=split.operator,
        loan_repaid=venue.loan_repaid,
        to_venue_now=venue.now,
        to_venue_balance=venue.balance,
        claims=claims,
        carried_forward=bounded((*returned.carried, *revised.carried, *first.carried, *front.carried, *split.carried)),
        advice=(
            *_gross_advice(agreement, box, gross, currency),
            *_cap_advice(agreement.cap, split.venue, after, currency),
        ),
        revised=revised.total,
    )


def check_settlement(settlement: Settlement) -> None:
    """Raise RuntimeError, a mistake of ours, unless a settlement keeps the rules D1 and D2 as sums."""
    first, *rest = settlement.lines
    by_code: Counter[LineCode] = Counter()
    for line in rest:
        by_code[line.code] += line.amount
    below = {line.code for line in rest if line.amount < 0}
    guaranteed = by_code["operator_guarantee"]
    parts = (settlement.loan_repaid, settlement.to_venue_now, settlement.to_venue_balance)
    rules = {
        "the first line is the gross, never below zero": first.code == "gross"
        and first.amount == settlement.gross >= 0,
        "all other lines add up to the gross": sum(by_code.values()) == settlement.gross,
        "only corrections are below zero": below <= {"correction", "loan_repayment"},
        "the tax is its line": by_code["tax"] == settlement.tax,
        "the operator's share is its lines": by_code["operator_share"] + guaranteed == settlement.operator_share,
        "the venue's share is its parts": sum(parts) == settlement.venue_share >= 0,
        "nobody gets less than nothing": min(settlement.operator_share, *parts[1:]) >= 0,
        "nobody is handed more than was counted": settlement.to_bag >= 0,
        "claimed = taken + met by the guarantee + carried forward": _claims_add_up(settlement, by_code),
    }
    broken = [rule for rule, kept in rules.items() if not kept]
    if broken:
        raise RuntimeError(f"A settlement of {settlement.trading_on} breaks: {'; '.join(broken)}.")


def _claims_add_up(settlement: Settlement, taken: Mapping[LineCode, int]) -> bool:
    claimed = sum(claim.amount for claim in settlement.claims)
    carried = sum(claim.amount for claim in settlement.carried_forward)
    by_line = taken["correction"] + taken["first_money"] + taken["operator_minimum"]
    by_line += taken["refunds_by_venue"] + taken["house_money"] + taken["test_money"]
    return 0 <= claimed - carried - by_line <= settlement.operator_share


@dataclass(frozen=True, slots=True)
class _Split:
    operator: int
    venue: int
    lines: tuple[SettlementLine, ...]
    carried: tuple[Claim, ...]


@dataclass(frozen=True, slots=True)
class _Venue:
    loan_repaid: int
    now: int
    balance: int
    lines: tuple[SettlementLine, ...]


def _of(claims: Sequence[Claim], *codes: str) -> tuple[Claim, ...]:
    return tuple(claim for claim in claims if claim.code in codes)


def _minimum_claim(agreement: Agreement, on: date) -> tuple[Claim, ...]:
    minimum = agreement.operator_minimum
    return (Claim("operator_minimum", minimum.amount, on),) if minimum and minimum.amount else ()


def _revised(claims: Sequence[Claim], *, available: int) -> Taken:
    """Give back what earlier settlements divided too little, then take what they divided too much (C9)."""
    back = give_back(_of(claims, "expectation"))
    taken = take(back.carried, available=available - back.total)
    return Taken((*back.lines, *taken.lines), back.total + taken.total, taken.carried)


def _first_money(claims: Sequence[Claim], *, available: int) -> Taken:
    """Give back what was taken too much of the operator's claims, then take the first money that is due."""
    back = give_back(_of(claims, "first_money", "operator_minimum"))
    first = take(_of(back.carried, "first_money"), available=available - back.total)
    return Taken((*back.lines, *first.lines), back.total + first.total, first.carried)


def _minimum_claims(agreement: Agreement, claims: Sequence[Claim]) -> tuple[Sequence[Claim], Sequence[Claim]]:
    """Return the minimum's claims that are front money, and those that are a floor of the operator's share."""
    minimum = tuple(claim for claim in _of(claims, "operator_minimum") if claim.amount > 0)
    guaranteed = agreement.operator_minimum is not None and agreement.operator_minimum.kind == "guarantee"
    return ((), minimum) if guaranteed else (minimum, ())


def _split(agreement: Agreement, left: int, floor_claims: Sequence[Claim], *, on: date) -> _Split:
    part = agreement.venue_part(left, on=on)
    operator, venue = allot(left, [left - part, part], tie_to=1 if agreement.odd_unit_to == "venue" else 0)
    guaranteed = take(floor_claims, available=left)
    added = max(guaranteed.total - operator, 0)
    what = (
        f"Operator's share, {percent_in_words(100 - 100 * part / left)} %"
        if left
        else "Operator's share: nothing left to split"
    )
    lines = [SettlementLine("operator_share", left, operator, what, "operator")]
    if added:
        what = "Out of the venue's share, to reach the operator's guarantee"
        lines.append(SettlementLine("operator_guarantee", guaranteed.total, added, what, "operator"))
    return _Split(operator + added, venue - added, tuple(lines), guaranteed.carried)


def _tax_lines(tax: TaxRate | None, taxed: int, amount: int) -> tuple[SettlementLine, ...]:
    return (SettlementLine("tax", taxed, amount, f"Tax, {tax.words}", "tax_office"),) if tax else ()


def _venue(agreement: Agreement, share: int, *, loan_balance: int, cash: int) -> _Venue:
    """Divide the venue's share: its loan, what it is handed of the ``cash`` that is there, and its balance."""
    repaid = min(round_half_up(share * agreement.loan_repay_percent / 100), loan_balance)
    now = min(share - repaid, cash) if agreement.pays == "at_visit" else 0
    balance = share - repaid - now
    lines = []
    if repaid:
        what = f"Venue's loan, {percent_in_words(agreement.loan_repay_percent)} % of its share, at most what it owes"
        lines.append(SettlementLine("loan_repayment", share, repaid, what, "operator"))
    if agreement.pays == "at_visit":
        lines.append(SettlementLine("to_venue_now", share, now, "Of the venue's share, handed over now", "venue"))
    if agreement.pays == "monthly" or balance:
        lines.append(SettlementLine("to_venue_balance", share, balance, "Of the venue's share, owed to it", "venue"))
    return _Venue(repaid, now, balance, tuple(lines))


def _gross_advice(agreement: Agreement, box: Box, gross: int, currency: str) -> tuple[SettlementAdvice, ...]:
    if agreement.settles_on == "counted":
        return ()
    if box.expected is None:
        detail = "The agreement settles on the expectation. No meter gives one, so the count was divided."
        return (SettlementAdvice("nothing_expected", detail),)
    if gross == box.counted:
        return ()
    counted, divided = format_money(box.counted, currency), format_money(gross, currency)
    does, apart = "keeps" if box.counted > gross else "makes up", format_money(abs(box.counted - gross), currency)
    detail = f"{counted} was counted and {divided} divided, as the agreement says; the operator {does} {apart}."
    return (SettlementAdvice("settled_on_expectation", detail),)


def _cap_advice(
    cap: ShareCap | None, share: int, bases: Mapping[CapAfter, int], currency: str
) -> tuple[SettlementAdvice, ...]:
    if cap is None or share <= (limit := cap.venue_percent_max * Fraction(bases[cap.after]) / 100):
        return ()
    most, base = format_money(floor(limit), currency), format_money(bases[cap.after], currency)
    detail = (
        f"{cap.name}: the venue's share is {format_money(share, currency)}, more than {most}, "
        f"which is {percent_in_words(cap.venue_percent_max)} % of {base}, the money after {cap.after.replace('_', ' ')}. {NOT_ADVICE}"
    )
    return (SettlementAdvice("cap_exceeded", detail),)
