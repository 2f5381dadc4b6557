"""Between agreements and settlements as stored, as values and as sent."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from fractions import Fraction
from typing import Any
from uuid import UUID

from ..pricing import format_money
from ..pricing.errors import DomainError, Fault, domain_error
from ..pricing.money import in_currency, parse_money
from ..store.clock import new_id
from ..store.kept_by_id import KeptById
from ..tax_areas.percents import parse_percent, percent_in_words
from ..tax_areas.tax_area import NOT_ADVICE
from .agreement import (
    Agreement,
    AmountTier,
    AmountTiers,
    FirstMoney,
    OperatorMinimum,
    ShareCap,
    WeekStep,
)
from .carried_forward import Claim
from .first_money import Period
from .opening_state import Division, Settled
from .rows import AgreementRow, SettlementRow
from .schemas import (
    AgreementOut,
    AgreementStepOut,
    AmountTierOut,
    AmountTiersOut,
    CapOut,
    ClaimOut,
    FirstMoneyOut,
    OperatorMinimumOut,
    SettlementLineOut,
    SettlementOut,
)

TermsBody = Mapping[str, Any]
_compiled: KeptById[Agreement] = KeptById()


def read_agreement(body: TermsBody, *, currency: str, id: str = "", version: int = 1) -> Agreement:
    """Return the agreement of a body; refuse it with every fault that its parts have, else those of the whole."""
    reader = _AgreementReader(currency)
    terms: dict[str, Any] = {
        "effective_on": reader.part("effective_on", _date, body["effective_on"]),
        "venue_percent": reader.maybe("venue_percent", _percent, body),
        "steps": reader.parts("steps", _step, body),
        "amount_tiers": reader.maybe("amount_tiers", reader.amount_tiers, body),
        "first_money": reader.parts("first_money", reader.first_money, body),
        "operator_minimum": reader.maybe("operator_minimum", reader.operator_minimum, body),
        "loan_repay_percent": reader.maybe("loan_repay_percent", _percent, body) or Fraction(0),
        "cap": reader.maybe("cap", _cap, body),
    }
    reader.refuse_faults()
    plain = {name: body[name] for name in ("settles_on", "pays", "odd_unit_to") if name in body}
    return Agreement(**terms, **plain, id=id, version=version)


class _AgreementReader:
    """Reads the parts of a body and keeps the faults of those that do not read."""

    def __init__(self, currency: str) -> None:
        self.currency = currency
        self.faults: list[Fault] = []

    def refuse_faults(self) -> None:
        if self.faults:
            raise DomainError(*self.faults)

    def part(self, where: str, read: Callable[[Any], Any], value: Any) -> Any:
        try:
            return read(value)
        except DomainError as error:
            self.faults += (in_currency(fault, self.currency) for fault in error.within(where).faults)
            return None

    def maybe(self, name: str, read: Callable[[Any], Any], body: TermsBody) -> Any:
        return self.part(name, read, body[name]) if body.get(name) is not None else None

    def parts(self, name: str, read: Callable[[Any], Any], body: TermsBody) -> tuple[Any, ...]:
        return tuple(self.part(f"{name}[{index}]", read, value) for index, value in enumerate(body.get(name) or ()))

    def amount_tiers(self, body: TermsBody) -> AmountTiers:
        inner = _AgreementReader(self.currency)
        tiers = inner.parts("tiers", self.tier, body)
        inner.refuse_faults()
        return AmountTiers(body["mode"], tiers)

    def tier(self, body: TermsBody) -> AmountTier:
        return AmountTier(
            parse_money(body["from"], self.currency, where="from"),
            parse_percent(body["venue_percent"], where="venue_percent"),
        )

    def first_money(self, body: TermsBody) -> FirstMoney:
        return FirstMoney(
            name=body["name"],
            amount=parse_money(body["amount"], self.currency, where="amount"),
            per=body["per"],
            starts_on=_date(body["starts_on"], where="starts_on"),
            spread=body.get("spread", False),
        )

    def operator_minimum(self, body: TermsBody) -> OperatorMinimum:
        return OperatorMinimum(parse_money(body["amount"], self.currency, where="amount"), body["kind"])


def _step(body: TermsBody) -> WeekStep:
    return WeekStep(body["from_week"], parse_percent(body["venue_percent"], where="venue_percent"))


def _cap(body: TermsBody) -> ShareCap:
    percent = parse_percent(body["venue_percent_max"], where="venue_percent_max")
    return ShareCap(body["name"], percent, body.get("after", "first_money"))


def _percent(text: str) -> Fraction:
    return parse_percent(text, where="")


def _date(value: date | str, where: str = "") -> date:
    try:
        return value if isinstance(value, date) else date.fromisoformat(value)
    except ValueError:
        raise domain_error(
            "bad_date", where=where, found=repr(str(value)[:40]), expected="a date such as 2026-12-01"
        ) from None


def agreement_out(row: AgreementRow) -> AgreementOut:
    """Write a version of an agreement as its message."""
    agreement, currency = compile_agreement(row), row.currency
    tiers, minimum, cap = agreement.amount_tiers, agreement.operator_minimum, agreement.cap
    return AgreementOut(
        id=row.id,
        venue_id=row.venue_id,
        version=row.version,
        published_at=row.published_at,
        currency=currency,
        effective_on=agreement.effective_on,
        venue_percent=None if agreement.venue_percent is None else percent_in_words(agreement.venue_percent),
        steps=[
            AgreementStepOut(from_week=s.from_week, venue_percent=percent_in_words(s.venue_percent))
            for s in agreement.steps
        ],
        amount_tiers=tiers
        and AmountTiersOut(
            mode=tiers.mode,
            tiers=[
                AmountTierOut(
                    from_=format_money(t.from_minor, currency), venue_percent=percent_in_words(t.venue_percent)
                )
                for t in tiers.tiers
            ],
        ),
        first_money=[_first_money_out(item, currency) for item in agreement.first_money],
        operator_minimum=minimum
        and OperatorMinimumOut(amount=format_money(minimum.amount, currency), kind=minimum.kind),
        settles_on=agreement.settles_on,
        pays=agreement.pays,
        odd_unit_to=agreement.odd_unit_to,
        loan_repay_percent=percent_in_words(agreement.loan_repay_percent),
        cap=cap and CapOut(name=cap.name, venue_percent_max=percent_in_words(cap.venue_percent_max), after=cap.after),
        notice=NOT_ADVICE,
    )


def _first_money_out(item: FirstMoney, currency: str) -> FirstMoneyOut:
    return FirstMoneyOut(
        name=item.name,
        amount=format_money(item.amount, currency),
        per=item.per,
        starts_on=item.starts_on,
        spread=item.spread,
    )


def compile_agreement(row: AgreementRow) -> Agreement:
    """Return a version of an agreement as a value; it never changes, so it is kept by its id."""
    agreement = _compiled.get(row.id)
    if agreement is None:
        agreement = read_agreement(row.terms, currency=row.currency, id=str(row.id), version=row.version)
        _compiled.keep(row.id, agreement)
    return agreement


def settlement_out(row: SettlementRow, currency: str) -> SettlementOut:
    """Write a settlement."""

    def money(minor: int) -> str:
        return format_money(minor, currency)

    carried = [
        ClaimOut(code=claim["code"], name=claim["name"], due_on=claim["due_on"], amount=money(claim["amount_minor"]))
        for claim in row.carried_forward
    ]
    return SettlementOut(
        lines=[
            SettlementLineOut(
                code=line["code"],
                what=line["what"],
                to=line["to"],
                basis=money(line["basis_minor"]),
                amount=money(line["amount_minor"]),
            )
            for line in row.lines
        ],
        agreement_id=row.agreement_id,
        agreement_version=row.agreement_version,
        settled_at=row.settled_at,
        tax=money(row.tax_minor),
        tax_area=row.tax_area,
        venue_share=money(row.venue_share_minor),
        operator_share=money(row.operator_share_minor),
        loan_repaid=money(row.loan_repaid_minor),
        to_venue_now=money(row.to_venue_now_minor),
        to_venue_balance=money(row.to_venue_balance_minor),
        to_bag=money(row.to_bag_minor),
        carried_forward=money(sum(claim["amount_minor"] for claim in row.carried_forward)),
        claims_carried=carried,
        notice=NOT_ADVICE,
    )


def settled_of(row: Any, *, carried_in: Sequence[dict[str, Any]], carried_forward: Sequence[dict[str, Any]]) -> Settled:
    """Return a stored settlement (its row, or some of its columns) and its claims as what the next one goes on from."""
    return Settled(
        trading_on=row.trading_on,
        carried_in=_read_claims(carried_in),
        carried_forward=_read_claims(carried_forward),
        loan_minor=row.loan_before_minor,
    )


def read_periods(stored: Sequence[dict[str, Any]]) -> tuple[Period, ...]:
    """Return stored periods as values."""
    return tuple(
        Period(one["after_on"] and date.fromisoformat(one["after_on"]), date.fromisoformat(one["until_on"]))
        for one in stored
    )


def settlement_row(
    division: Division, *, sequence: int, collection_id: UUID, venue_id: UUID, entry_id: UUID | None, now: datetime
) -> SettlementRow:
    """Return a settlement as its row; a preview has the sequence 0."""
    settlement, opening = division.settlement, division.opening
    tax_line = next((line for line in settlement.lines if line.code == "tax"), None)
    return SettlementRow(
        id=new_id(),
        sequence=sequence,
        collection_id=collection_id,
        venue_id=venue_id,
        trading_on=settlement.trading_on,
        settled_at=now,
        agreement_id=UUID(settlement.agreement_id),
        agreement_version=settlement.agreement_version,
        entry_id=entry_id,
        gross_minor=settlement.gross,
        tax_area=division.tax_area.code if division.tax_area and division.tax else None,
        tax_rate=division.tax.words if division.tax else None,
        taxed_minor=tax_line.basis if tax_line else 0,
        tax_minor=settlement.tax,
        venue_share_minor=settlement.venue_share,
        operator_share_minor=settlement.operator_share,
        loan_before_minor=opening.loan_minor,
        loan_repaid_minor=settlement.loan_repaid,
        to_venue_now_minor=settlement.to_venue_now,
        to_venue_balance_minor=settlement.to_venue_balance,
        to_bag_minor=settlement.to_bag,
        lines=[
            {
                "code": line.code,
                "what": line.what,
                "to": line.to,
                "basis_minor": line.basis,
                "amount_minor": line.amount,
            }
            for line in settlement.lines
        ],
        carried_in=_write_claims(opening.carried_in),
        carried_forward=_write_claims(settlement.carried_forward),
        reckoned=[
            {"after_on": period.after_on and period.after_on.isoformat(), "until_on": period.until_on.isoformat()}
            for period in opening.periods
        ],
        advice=[{"code": item.code, "detail": item.detail} for item in settlement.advice],
    )


def _write_claims(claims: Sequence[Claim]) -> list[dict[str, Any]]:
    return [
        {"code": claim.code, "name": claim.name, "due_on": claim.due_on.isoformat(), "amount_minor": claim.amount}
        for claim in claims
    ]


def _read_claims(stored: Sequence[dict[str, Any]]) -> tuple[Claim, ...]:
    return tuple(
        Claim(claim["code"], claim["amount_minor"], date.fromisoformat(claim["due_on"]), claim["name"])
        for claim in stored
    )
