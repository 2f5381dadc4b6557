"""Every problem this service can answer with: its code, status, title, and what to do about it.

The table is the only place where a code meets an HTTP status. In groups by status and by who refuses.
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
            "The message cannot be read",
            "Send JSON in UTF-8 with the content type application/json: objects without repeated names, numbers that are finite, nesting of at most 60 levels.",
        ),
        # 401, 403, 404, 405, 408
        (
            "no_token",
            401,
            "A token is needed",
            "Send the header Authorization: Bearer …, once, with a token that an owner has made.",
        ),
        (
            "wrong_token",
            401,
            "The token that was sent is not valid",
            "It is not one that this service made, or it has expired, or it was revoked; which of these is not said. "
            "Ask an owner for another.",
        ),
        (
            "forbidden",
            403,
            "This token may not do that",
            "The token's role does not include this operation. An owner can make a token of another role.",
        ),
        (
            "not_found",
            404,
            "There is no such thing here",
            "What the address names does not exist, or is not this token's to see: the two are answered alike.",
        ),
        ("method_not_allowed", 405, "This method is not offered here", "The header Allow names the methods that are."),
        (
            "too_slow",
            408,
            "The request did not arrive in time",
            "Send the whole of a request at once: its head within 10 seconds, then its body without long pauses.",
        ),
        # 409: what is stored stands against it
        (
            "above_balance",
            409,
            "More than there is to write off",
            "Look at the balance in /v1/ledger/accounts; a write-off takes at most what stands there.",
        ),
        (
            "answer_not_kept",
            409,
            "Answered before; the answer is not kept",
            "A request with this Idempotency-Key was carried out, and nothing was done again. Answers that show a token and answers of more than 64 kB are not kept: the detail names the outcome. A lost token is replaced: revoke it and make another.",
        ),
        (
            "already_there",
            409,
            "The table stands there already",
            "A move takes a table to another venue or to the workshop. A box that was emptied on the spot is a collection.",
        ),
        (
            "already_struck",
            409,
            "The reading is already struck",
            "A reading is struck once; the reason and who gave it stay with it.",
        ),
        (
            "books_damaged",
            409,
            "The books do not hold together",
            "An entry that is stored is no entry any more: ask /v1/ledger/verify which, and look at a backup.",
        ),
        (
            "already_answered",
            409,
            "The dispute was answered",
            "A dispute is answered once. Whoever does not agree raises another.",
        ),
        (
            "already_done",
            409,
            "The job is done",
            "A job is closed once and stays so. Where the fault comes back, report it as a new job.",
        ),
        (
            "already_reversed",
            409,
            "It was taken back already",
            "What was reversed stays so. In place of a collection, record a new one of the same venue, tables and time; "
            "in place of an entry, post a new one.",
        ),
        (
            "already_settled",
            409,
            "The collection was settled",
            "A collection is settled once. To settle it anew, reverse it and record it again.",
        ),
        (
            "conflict",
            409,
            "What is stored stands against this",
            "Somebody else stored something meanwhile, or the same name is taken. Read the current state and decide anew.",
        ),
        (
            "currency_differs",
            409,
            "The currencies differ",
            "A tariff sells in the currency of the venue; there is no conversion.",
        ),
        (
            "fixed_by_schedule",
            409,
            "This is fixed once there is a schedule",
            "Time zone, start of the trading day and currency of a venue cannot change once it has a schedule: past answers would change with them.",
        ),
        (
            "no_agreement",
            409,
            "No agreement is in force on that date",
            "Publish an agreement of the venue that begins on or before the collection's trading date, then settle it.",
        ),
        (
            "no_schedule_yet",
            409,
            "Nothing is listed yet at that time",
            "The instant lies before the first schedule of the venue. Publish one, or ask about a later time.",
        ),
        (
            "not_at_a_venue",
            409,
            "The table stands at no venue",
            "The table is in the workshop at that time; move it to a venue first.",
        ),
        (
            "not_the_owners_entry",
            409,
            "This entry is taken back where it came from",
            "The entry of a collection is reversed by reversing the collection.",
        ),
        (
            "out_of_order",
            409,
            "Something later is already recorded",
            "A table moves forward in time: the move lies before its last one.",
        ),
        (
            "reversal_of_reversal",
            409,
            "A reversal is not taken back",
            "Post the entry anew, or send the corrected collection.",
        ),
        (
            "same_id_other_content",
            409,
            "This id was used for something else",
            "The id was sent before with other content. Send what differs under a new id.",
        ),
        # 412, 413, 428
        (
            "stale",
            412,
            "It has changed meanwhile",
            "If-Match names an older state. Read it again, look at what changed, and send the change with the new ETag.",
        ),
        (
            "too_large",
            413,
            "The message is too large",
            "Send less at a time; a compressed body counts as what it inflates to.",
        ),
        (
            "if_match_needed",
            428,
            "If-Match is needed",
            "Send the ETag of the last GET as If-Match, so that nobody's change is lost.",
        ),
        # 422: a value is wrong
        (
            "invalid",
            422,
            "A value is wrong",
            "The list of errors names each value, what was found and what is expected.",
        ),
        (
            "key_reused",
            422,
            "This idempotency key was used for another payload",
            "Use a new key for a new request; the same key only repeats the same one.",
        ),
        # 422: what the engine refuses
        (
            "account_not_mapped",
            422,
            "An account has no name of your own",
            "Give every account that is listed a name with PUT /v1/ledger/account-names, or export with names=ours.",
        ),
        (
            "account_not_of_kind",
            422,
            "This kind of entry does not touch that account",
            "Name an account that the kind of entry posts to, or none.",
        ),
        (
            "amount_not_positive",
            422,
            "Not an amount above 0",
            "An entry moves more than nothing; its kind says which way.",
        ),
        (
            "bad_account_name",
            422,
            "The program does not take this name",
            "Name accounts as the format asks, or export with names=ours.",
        ),
        ("bad_days", 422, "Not a list of days", "A window names each of its days once, from mon to sun."),
        ("bad_denomination", 422, "Not a coin or note", "A denomination is an amount above 0, named once."),
        ("bad_denominations", 422, "Not coins and notes", "Denominations are amounts above 0."),
        (
            "bad_meter",
            422,
            "The meter cannot be so",
            "Each meter has a name of its own; one that counts money says what a count is worth.",
        ),
        (
            "bad_money",
            422,
            "Not an amount of money",
            "Money is a decimal string in the currency's own unit, with no more decimals than the currency has.",
        ),
        ("bad_piece", 422, "A stretch of play cannot be so", "Each stretch has a start, an end after it, and offsets."),
        ("bad_players", 422, "Not a number of players", "Players are counted from 1 to 100."),
        (
            "bad_rate",
            422,
            "The metered rate cannot be so",
            "Tiers start at minute 0 and rise; under add each has per_minutes, under set none has; amounts are not negative.",
        ),
        (
            "bad_recurrence",
            422,
            "The recurrence cannot be read",
            "A recurrence is an RFC 5545 rule of whole days, from DAILY to YEARLY, whose first date is starts_on.",
        ),
        ("bad_price", 422, "Invalid price", "A price is more than 0 and buys at least one unit."),
        ("bad_price_count", 422, "Too few or too many prices", "Games or minutes have 1 to 50 prices."),
        ("bad_time", 422, "Not a time of day", "Times are wall-clock times, HH:MM."),
        ("bad_units", 422, "Not a number of units", "Ask for a whole number of games or minutes, at least 1."),
        ("bad_counting", 422, "Not a way of counting", "counting is repeat, climb or climb_once."),
        (
            "empty_window",
            422,
            "The window is empty",
            "A window that ends when it starts covers nothing; leave both times out for the whole day.",
        ),
        ("ends_before_start", 422, "It ends before it starts", "to_at comes after from_at."),
        (
            "events_out_of_order",
            422,
            "The events are out of order",
            "List insertions and starts in the order in which they happened.",
        ),
        ("free_with_prices", 422, "Free, and yet with prices", "A free tariff carries no prices."),
        ("kind_not_sold", 422, "That is not sold then", "The tariff in force at the start sells no metered time."),
        ("minimum_above_maximum", 422, "The minimum is above the maximum", "Lower the minimum or raise the maximum."),
        ("naive_instant", 422, "An instant without an offset", "Instants carry an offset or Z."),
        ("no_credit", 422, "A start without credit", "A game is started only after it was bought."),
        ("no_pieces", 422, "No play to price", "A play has a start and an end."),
        ("not_one_question", 422, "Not exactly one question", "Ask for one of money, games and minutes."),
        (
            "denominations_too_complex",
            422,
            "Denominations too complex",
            "There are too many amounts to look through: name fewer denominations.",
        ),
        ("other_day_start", 422, "Another start of the day", "A schedule is made for the day start of its venue."),
        (
            "period_backwards",
            422,
            "The period ends before it starts",
            "to is the last date of the period, from its first.",
        ),
        ("pieces_not_contiguous", 422, "The play has gaps", "The stretches of a play follow each other without a gap."),
        ("play_too_long", 422, "The play is too long", "A play lasts at most 31 days."),
        (
            "price_break_worse",
            422,
            "A price break is worse than the prices below it",
            "For the same money the prices below give more: raise its units, lower its price, or leave it out.",
        ),
        (
            "prices_not_rising",
            422,
            "The prices do not rise",
            "Each price is higher, and buys more, than the one before.",
        ),
        (
            "tariff_sells_nothing",
            422,
            "The tariff sells nothing",
            "A tariff has games, minutes or metered time, or is free. Where nothing is sold, a schedule names null.",
        ),
        (
            "tier_not_whole_steps",
            422,
            "A tier is not a whole number of its steps",
            "Let the next tier start after a whole number of steps.",
        ),
        (
            "tiers_not_rising",
            422,
            "The tiers do not rise",
            "The first tier starts at minute 0, each later one after the one before.",
        ),
        ("too_many_units", 422, "Too many units", "Ask for at most 10,000 games or minutes."),
        ("too_much_money", 422, "More money than can be priced", "Ask about less money."),
        (
            "unknown_account",
            422,
            "There is no such account",
            "The chart of accounts is listed by GET /v1/ledger/account-names.",
        ),
        ("unknown_currency", 422, "No such currency", "Currencies are ISO 4217 codes, such as USD."),
        (
            "unknown_time_zone",
            422,
            "No such time zone",
            "Time zones are names of the IANA time zone database, such as America/New_York.",
        ),
        (
            "venue_needed",
            422,
            "A venue is needed",
            "This kind of entry is of one venue: name it.",
        ),
        (
            "venue_not_wanted",
            422,
            "No venue is wanted",
            "This kind of entry is of no venue: leave venue_id out.",
        ),
        (
            "account_name_collision",
            422,
            "Two venues would have the same account",
            "Their ids end alike: give their accounts names of your own.",
        ),
        (
            "window_past_day_end",
            422,
            "The window runs past the trading day",
            "Write two windows: one to the end of the day, one from the start of the next.",
        ),
        # 422: what a collection, an agreement or a tax rate refuses
        ("bad_choice", 422, "Not one of the choices", "The list of errors names what may stand there."),
        ("bad_count", 422, "Not a count", "Counts and amounts are whole, from 0, and not beyond what can be handled."),
        ("bad_divisor", 422, "Not a tax divisor", "A published divisor is at least 1 and below 2, such as 1.065."),
        ("bad_percent", 422, "Not a percentage", "Percentages are from 0 to 100 and have at most 4 decimals."),
        (
            "bad_tax_rate",
            422,
            "Not a tax rate",
            "A rate is at least 0 and below 100 per cent, a divisor at least 1 and below 2.",
        ),
        ("bad_weight", 422, "Not a weight", "Weights are grams, from 0 to a tonne."),
        (
            "name_used_twice",
            422,
            "A name is used twice",
            "What is carried forward is carried by name: give each its own.",
        ),
        ("never_at_venue", 422, "The table never was at that venue", "Name a table that stands, or once stood, there."),
        ("never_due", 422, "It would never fall due", "What is due once falls due while the agreement runs."),
        ("nothing_to_spread", 422, "There is nothing to spread over", "Spread is what is per week, month or year."),
        (
            "one_way_to_share",
            422,
            "Not exactly one way to share",
            "An agreement has one of venue_percent, steps and amount_tiers.",
        ),
        (
            "refunds_exceed_expected",
            422,
            "More was refunded than was paid in",
            "Refunds out of the box cannot be more than the meters say was paid in. Perhaps the venue paid it: then say so.",
        ),
        ("steps_not_rising", 422, "The steps do not rise", "Steps begin in week 1, each in a later week."),
        ("table_named_twice", 422, "A table is named twice", "A collection names each of its tables once."),
        # 500, 503
        (
            "internal_error",
            500,
            "A mistake in the service",
            "Nothing was stored. The operator finds the mistake in the log, under the request id that the answer names.",
        ),
        (
            "unavailable",
            503,
            "The service cannot answer right now",
            "Nothing was stored. Try again after the time in Retry-After.",
        ),
    )
}
