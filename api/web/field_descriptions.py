"""What received fields mean, where their own declaration does not say it: by schema and field, and by parameter.

``web/openapi.py`` writes them into the contract; a description at the field itself is kept. A test finds a received
field or parameter without one, and a line here that describes nothing.
"""

_NAME_OF_ENTRY = "Its name; answers give it as the reason for a price."
_FROM = "When it begins, local time (HH:MM); absent: when the trading day starts."
_TO = "When it ends, local time, not included; absent: when the trading day ends."
_SOLD_THEN = "The tariff that sells then; null: closed."
_CALENDAR = "Of an entry that a calendar brought: the name of the calendar. The next import of it replaces the entry."
_UID = "Of an entry that a calendar brought: the UID of its event."
_METERS_OF = "Its meters, each with a name of its own."
_CONTROLLER = "What its controller can hold; absent: no limits are known."

_TABLE = {
    "label": "What people call the table.",
    "purchase": "How its controller tells one purchase from the next.",
    "power": "What it runs on: a battery or the mains.",
    "meters": _METERS_OF,
    "controller": _CONTROLLER,
    "cash_box": "How much its cash box holds.",
    "licence": "Its licence, where it needs one.",
}
_SCHEDULE = {
    "effective_on": "The trading date at whose start it takes effect.",
    "base": "The tariff that sells when no entry says otherwise; null: closed.",
    "weekly": "Windows of the week. Where two overlap, the later one in the list applies.",
    "recurring": "Recurring events; they override the weekly windows.",
    "dates": "Single dates; they override everything else.",
}

