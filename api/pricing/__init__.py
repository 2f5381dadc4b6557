"""The pricing engine: what money buys at a pool table, then and there, and what play costs.

It is pure: values in, values out; the standard library and itself; no clock, no float near money, no I/O.

    >>> from baizebook.pricing import Ladder, Rung
    >>> ladder = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))
    >>> ladder.total(1000)
    15

Every public name stands in ``__all__``; a test pins them.

- money and words: ``money.py``, ``errors.py``, ``lines.py``
- prepaid: ``ladder.py``, ``split.py``, ``payable.py``, ``ladder_advice.py``, ``purchase.py``
- paid afterwards: ``rate.py``, ``play.py``, ``metered.py``
- when: ``trading_day.py``, ``week.py``, ``timetable.py``
- together: ``tariff.py``, ``quote.py``
"""

from __future__ import annotations

from .errors import Fault, PricingError, refuse
from .in_force import Keying, Listing, keyed, listed
from .ladder import Counting, Ladder, NextBreak, Rung, Sale, Sold
from .ladder_advice import advice
from .lines import Advice, Kind, Line
from .metered import Charge, Lasts, charge, lasts
from .metered import advice as metered_advice
from .money import MOST_MINOR, allot, exponent, format_money, parse_money, round_half_up
from .payable import next_payable, payable
from .play import Piece
from .purchase import Insert, Purchases, Start, Step, follow
from .quote import Answer, Least, Offer, charge_play, quote
from .rate import Cap, Per, Rate, Tier, TierMode
from .split import cheapest, split
from .tariff import Tariff
from .timetable import Span, Stretch, Timetable
from .trading_day import Calendar, zone_named
from .week import OnDate, Recurring, Schedule, Weekly

__all__ = [
    "MOST_MINOR",
    "Advice",
    "Answer",
    "Calendar",
    "Cap",
    "Charge",
    "Counting",
    "Fault",
    "Insert",
    "Keying",
    "Kind",
    "Ladder",
    "Lasts",
    "Least",
    "Line",
    "Listing",
    "NextBreak",
    "Offer",
    "OnDate",
    "Per",
    "Piece",
    "PricingError",
    "Purchases",
    "Rate",
    "Recurring",
    "Rung",
    "Sale",
    "Schedule",
    "Sold",
    "Span",
    "Start",
    "Step",
    "Stretch",
    "Tariff",
    "Tier",
    "TierMode",
    "Timetable",
    "Weekly",
    "advice",
    "allot",
    "charge",
    "charge_play",
    "cheapest",
    "exponent",
    "follow",
    "format_money",
    "keyed",
    "lasts",
    "listed",
    "metered_advice",
    "next_payable",
    "parse_money",
    "payable",
    "quote",
    "refuse",
    "round_half_up",
    "split",
    "zone_named",
]
