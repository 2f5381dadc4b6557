"""The pricing engine: what an amount buys at a pool table, at a place and time, and what play costs.

It is pure: values in, values out; the standard library and itself; no clock, no float near money, no I/O.

    >>> from baizebook.pricing import Ladder, Rung
    >>> ladder = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))
    >>> ladder.total(1000)
    15

``__all__`` lists the names for other projects: at most thirty. A folder of this project that needs another name imports
it from the module that defines it.

- money, words and bounds: ``money.py``, ``errors.py``, ``lines.py``, ``effort.py``
- prepaid: ``ladder.py``, ``separate_purchases.py``, ``payable.py``, ``ladder_advice.py``, ``counting_check.py``,
  ``purchase.py``
- paid afterwards: ``rate.py``, ``play.py``, ``metered.py``
- when: ``trading_day.py``, ``week.py``, ``timetable.py``
- together: ``tariff.py``, ``quote.py``
"""

from __future__ import annotations

from .counting_check import check_counting
from .errors import DomainError, Fault, PricingError
from .ladder import Counting, Ladder, Rung
from .ladder_advice import advice
from .money import format_money, parse_money
from .payable import next_payable
from .purchase import Insert, Start, follow
from .quote import Answer, charge_play, quote
from .rate import Cap, Rate, Tier
from .separate_purchases import split
from .tariff import Tariff
from .timetable import Stretch, Timetable
from .trading_day import Calendar, zone_named
from .week import OnDate, Recurring, Schedule, Weekly

__all__ = [
    "Answer",
    "Calendar",
    "Cap",
    "Counting",
    "DomainError",
    "Fault",
    "Insert",
    "Ladder",
    "OnDate",
    "PricingError",
    "Rate",
    "Recurring",
    "Rung",
    "Schedule",
    "Start",
    "Stretch",
    "Tariff",
    "Tier",
    "Timetable",
    "Weekly",
    "advice",
    "charge_play",
    "check_counting",
    "follow",
    "format_money",
    "next_payable",
    "parse_money",
    "quote",
    "split",
    "zone_named",
]
