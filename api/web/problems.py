"""Every problem this service can answer with: its code, status, title, and what to do about it.

The table is the only place where a code meets an HTTP status; a code that is not in it cannot be answered (a mistake of
ours: 500). In groups by status and by the rule that refuses.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """One kind of refusal, as its page explains it."""

    status: int
    title: str
    meaning: str


PROBLEMS: dict[str, ProblemKind] = {
    code: ProblemKind(status, title, meaning)
    for code, status, title, meaning in (
        # 400: the message cannot be read
        (
            "malformed",
            400,
            "Unreadable message",
            "Send JSON in UTF-8 with the content type application/json: each name once in an object, finite numbers, "
            "at most 200,000 values in 32 levels.",
        ),
        # 401, 403, 404, 405, 408
        (
            "no_token",
            401,
            "Token required",
            "Send the header Authorization: Bearer …, once, with a token that an owner made.",
        ),
        (
            "wrong_token",
            401,
            "Invalid token",
            "The token is unknown, expired or revoked. Ask an owner for another.",
        ),
        (
            "forbidden",
            403,
            "Not allowed for this token",
            "The token's role does not include this operation. An owner can make a token of another role.",
        ),
        (
            "not_found",
            404,
            "Not found",
            "The address names something that does not exist or that this token may not see.",
        ),
        ("method_not_allowed", 405, "Method not allowed", "The header Allow names the methods of this address."),
        (
            "too_slow",
            408,
            "Request too slow",
            "The body did not arrive in time. Send at least 10 kB every 10 seconds, to the end of the body.",
        ),
        # 409: conflicts with stored data
        (
            "above_balance",
            409,
            "Amount above the balance",
            "Look up the balance in /v1/ledger/accounts and write off at most that amount.",
        ),
        (
            "already_answered",
            409,
            "Dispute already answered",
            "A dispute has one answer. Raise another dispute to object to it.",
        ),
        (
            "already_completed",
            409,
            "Work already closed",
            "Somebody closed this work in words. If its cause comes back, it is new work.",
        ),
        (
            "already_done",
            409,
            "Job already closed",
            "A job closes once. Report a fault that comes back as a new job.",
        ),
        (
            "already_reversed",
            409,
            "Already reversed",
            "A reversal is final. In place of a collection, record a new one of the same venue, tables and time; "
            "in place of an entry, post a new one.",
        ),
        (
            "already_settled",
            409,
            "Collection already settled",
            "A collection is settled once. To settle it again, reverse it and record it again.",
        ),
        (
            "too_many_webhooks",
            409,
            "Too many webhook endpoints",
            "Delete an endpoint that is not used any more.",
        ),
        (
            "webhook_off",
            409,
            "Webhook endpoint switched off",
            "Switch the endpoint on first: PATCH it with on: true.",
        ),
        (
            "closed_by_a_record",
            409,
            "Closed by a record, not by words",
            "Record what was done: a reading, a keying, a collection, or the answer to a dispute. `closes_by` and "
            "`closes_when` of each item on the worklist say what closes it.",
        ),
        (
            "already_there",
            409,
            "Table already at this place",
            "A move takes a table to another venue or to the workshop. Record a box emptied on the spot as a collection.",
        ),
        (
            "already_void",
            409,
            "Already void",
            "A reading, a keying or a move is voided once; the reason and the person who gave it stay with it.",
        ),
        (
            "answer_not_kept",
            409,
            "Request already carried out",
            "A request with this Idempotency-Key was carried out before, and nothing was done again. The service keeps "
            "no answer that shows a token and none above 64 kB; the detail names the outcome. To replace a lost token, "
            "revoke it and make another.",
        ),
        (
            "books_damaged",
            409,
            "Damaged books",
            "A stored entry no longer fits the chain of entries. GET /v1/ledger/verify names it; compare it with a backup.",
        ),
        (
            "conflict",
            409,
            "Conflicts with stored data",
            "Another request changed the data meanwhile, or the name is taken. Read the current state and try again.",
        ),
        (
            "currency_differs",
            409,
            "Different currencies",
            "A tariff sells in the currency of the venue. The service converts no currency.",
        ),
        (
            "fixed_by_schedule",
            409,
            "Fixed by a schedule",
            "Time zone, start of the trading day and currency of a venue are fixed once it has a schedule: changing "
            "them would change past answers.",
        ),
        (
            "no_agreement",
            409,
            "No agreement on that date",
            "Publish an agreement of the venue that begins on or before the collection's trading date, then settle it.",
        ),
        (
            "period_before_records",
            409,
            "Period before the first record",
            "Nothing was recorded yet in that period. Ask about one that goes past the date that the answer names.",
        ),
        (
            "no_price_change",
            409,
            "No table changed to these prices",
            "A change takes the place of earlier prices at a table. Publish and key the prices, or ask about others.",
        ),
        (
            "no_schedule_yet",
            409,
            "No prices listed yet at that time",
            "The time is before the first schedule of the venue. Publish an earlier one, or ask about a later time.",
        ),
        ("no_table_there", 409, "No table at the venue", "Create a table at the venue, or move one there."),
        (
            "not_at_a_venue",
            409,
            "Table at no venue",
            "The table is in the workshop at that time. Move it to a venue first.",
        ),
        (
            "out_of_order",
            409,
            "Earlier than the last move",
            "Moves of a table follow one another in time: give a time after its last move.",
        ),
        (
            "table_gone",
            409,
            "The table has left the route",
            "The table was retired, sold or lost by then: it takes no move, reading, collection, keying or job of a later "
            "time. If that is wrong, void the move by which it left.",
        ),
        (
            "last_collection_needed",
            409,
            "Last collection missing",
            "The table was at a venue for more than a day since its box was last emptied. Record its last collection, or "
            "send box: empty after looking.",
        ),
        (
            "not_the_last_move",
            409,
            "Not the last move of the table",
            "Void the later moves first, the last one before the others.",
        ),
        (
            "still_used",
            409,
            "Still in use",
            "Only what nothing refers to can be deleted. The list of errors names what refers to it. End a table by its "
            "retirement, a venue by its departure.",
        ),
        (
            "tables_still_there",
            409,
            "Tables still at the venue",
            "Record where each table went, then the departure of the venue.",
        ),
        (
            "trip_ended",
            409,
            "Trip already ended",
            "A trip is done or cancelled once. Plan another.",
        ),
        (
            "venue_left",
            409,
            "The venue has left the route",
            "No table comes to a venue after its departure. Make a new venue if it comes back.",
        ),
        (
            "reversal_of_reversal",
            409,
            "Reversal of a reversal",
            "Post the entry again, or send the corrected collection.",
        ),
        (
            "same_id_other_content",
            409,
            "Id already used",
            "This id was sent before with other content. Send different content under a new id.",
        ),
        (
            "system_entry",
            409,
            "Entry made by the service",
            "Reverse the collection to reverse its entry.",
        ),
        # 412, 413, 428
        (
            "precondition_failed",
            412,
            "Changed meanwhile",
            "If-Match names an older state. Read it again, check the changes, and send yours with the new ETag.",
        ),
        (
            "too_large",
            413,
            "Message too large",
            "Send less at a time. A compressed body counts with its inflated size.",
        ),
        (
            "if_match_needed",
            428,
            "If-Match required",
            "Send the ETag of the last GET as If-Match. It protects the changes of others.",
        ),
        # 422: any value
        (
            "invalid",
            422,
            "Invalid value",
            "The list of errors names each value, where it is, and what is expected.",
        ),
        (
            "key_reused",
            422,
            "Idempotency key used for another request",
            "Use a new key for a new request. Repeat a key only with the same method, address and body.",
        ),
        # 422: prices, schedules and questions
        ("bad_cap", 422, "Invalid cap", "The list of errors names each number of the cap and its bounds."),
        ("bad_counting", 422, "Invalid way of counting", "counting is repeat, climb or climb_once."),
        ("bad_days", 422, "Invalid list of days", "A window names each of its days once, from mon to sun."),
        ("bad_denomination", 422, "Invalid coin or note", "A denomination is an amount above 0, named once."),
        ("bad_denominations", 422, "Invalid coins and notes", "Denominations are amounts above 0."),
        (
            "bad_money",
            422,
            "Invalid amount of money",
            "Money is a decimal string in the currency's own unit, with no more decimals than the currency has.",
        ),
        ("bad_piece", 422, "Invalid stretch of play", "A stretch has a start and a later end, both with an offset."),
        ("bad_players", 422, "Invalid number of players", "Give 1 to 100 players."),
        ("bad_price", 422, "Invalid price", "A price is above 0 and buys at least one unit."),
        ("bad_price_count", 422, "Too few or too many prices", "Games or minutes have 1 to 50 prices."),
        (
            "bad_rate",
            422,
            "Invalid metered rate",
            "Tiers start at minute 0 and rise; under add each has per_minutes, under set none has it; no amount is "
            "below 0.",
        ),
        (
            "bad_webhook_url",
            422,
            "Invalid address of a webhook",
            "Webhooks go to https addresses that are public: no user, no fragment, and nothing inside a private network. "
            "BAIZEBOOK_WEBHOOK_ADDRESSES=any lets a service send to any address.",
        ),
        (
            "bad_recurrence",
            422,
            "Invalid recurrence",
            "A recurrence is an RFC 5545 rule of whole days, from DAILY to YEARLY, whose first date is starts_on.",
        ),
        ("bad_tier", 422, "Invalid tier", "The list of errors names each number of the tier and its bounds."),
        ("bad_time", 422, "Invalid time of day", "Times are wall-clock times, HH:MM."),
        ("bad_units", 422, "Invalid number of units", "Ask for a whole number of games or minutes, at least 1."),
        (
            "denominations_too_complex",
            422,
            "Denominations too complex",
            "These amounts have no common step of a useful size. Name fewer denominations.",
        ),
        (
            "empty_window",
            422,
            "Empty window",
            "A window ends after it starts. Leave both times out for the whole day.",
        ),
        ("ends_before_start", 422, "End before start", "Give a to_at after from_at."),
        (
            "events_out_of_order",
            422,
            "Events out of order",
            "List insertions and starts in the order in which they happened.",
        ),
        ("free_with_prices", 422, "Free tariff with prices", "A free tariff has no prices."),
        ("kind_not_sold", 422, "Not sold at that time", "The tariff in force at the start sells no metered time."),
        ("minimum_above_maximum", 422, "Minimum above maximum", "Lower the minimum or raise the maximum."),
        ("naive_instant", 422, "Instant without an offset", "An instant has an offset or Z."),
        ("no_credit", 422, "Start without credit", "Buy a game before starting it."),
        ("no_pieces", 422, "No play to price", "A play has a start and an end."),
        ("not_one_question", 422, "Not exactly one question", "Ask for one of money, games and minutes."),
        ("other_day_start", 422, "Different start of the day", "A schedule has the day start of its venue."),
        ("pieces_not_contiguous", 422, "Gaps in the play", "Each stretch of a play starts where the last one ends."),
        ("play_too_long", 422, "Play too long", "A play lasts at most 31 days."),
        (
            "price_break_worse",
            422,
            "Price break worse than the prices below it",
            "For the same money the lower prices give more: raise its units, lower its price, or leave it out.",
        ),
        ("prices_not_rising", 422, "Prices not rising", "Each price is higher, and buys more, than the one before."),
        (
            "tariff_sells_nothing",
            422,
            "Tariff without anything to sell",
            "A tariff has games, minutes or metered time, or is free. A schedule names null where nothing is sold.",
        ),
        (
            "tier_not_whole_steps",
            422,
            "Tier of broken steps",
            "Let the next tier start after a whole number of steps.",
        ),
        (
            "tiers_not_rising",
            422,
            "Tiers not rising",
            "The first tier starts at 0, each later one after the one before.",
        ),
        ("too_many_units", 422, "Too many units", "Ask for at most 10,000 games or minutes."),
        (
            "too_much_work",
            422,
            "Too much work for one request",
            "The list of errors names the count and its limit. Ask for less at a time.",
        ),
        ("too_much_money", 422, "Too much money", "Ask about a smaller amount."),
        ("unknown_currency", 422, "Unknown currency", "Currencies are ISO 4217 codes, such as USD."),
        (
            "unknown_time_zone",
            422,
            "Unknown time zone",
            "Time zones are names of the IANA time zone database, such as America/New_York.",
        ),
        (
            "window_past_day_end",
            422,
            "Window past the end of the trading day",
            "Write two windows: one to the end of the day, one from the start of the next.",
        ),
        # 422: tables, controllers and readings
        (
            "bad_controller",
            422,
            "Invalid controller",
            "The list of errors names each part of the controller and what is expected there.",
        ),
        ("bad_day", 422, "Invalid day", "A day is mon to sun or a date; its windows follow one another without gaps."),
        ("bad_digits", 422, "Invalid number of digits", "A meter has 1 to 18 digits."),
        (
            "bad_levels",
            422,
            "Invalid battery levels",
            "Give a charge_now_volts below plan_charge_volts, both above 0.",
        ),
        ("bad_limit", 422, "Invalid limit of a controller", "A limit is a whole number within the bounds named."),
        (
            "bad_meter",
            422,
            "Invalid meter",
            "Each meter has a name of its own. A meter that counts money has the value of a count.",
        ),
        ("bad_meter_value", 422, "Invalid meter value", "A value has at most as many digits as its meter."),
        ("bad_rest", 422, "Invalid rest", "A rest is a number of minutes, at least 0."),
        (
            "bad_take_over",
            422,
            "Invalid take-over of days",
            "A day's settings are taken over by other days, from mon to sun.",
        ),
        ("bad_temperature", 422, "Invalid temperature", "The list of errors names the range."),
        ("bad_tolerance", 422, "Invalid tolerance", "A clock's tolerance is 0 to 1,799 seconds."),
        ("bad_unit", 422, "Invalid value of a count", "Only a money meter has a value of a count, above 0."),
        ("bad_voltage", 422, "Invalid voltage", "The list of errors names the range."),
        ("bad_week", 422, "Invalid week", "A week has the days mon to sun, then dates in order."),
        ("bad_window", 422, "Invalid window", "A window ends by the time at which the controller's day turns."),
        ("unknown_part", 422, "Unknown part of a controller", "The list of errors names the known parts."),
        # 422: people, work and trips
        (
            "no_coordinates",
            422,
            "Venue without coordinates",
            "A shortest round needs the latitude and longitude of every stop: PATCH the venue, or send order: given.",
        ),
        (
            "too_many_stops",
            422,
            "Too many stops for a shortest round",
            "Up to twelve stops are put in order exactly. Make two trips of it, or send order: given.",
        ),
        (
            "unknown_person",
            422,
            "Person without a valid token",
            "Work goes to the person of a token of role owner or collector that is neither revoked nor expired. "
            "GET /v1/tokens lists them.",
        ),
        # 422: collections, agreements, taxes and books
        (
            "account_name_collision",
            422,
            "Two venues with one account name",
            "Give the accounts of these venues names of your own.",
        ),
        (
            "account_not_mapped",
            422,
            "Account without a name of your own",
            "Name every account listed with PUT /v1/ledger/account-names, or export with names=ours.",
        ),
        (
            "account_not_of_kind",
            422,
            "Account not used by this kind of entry",
            "Name an account that the kind of entry posts to, or leave it out.",
        ),
        (
            "amount_not_positive",
            422,
            "Amount not above 0",
            "Give an amount above 0; the kind of entry gives its direction.",
        ),
        ("amount_too_large", 422, "Amount too large", "The list of errors names the largest amount."),
        (
            "bad_account_name",
            422,
            "Invalid account name",
            "Name accounts as the export's format asks, or export with names=ours.",
        ),
        ("bad_amount", 422, "Invalid amount", "Amounts of a collection are at least 0 and within the bounds named."),
        ("bad_choice", 422, "Invalid choice", "The list of errors names the choices."),
        ("bad_count", 422, "Invalid count", "Counts and amounts are whole numbers within the bounds named."),
        ("bad_date", 422, "Invalid date", "Dates are written YYYY-MM-DD, such as 2026-12-01."),
        ("bad_divisor", 422, "Invalid tax divisor", "A published divisor is at least 1 and below 2, such as 1.065."),
        ("bad_percent", 422, "Invalid percentage", "Percentages are 0 to 100, with at most 4 decimals."),
        (
            "bad_tax_rate",
            422,
            "Invalid tax rate",
            "A rate is at least 0 and below 100 per cent, a divisor at least 1 and below 2.",
        ),
        ("bad_weight", 422, "Invalid weight", "Weights are grams, from 0 to a tonne."),
        (
            "exactly_one_share_rule",
            422,
            "Not exactly one share rule",
            "An agreement has one of venue_percent, steps and amount_tiers.",
        ),
        (
            "name_used_twice",
            422,
            "Name used twice",
            "Amounts are carried forward by name. Give each its own.",
        ),
        ("no_such_table", 422, "Unknown table", "Name a table of the route by its id."),
        ("never_due", 422, "Never due", "An amount due once is due while the agreement runs."),
        ("no_name", 422, "Name missing", "Give it a name."),
        ("no_tax_rates", 422, "Tax rate missing", "A tax area has at least one dated rate."),
        ("not_before", 422, "Not before the collection", "State an instant before the one of the collection."),
        ("nothing_to_spread", 422, "Nothing to spread", "Only amounts per week, month or year can be spread."),
        (
            "one_of_rate_and_divisor",
            422,
            "Not exactly one of rate and divisor",
            "Give a rate_percent or a divisor.",
        ),
        ("period_backwards", 422, "Period ends before it starts", "Give a last date on or after the first."),
        ("rates_not_rising", 422, "Dates not rising", "Each rate is dated after the one before."),
        ("steps_not_rising", 422, "Steps not rising", "Steps begin in week 1, each in a later week."),
        ("table_named_twice", 422, "Table named twice", "A collection names each of its tables once."),
        ("too_many_entries", 422, "Too many entries", "The list of errors names the largest number."),
        (
            "unknown_account",
            422,
            "Unknown account",
            "GET /v1/ledger/account-names lists the chart of accounts.",
        ),
        ("venue_needed", 422, "Venue missing", "Name the venue of this kind of entry."),
        ("venue_not_wanted", 422, "Venue not expected", "Leave venue_id out: this kind of entry has no venue."),
        # 500, 503
        (
            "internal_error",
            500,
            "Mistake in the service",
            "Nothing was stored. The operator finds the mistake in the log, under the request id in the answer.",
        ),
        (
            "unavailable",
            503,
            "Service unavailable",
            "Nothing was stored. Try again after the time in Retry-After.",
        ),
        # 422: files of lines
        (
            "bad_calendar",
            422,
            "Unreadable calendar",
            "Send an iCalendar file (RFC 5545) in UTF-8: at most 2 MB, 2,000 events, and 50 events that repeat.",
        ),
        (
            "ambiguous_date",
            422,
            "Date with two readings",
            "Write dates as 2026-12-01, or state their order for the whole file: dates=dmy, mdy or ymd.",
        ),
        (
            "ambiguous_name",
            422,
            "Name of more than one",
            "Two venues or tables have this name. Add the venue to the line, use the id, or give them different names.",
        ),
        (
            "ambiguous_number",
            422,
            "Number with two readings",
            "1,234 may be one thousand or one and a bit. State the sign before the decimals: decimals=point or comma.",
        ),
        (
            "cell_is_formula",
            422,
            "Formula in a cell",
            "Copy the column and paste it as values, then save the file again.",
        ),
        (
            "column_twice",
            422,
            "Two columns for one field",
            "Leave one of them out with columns=Header:-, or state what it is.",
        ),
        ("empty_cell", 422, "Empty cell", "Fill in the cell: this column is required in every line."),
        (
            "lines_disagree",
            422,
            "Lines that belong together disagree",
            "The prices of one tariff, and the boxes of one collection, say the same of what they share.",
        ),
        (
            "merged_cells",
            422,
            "Merged cells",
            "Only the first of merged cells holds a value. Unmerge them and fill in every line.",
        ),
        (
            "missing_column",
            422,
            "Missing column",
            "Add the column, or state which column it is: columns=Header:field. GET /v1/imports/template has them all.",
        ),
        (
            "no_header",
            422,
            "No header",
            "The first line names the columns. GET /v1/imports/template gives a file to fill in.",
        ),
        (
            "time_needed",
            422,
            "Date without a time",
            "Add a column with the time, or state one time of day for all such dates: time_of_day=12:00.",
        ),
        (
            "twice_in_file",
            422,
            "Named twice in one file",
            "Two lines are about the same thing. Keep one, give tables of one venue different labels, or add a column key.",
        ),
        (
            "unknown_column",
            422,
            "Unknown column",
            "State what the column is, columns=Header:field, or leave it out, columns=Header:-.",
        ),
        (
            "unknown_name",
            422,
            "Unknown name",
            "Use the name of a venue or table of the route as the service has it, or its id.",
        ),
        (
            "unreadable_cell",
            422,
            "Cell that cannot be read",
            "The preview says how dates, times, numbers and days are read; write the cell in one of these ways.",
        ),
        (
            "unreadable_file",
            422,
            "File that cannot be read",
            "Send CSV in UTF-8 (or UTF-16 with its mark, or with encoding=cp1252), or XLSX without a password.",
        ),
    )
}