FIELD_DESCRIPTIONS: dict[str, dict[str, str]] = {
    "AccountNamesIn": {"names": "Your own name for each account, by the account's code."},
    "CashBoxIn": {
        "coins_max": "How many coins it holds.",
        "notes_max": "How many notes it holds.",
        "value_max": "How much money may be in it, in the venue's currency.",
    },
    "ClockIn": {
        "time": "The time that it showed (HH:MM).",
        "weekday": "The weekday that it showed, if it shows one.",
        "date": "The date that it showed, if it shows one.",
        "display": "Whether it shows 24 hours, or 12 without telling am from pm; 24h by default.",
    },
    "ControllerIn": {
        "games": "What it can hold of prices for games; absent: it sells none.",
        "minutes": "What it can hold of prices for minutes; absent: it sells none.",
        "kinds_at_once": "Whether it can sell games and minutes at the same time.",
        "windows_per_day": "How many times of a day can have prices of their own; absent: any number.",
    },
    "EntryIn": {
        "kind": "What was done with the money.",
        "amount": "How much, above zero.",
        "venue_id": "The venue that it concerns; needed where the kind concerns a venue.",
        "on": "The date on which it was done.",
        "currency": "Its ISO 4217 code; absent: that of the venue.",
        "account": "The account, for kinds that leave a choice.",
        "reference": "The reference on the paper: a slip, an invoice, a transfer.",
    },
    "EntryReversalIn": {
        "reason": "Why it is taken back.",
        "on": "The date on which the mirror image is booked.",
    },
    "EventIn": {
        "kind": "Money put in (insert), or a game started (start).",
        "amount": "The amount put in; for insert only.",
    },
    "FoundDayIn": {
        "day": "The controller's day: mon to sun, or a date where it knows dates.",
        "windows": "What it sells at which times of that day.",
    },
    "FoundLadderIn": {
        "prices": "The prices found, from the least to the greatest.",
        "counting": "How it counts the money of one purchase; repeat by default.",
    },
    "FoundSettingsIn": {"days": "The days that were looked at; all of the week, and the finding is complete."},
    "FoundWindowIn": {
        "from": "When it begins, by the controller's clock (HH:MM).",
        "to": "When it ends; the same as its beginning: all day.",
        "free": "Whether play is free then.",
        "games": "The prices for games; null: it sells none.",
        "minutes": "The prices for minutes; null: it sells none.",
    },
    "GamesLimitsIn": {"price_step": "The step of prices: only multiples of it can be keyed."},
    "LicenceIn": {"number": "The number on the licence.", "expires_on": "The date on which it expires."},
    "MaximumIn": {
        "amount": "The maximum charge.",
        "per_minutes": "The minutes that the maximum is for; absent: the whole time.",
    },
    "MeterIn": {
        "counts": "What it counts: money, games or minutes.",
        "unit_value": "Of a money meter: the money that one count is worth.",
        "digits": "How many digits it shows; after the last number it begins again at zero.",
        "resets": "Whether it is set to zero at each collection, or never.",
    },
    "MeteredIn": {
        "tiers": "The rates by elapsed time; the first begins at 0 minutes.",
        "tier_mode": "add: every tier's time at its own rate. set: the tier reached sets the whole price.",
        "start_fee": "A fee charged once at the start.",
        "per": "Whether it is charged for the table, or for each player.",
        "minimum": "The minimum charge.",
        "maximum": "The maximum charge.",
    },
    "MinutesLimitsIn": {
        "price_step": "The step of prices: only multiples of it can be keyed.",
        "units_step": "The step of minutes: only multiples of it can be keyed.",
        "units_min": "The fewest minutes that a price can buy.",
        "units_max": "The most minutes that a price can buy.",
    },
    "MoveIn": {
        "venue_id": "The venue to which it goes; null: to none.",
        "moved_at": "When it left the place where it was.",
        "meters": "The values on its meters when it left, by name.",
        "box": "Whether its box was emptied before, or travels with the money in it.",
    },
    "OnDateIn": {
        "name": _NAME_OF_ENTRY,
        "on": "The trading date.",
        "from": _FROM,
        "to": _TO,
        "tariff": _SOLD_THEN,
        "calendar": _CALENDAR,
        "uid": _UID,
    },
    "PowerIn": {
        "kind": "A battery, or the mains.",
        "chemistry": "Of a battery: its chemistry; unknown by default.",
        "nominal_volts": "Of a battery: 6 or 12; 12 by default.",
        "capacity_ah": "Of a battery: its capacity in ampere-hours.",
    },
    "PurchaseIn": {
        "gap_s": "Seconds within which further money belongs to the same purchase.",
        "ends_on_start": "Whether a purchase ends when a game starts.",
    },
    "ReadingIn": {
        "id": "A UUID that the sender makes, once for this reading.",
        "table_id": "The table that was read.",
        "taken_at": "When it was read.",
        "supply": "The supply voltage.",
        "clock": "What the table's clock showed.",
        "meters": "The values on the meters, by name.",
        "settings": "The prices found in the controller.",
        "controller_version": "The version that the controller shows.",
        "done": "The work that was done before this reading.",
        "note": "Anything worth knowing, in words.",
    },
    "ReadingsIn": {"readings": "The readings, in any order."},
    "RecurringIn": {
        "name": _NAME_OF_ENTRY,
        "starts_on": "The first trading date; the rule must fit it.",
        "rrule": "The rule of its dates by RFC 5545, such as FREQ=WEEKLY;BYDAY=TU.",
        "except_on": "Trading dates on which it does not take place.",
        "from": _FROM,
        "to": _TO,
        "tariff": _SOLD_THEN,
        "calendar": _CALENDAR,
        "uid": _UID,
    },
    "RolloutIn": {
        "replacement": "The tariff that takes its place.",
        "effective_on": "The trading date at whose start it does so.",
        "venue_ids": "Only these venues; absent: all where it would be in force.",
    },
    "ScenarioIn": {
        "venue_id": "The venue: ask for the prices listed there.",
        "table_id": "The table: ask for the prices that it sells.",
        "time_zone": "The time zone for a draft tariff.",
        "basis": "listed: the prices listed for a table instead of those that it sells.",
        "day": "The next such trading day after now: tue, Tuesday or tuesday.",
        "time": "The local time on that day: 21:00 or 9pm.",
        "money": "How much is put in, as a decimal string.",
        "games": "How many games are wanted.",
        "minutes": "How many minutes are wanted.",
        "players": "The number of players, for rates charged per player.",
        "events": "Money put in and games started, in the order of time.",
    },
    "ScenariosIn": {"scenarios": "The questions; each gets its answer or its problem, in order."},
    "ScheduleIn": _SCHEDULE,
    "SupplyIn": {
        "volts": "The voltage, as a decimal string.",
        "temperature_c": "The battery's temperature in degrees Celsius.",
        "rested_minutes": "For how long the table had been neither used nor charged.",
    },
    "TableChangeIn": {**_TABLE, "frame_number": "The number on its frame; null takes it out."},
    "TableIn": _TABLE,
    "TableScheduleIn": {
        **_SCHEDULE,
        "follow_venue": "True: from then on the venue's schedules apply to this table again.",
    },
    "TakeOverIn": {"from": "The day whose settings are taken over.", "to": "The days that can take them over."},
    "TariffIn": {
        "name": "What people call it.",
        "currency": "The ISO 4217 code of its prices.",
        "games": "Prices for games, paid in advance.",
        "minutes": "Prices for minutes, paid in advance.",
        "metered": "A rate for time, paid afterwards.",
        "free": "True: play is free, and there are no prices.",
    },
    "TaxAreaIn": {
        "code": "A short code of your own, by which venues name it.",
        "name": "What people call the area, or the tax.",
        "rates": "Its rates over time, the earliest first.",
    },
    "TaxRateIn": {
        "from_on": "The first date on which the rate holds.",
        "rate_percent": "The rate in per cent of the price without tax.",
        "divisor": "Instead of a rate: the takings divided by this are the price without tax.",
    },
    "TierIn": {
        "from_minutes": "The elapsed minute from which it holds.",
        "price": "The price of ``per_minutes``, or of the whole time.",
        "per_minutes": "The minutes that the price covers.",
        "step_minutes": "The step in minutes: each step begun is charged whole; per_minutes by default.",
    },
    "WeeklyIn": {
        "name": _NAME_OF_ENTRY,
        "days": "The trading days, mon to sun.",
        "from": _FROM,
        "to": _TO,
        "tariff": _SOLD_THEN,
    },
}

