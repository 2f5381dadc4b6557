"""What ``serve`` says first: where the database is, what to open in a browser, and what is still missing."""

from __future__ import annotations

import errno
import ipaddress
import os
import socket
from collections.abc import Iterator
from dataclasses import dataclass

EVERYWHERE = ("0.0.0.0", "::")


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstMinute:
    """The facts: the database in words, whether it was made just now, who may ask, and how much is in it."""

    database: str
    is_new: bool
    owner_tokens: int
    token_in_environment: bool
    venues: int


def first_words(found: FirstMinute, *, host: str, port: int, version: str) -> Iterator[str]:
    """Yield the lines, one for each fact; ``port`` is 0 where the system chooses it and the server names it."""
    at = address(host, port)
    yield f"Baizebook {version}"
    yield f"  Database  {found.database}{' (new)' if found.is_new else ''}"
    if at is None:
        yield "  Open      the address below, with /guide or /docs behind it"
    else:
        yield f"  Open      {at}/guide to learn, {at}/docs to try it"
    if not found.owner_tokens and not found.token_in_environment:
        yield '  Missing   an owner\'s token: baizebook token create --role owner --name "me"'
    if found.owner_tokens and found.token_in_environment:
        yield "  To do     unset BAIZEBOOK_OWNER_TOKEN: owners have tokens of their own"
    if not found.venues:
        yield f"  Missing   venues and tables: {at or ''}/guide/first-day, or baizebook import"
    if not is_loopback(host):
        yield "  To do     other machines reach this port without TLS: put a proxy in front, as /guide/operations shows"


def address(host: str, port: int) -> str | None:
    """Return what to type into a browser on this machine; None where the port is not known yet."""
    shown = "127.0.0.1" if host in EVERYWHERE else f"[{host}]" if ":" in host else host
    return f"http://{shown}:{port}" if port else None


def is_loopback(host: str) -> bool:
    """Tell whether only this machine reaches a host."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def must_be_free(host: str, port: int) -> None:
    """Refuse (ValueError) an address that is not this machine's, and a port that is taken or not allowed."""
    try:
        family, kind, protocol, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind, protocol) as probe:
            if os.name == "posix":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as the server does: a closed one is free
            probe.bind(place)
    except OSError as error:
        raise ValueError(_refused(error, host, port)) from None


def _refused(error: OSError, host: str, port: int) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"Port {port} is taken by another program: stop it, or choose another port, such as --port {port + 1 if port < 65_535 else 8000}."
    if error.errno == errno.EACCES:
        return f"This user may not listen on port {port}: choose one above 1023, and let a proxy listen on {port}."
    return f"This machine has no address {host} to listen on: choose --host 127.0.0.1, or 0.0.0.0 for all of its addresses."
