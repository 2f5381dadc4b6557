"""The target of a webhook: an address that anybody on the internet could reach, and nothing inside a network of ours.

- Only https, no user, no fragment. A name is looked up when something is sent, and every address that it has must be
  public; the connection then goes to one of the addresses that were checked.
- Public is what the registries of special-purpose addresses (IANA, RFC 6890 and later) call global unicast. Not public: this
  host, private, shared (RFC 6598), link-local, loopback, benchmarking, documentation, multicast, reserved, unspecified.
- An IPv6 address that carries an IPv4 one is judged by that (IPv4-mapped; NAT64, RFC 6052). Tunnels (6to4, Teredo) and
  NAT64 of one's own (RFC 8215) are refused: where they lead is not to be seen.
- A setting of the service takes any address, and http: for a receiver in one's own house, and for tests.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address
from urllib.parse import urlsplit

from ..pricing.errors import DomainError, domain_error

_PORTS = {"https": 443, "http": 80}
_HOST = re.compile(r"[A-Za-z0-9]([A-Za-z0-9._-]{0,251}[A-Za-z0-9])?\.?")
_GLOBAL_UNICAST = IPv6Network("2000::/3")
_NAT64 = IPv6Network("64:ff9b::/96")
_NOT_PUBLIC: tuple[IPv4Network | IPv6Network, ...] = tuple(
    IPv4Network(text)
    for text in (
        "0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16", "172.16.0.0/12", "192.0.0.0/24",
        "192.0.2.0/24", "192.88.99.0/24", "192.168.0.0/16", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24",
        "224.0.0.0/4", "240.0.0.0/4",
    )
) + tuple(IPv6Network(text) for text in ("2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20"))  # fmt: skip
"""Of IPv4, and of IPv6 inside 2000::/3: the special-purpose registries of IANA (RFC 6890, 7526, 9637)."""


@dataclass(frozen=True, slots=True)
class Target:
    """Where to connect, and what to ask for there."""

    scheme: str
    host: str
    port: int
    path: str

    @property
    def authority(self) -> str:
        """Return the value of the header Host."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == _PORTS[self.scheme] else f"{host}:{self.port}"


def read_target(url: str, *, any_address: bool = False, where: str = "url") -> Target:
    """Return the target of an address; refuse (``bad_webhook_url``) one that nothing may be sent to.

    A name is not looked up here. ``any_address``: http and addresses that are not public are taken too.
    """
    expected = "an http or https address" if any_address else "an https address that is public"
    try:
        if not url.isascii() or not url.isprintable() or " " in url or "\\" in url:
            raise ValueError
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
        literal = _literal(host)
    except ValueError:
        raise domain_error(
            "bad_webhook_url", where=where, found="an address that cannot be read", expected=expected
        ) from None
    if parts.scheme not in (_PORTS if any_address else ("https",)):
        raise domain_error("bad_webhook_url", where=where, found=f"{parts.scheme or 'no'} scheme", expected=expected)
    if "@" in parts.netloc or parts.fragment or port == 0:
        raise domain_error(
            "bad_webhook_url", where=where, found="a user, a fragment or port 0", expected=f"{expected}, without them"
        )
    if literal is None and not _HOST.fullmatch(host):
        raise domain_error("bad_webhook_url", where=where, found="no name of a host", expected=expected)
    if literal is not None and not any_address:
        must_be_public([host], where=where)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Target(parts.scheme, host, port or _PORTS[parts.scheme], path)


def must_be_public(addresses: Iterable[str], *, where: str = "url") -> None:
    """Refuse (``bad_webhook_url``) addresses of which one is not public."""
    for address in addresses:
        if not is_public(address):
            raise not_public(address, where=where)


def not_public(address: str, *, where: str = "url") -> DomainError:
    """Build the refusal of an address that is not public."""
    return domain_error("bad_webhook_url", where=where, found=f"{address}, not public", expected="a public address")


def is_public(address: str) -> bool:
    """Tell whether an IP address is one that anybody on the internet could reach."""
    try:
        found: IPv4Address | IPv6Address = ip_address(address)
    except ValueError:
        return False
    if isinstance(found, IPv6Address):
        if found.scope_id is not None:
            return False
        inner = found.ipv4_mapped or (IPv4Address(int(found) & 0xFFFF_FFFF) if found in _NAT64 else None)
        if inner is None:
            return found in _GLOBAL_UNICAST and not any(found in one for one in _NOT_PUBLIC)
        found = inner
    return not any(found in one for one in _NOT_PUBLIC)


def _literal(host: str) -> IPv4Address | IPv6Address | None:
    """Return the IP address that a host is; None of a name. Raises ValueError of what is in brackets and no address."""
    try:
        return ip_address(host)
    except ValueError:
        if ":" in host:
            raise
        return None
