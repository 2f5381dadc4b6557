"""An invented owner's spreadsheets, as people keep them: venues, their tables, and a reading of each table now and then."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from random import Random

_FIRST = ("Copper", "Tin", "Quiet", "Crooked", "Amber", "Hollow", "Late", "Paper")
_SECOND = ("Lantern", "Heron", "Comet", "Anchor", "Mill")
_ZONES = ("America/New_York", "America/Chicago", "America/Denver")
_PLACES = ("Window side", "Back room", "By the door")
BEGAN = datetime(2025, 1, 6)  # noqa: DTZ001 (a sheet knows no zones)


def venue_names(venues: int) -> list[str]:
    """Return the names of so many venues, at most 40."""
    return [f"The {first} {second}" for second in _SECOND for first in _FIRST][:venues]


def venues_csv(venues: int) -> str:
    """Return a sheet of venues, with semicolons and headers of the owner's own spelling."""
    lines = ["Venue;Time zone;Currency;Phone;Remarks"]
    for number, name in enumerate(venue_names(venues)):
        lines.append(f'{name};{_ZONES[number % 3]};usd;555-01{number:02};"Ask at the bar; after 4"')
    return "\r\n".join(lines) + "\r\n"


def tables_csv(venues: int, *, each: int = 3) -> str:
    """Return a sheet of so many tables at each venue."""
    lines = ["Location,Table,Frame,Coins,Power,Chemistry,Meters,Placed at"]
    for number, name in enumerate(venue_names(venues)):
        for place in range(each):
            frame = f"F-{number * each + place + 100}"
            meters = "cash money 0.25 7; plays games 6"
            lines.append(f"{name},{_PLACES[place]},{frame},$0.25 $1.00 $5.00,battery,AGM,{meters},2025-01-05 12:00")
    return "\n".join(lines) + "\n"


def readings_csv(lines: int, *, tables: int, dates: str = "%Y-%m-%d") -> Iterator[str]:
    """Yield the lines of a sheet of readings: table after table, week after week, meters that only count up."""
    yield "Frame number,Date,Time,Meter cash,Meter plays,Volts,Note\n"
    chance = Random(4)
    cash, plays = [0] * tables, [0] * tables
    for number in range(lines):
        week, table = divmod(number, tables)
        cash[table] += chance.randrange(40, 400)
        plays[table] += chance.randrange(10, 100)
        at = BEGAN + timedelta(hours=week * 31 % 8_700 + week // 280, minutes=600 + chance.randrange(60))
        volts = f"{chance.randrange(1190, 1290) / 100:.2f}"
        yield f"F-{table + 100},{at:{dates}},{at:%H:%M},{cash[table]},{plays[table]},{volts},\n"
