"""Volts and degrees as they are kept, whole millivolts and tenths of a degree, and as they are written.

- R4 A voltage that no battery of a size rests at is odd: it is kept, flagged, and judged with a remark.
"""

from __future__ import annotations

# Below, even an emptied battery's electronics are off; above, no charger of its own goes. An allowance, from memory.
_ODD_BELOW, _ODD_ABOVE = 500, 1_350  # millivolts a nominal volt: 6.00 to 16.20 V of a 12 V battery


def is_odd(battery_mv: int, *, nominal_volts: int) -> bool:
    """Tell whether no battery of this size rests at a voltage."""
    return not _ODD_BELOW * nominal_volts <= battery_mv <= _ODD_ABOVE * nominal_volts


def millivolts(volts: str) -> int:
    """Return volts written as a decimal string in millivolts."""
    whole, _, part = volts.partition(".")
    return int(whole) * 1000 + int(part.ljust(3, "0"))


def tenths(celsius: str) -> int:
    """Return degrees written as a decimal string in tenths of a degree."""
    whole, _, part = celsius.lstrip("-").partition(".")
    amount = int(whole) * 10 + int(part or "0")
    return -amount if celsius.startswith("-") else amount


def write_volts(battery_mv: int) -> str:
    """Write millivolts as volts, with as many decimals as they need, at least two."""
    whole, part = divmod(battery_mv, 1000)
    return f"{whole}.{part // 10:02d}" if part % 10 == 0 else f"{whole}.{part:03d}"


def write_celsius(tenths_c: int) -> str:
    """Write tenths of a degree as degrees."""
    whole, part = divmod(abs(tenths_c), 10)
    return f"{'-' if tenths_c < 0 else ''}{whole}.{part}"