PARAMETER_DESCRIPTIONS: dict[str, str] = {
    "at": "The instant to ask about, or a local time of the venue; absent: now.",
    "code": "The code of the problem.",
    "collection_id": "The collection.",
    "dispute_id": "The dispute.",
    "entry_id": "The ledger entry.",
    "job_id": "The job.",
    "keying_id": "The keying.",
    "move_id": "The move.",
    "reading_id": "The reading.",
    "sheet_link_id": "The sheet link.",
    "table_id": "The table.",
    "tariff_id": "The tariff.",
    "tax_area": "The code of the tax area.",
    "token_id": "The token.",
    "venue_id": "The venue.",
    "webhook_endpoint_id": "The endpoint of webhooks.",
    "delivery_id": "The delivery.",
    "trip_id": "The trip.",
    "work_id": "The piece of work.",
}


def describe_fields(schemas: dict[str, dict[str, object]]) -> None:
    """Write the descriptions into a contract's schemas, where a field has none of its own."""
    for name, fields in FIELD_DESCRIPTIONS.items():
        properties = schemas[name]["properties"]
        assert isinstance(properties, dict)
        for field, text in fields.items():
            properties[field].setdefault("description", text)


def describe_parameter(parameter: dict[str, object]) -> None:
    """Write a parameter's description, where it has none of its own."""
    name = parameter["name"]
    if name in PARAMETER_DESCRIPTIONS:
        parameter.setdefault("description", PARAMETER_DESCRIPTIONS[str(name)])
