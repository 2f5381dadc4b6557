"""Repeated wrong tokens: whoever keeps guessing is told to wait (429), and nobody is locked out.

- An address may be wrong a hundred times at once, and once a second after that: no help to whoever guesses 256 bits.
- A right token is always let in, however many wrong ones came from its address: it is looked up first.
- Nothing of a token is kept, and only so many addresses are remembered: the one not heard of for longest is forgotten.
"""

import ipaddress
import threading
from collections import OrderedDict
from datetime import datetime
from math import ceil

AT_ONCE = 100

ONE_EVERY_S = 1
ADDRESSES_MOST = 10_000


class WrongTokens:
    """How often each address was wrong lately; of one process, in memory."""

    def __init__(self) -> None:
        self._spent: OrderedDict[str, tuple[float, datetime]] = OrderedDict()
        self._counting = threading.Lock()

    def note(self, address: str, *, now: datetime) -> int:
        """Count a wrong token of an address; return the seconds it has to wait, 0 where it may go on."""
        place = _neighbourhood(address)
        with self._counting:
            spent, at = self._spent.pop(place, (0.0, now))
            spent = max(0.0, spent - max(0.0, (now - at).total_seconds()) / ONE_EVERY_S)
            wait_s = ceil((spent + 1 - AT_ONCE) * ONE_EVERY_S) if spent + 1 > AT_ONCE else 0
            self._spent[place] = (spent if wait_s else spent + 1, now)
            if len(self._spent) > ADDRESSES_MOST:
                self._spent.popitem(last=False)
        return wait_s


def _neighbourhood(address: str) -> str:
    """Return what one client can hold: an IPv4 address, or the /64 of an IPv6 address."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:80]
    return str(ipaddress.ip_network((found, 64), strict=False)) if found.version == 6 else str(found)
