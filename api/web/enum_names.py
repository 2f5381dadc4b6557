"""The named enums and unions of the contract: one schema for one concept, and one type in a generated client.

- An enum has a name if it occurs at two places, is the item of a list or may be null; so has every union of messages.
  Generators make up a name where there is none, such as ``OutItem`` or ``OutType0``; a test fails first.
- Values are written where the messages are. The table only says at which place, ``message.field`` or
  ``operation.parameter``, the values of a name are found.
"""

from collections.abc import Iterator
from typing import Any

ENUM_NAMES = {
    "AccountKind": "AccountOut.kind",
    "AgreementPays": "AgreementOut.pays",
    "AmountTierMode": "AmountTiersOut.mode",
    "BatteryChemistry": "PowerOut.chemistry",
    "BatteryRest": "BatteryHealthOut.rest",
    "BoxAtMove": "MoveIn.box",
    "CapAfter": "CapOut.after",
    "ClockDoubt": "ClockHealthOut.cannot_tell",
    "ClockVerdict": "ClockHealthOut.verdict",
    "CompletionOutcome": "CompletionOut.outcome",
    "ControllerClock": "ControllerOut.clock",
    "Counting": "LadderOut.counting",
    "CsvDecimal": "get_quote.decimal",
    "CsvSeparator": "get_quote.separator",
    "DepartureKind": "RetirementOut.how",
    "DrawnFormat": "get_week_picture.format",
    "EarningsBy": "EarningsOut.by",
    "EventKind": "PurchaseStepOut.kind",
    "FaultKind": "JobOut.fault",
    "FirstMoneyPeriod": "FirstMoneyOut.per",
    "HolidayDates": "DatesPublicationIn.days",
    "ImportKind": "ImportOut.of",
    "ImportMode": "ImportOut.mode",
    "ItemOutcome": "ItemResultOut.outcome",
    "JobState": "JobOut.state",
    "MeterCounts": "MeterOut.counts",
    "MeterDeltaKind": "MeterHealthOut.kind",
    "MeterReset": "MeterOut.resets",
    "MoneyCountedBy": "PlayOfMeterOut.money_by",
    "OfferKind": "AdviceOut.kind",
    "OperatorMinimumKind": "OperatorMinimumOut.kind",
    "OperatorOrVenue": "AgreementOut.odd_unit_to",
    "PaperSize": "get_price_card.paper",
    "PictureFormat": "get_earnings.format",
    "PowerKind": "PowerOut.kind",
    "PrepaidKind": "ScenarioIn.buys",
    "PriceChangeVerdict": "PriceChangeOut.verdict",
    "ProposalAim": "ProposalOut.best_by",
    "QuoteBasis": "QuoteOut.basis",
    "RatePer": "MeteredOut.per",
    "RateTierMode": "MeteredOut.tier_mode",
    "ReadingFlag": "ReadingOut.flags",
    "ReportFormat": "get_worklist.format",
    "Role": "TokenOut.role",
    "SalesStatus": "QuoteOut.status",
    "ScheduleOwner": "WindowOut.of",
    "SellsCaution": "TableSellsOut.caution",
    "WebhookDeliveryState": "WebhookDeliveryOut.state",
    "WebhookEventType": "WebhookEndpointOut.event_types",
    "WebhookOffBecause": "WebhookEndpointOut.off_because",
    "SettlesOn": "AgreementOut.settles_on",
    "SheetReport": "SheetLinkOut.reports",
    "TablePlace": "TablePlaceOut.kind",
    "TripOrder": "TripOut.order",
    "TripState": "TripOut.state",
    "WeekWindowKind": "WindowOut.kind",
    "Weekday": "WeeklyOut.days",
    "WorkAtTable": "ReadingOut.done",
    "WorkCode": "WorkOut.code",
    "WorkKind": "WorkOut.kind",
}
UNION_NAMES = {"AnswerOut": "ResultOut.answer", "OfferOut": "QuoteOut.offers"}
_KEPT = ("description", "default", "example", "examples")


def name_enums(contract: dict[str, Any]) -> None:
    """Put each named enum into the contract once, and refer to it wherever its values occur."""
    operations = {o["operationId"]: o for path in contract["paths"].values() for o in path.values()}
    schemas = contract["components"]["schemas"]
    values: dict[str, list[str]] = {}
    for name, place in ENUM_NAMES.items():
        owner, _, field = place.partition(".")
        if owner in schemas:
            found = next(enums_below(schemas[owner]["properties"][field]))
        else:
            found = next(e for p in operations[owner]["parameters"] if p["name"] == field for e in enums_below(p))
        values[name] = found["enum"]
    names = {frozenset(enum): name for name, enum in values.items()}
    for enum in list(enums_below(contract)):
        named = names.get(frozenset(enum["enum"]))
        if named is not None:
            kept = {key: enum[key] for key in _KEPT if key in enum}
            enum.clear()
            enum.update({"$ref": f"#/components/schemas/{named}"}, **kept)
    schemas.update({name: {"type": "string", "enum": enum, "title": name} for name, enum in values.items()})


def name_unions(contract: dict[str, Any]) -> None:
    """Put each named union into the contract once, and refer to it wherever its messages occur."""
    schemas = contract["components"]["schemas"]
    found = {}
    for name, place in UNION_NAMES.items():
        owner, _, field = place.partition(".")
        union = next(unions_below(schemas[owner]["properties"][field]))
        found[name] = {key: union[key] for key in ("oneOf", "discriminator")}
    names = {frozenset(union["discriminator"]["mapping"].values()): name for name, union in found.items()}
    for union in list(unions_below(contract)):
        named = names.get(frozenset(one["$ref"] for one in union["oneOf"]))
        if named is not None:
            kept = {key: union[key] for key in _KEPT if key in union}
            union.clear()
            union.update({"$ref": f"#/components/schemas/{named}"}, **kept)
    schemas.update({name: {**union, "title": name} for name, union in found.items()})


def unions_below(part: Any) -> Iterator[dict[str, Any]]:
    """Yield every schema of a part of the contract that is one of several messages."""
    if isinstance(part, dict):
        if "oneOf" in part:
            yield part
        for name, below in part.items():
            if name not in ("example", "examples"):
                yield from unions_below(below)
    elif isinstance(part, list):
        for below in part:
            yield from unions_below(below)


def enums_below(part: Any) -> Iterator[dict[str, Any]]:
    """Yield every schema of a part of the contract that lists its values, examples left out."""
    if isinstance(part, dict):
        if isinstance(part.get("enum"), list):
            yield part
        for name, below in part.items():
            if name not in ("example", "examples"):
                yield from enums_below(below)
    elif isinstance(part, list):
        for below in part:
            yield from enums_below(below)
