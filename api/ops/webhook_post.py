"""Posts one message to the target of a webhook, and nowhere else: the one place of the service that calls out.

- A name is looked up once. Unless any address is allowed, all addresses that it has must be public, and the connection
  goes to one of those that were checked: a name that changes between check and connection changes nothing.
- A proxy that the environment names is not asked; a redirect is not followed; the certificate must fit the name.
- A try ends after 15 seconds, however slowly the receiver sends. Of the answer only the head is read, up to 16 kB.
- What is said of a try never repeats the address: it may hold a secret.
"""

import os
import ssl
from datetime import datetime
from socket import SOCK_STREAM, gaierror
from typing import Any

import anyio
import h11
from anyio.abc import ByteStream
from anyio.streams.tls import TLSStream

from .. import __version__
from ..pricing.errors import DomainError
from ..webhooks.retry import Tried, read_retry_after
from ..webhooks.target import Target, is_public, not_public, read_target

TRY_S = 15
CONNECT_S = 5
ADDRESSES_MAX = 4
ANSWER_HEAD_BYTES_MAX = 16 * 1024


async def post(url: str, body: bytes, headers: dict[str, str], *, any_address: bool, now: datetime) -> Tried:
    """Post a message to an address and return what the receiver answered, or why there was no answer."""
    try:
        with anyio.fail_after(TRY_S):
            target = read_target(url, any_address=any_address)
            addresses = await _addresses(target, any_address=any_address)
            async with await _connected(target, addresses) as stream:
                return await _exchange(stream, target, body, headers, now=now)
    except TimeoutError:
        return Tried(status=None, says=f"No answer within {TRY_S} s.")
    except DomainError as error:
        return Tried(status=None, says=f"Not sent: found {error.faults[0].found}, expected {error.faults[0].expected}.")
    except ssl.SSLCertVerificationError as error:
        return Tried(status=None, says=f"The certificate is not accepted: {error.verify_message}.")
    except h11.RemoteProtocolError:
        return Tried(status=None, says="The receiver does not answer by HTTP, or closed the connection.")
    except (OSError, ssl.SSLError, anyio.BrokenResourceError, anyio.EndOfStream) as error:
        return Tried(status=None, says=f"No connection: {_why(error)}.")


async def _addresses(target: Target, *, any_address: bool) -> list[str]:
    """Return the addresses of a target, all of them checked."""
    found = await anyio.getaddrinfo(target.host, target.port, type=SOCK_STREAM)
    addresses = list(dict.fromkeys(str(place[4][0]) for place in found))
    for address in addresses:
        if not any_address and not is_public(address):
            raise not_public(address)
    return addresses[:ADDRESSES_MAX]


async def _connected(target: Target, addresses: list[str]) -> ByteStream:
    """Connect to the first of some addresses that answers."""
    last: Exception = OSError("the name has no address")
    for address in addresses:
        try:
            with anyio.fail_after(CONNECT_S):
                stream = await anyio.connect_tcp(address, target.port)
        except (OSError, TimeoutError) as error:
            last = error
            continue
        if target.scheme == "http":
            return stream
        try:
            return await TLSStream.wrap(
                stream, hostname=target.host, ssl_context=ssl.create_default_context(), standard_compatible=False
            )
        except BaseException:
            with anyio.CancelScope(shield=True):
                await stream.aclose()
            raise
    raise last


async def _exchange(
    stream: ByteStream, target: Target, body: bytes, headers: dict[str, str], *, now: datetime
) -> Tried:
    """Send a message and read the head of the answer."""
    connection = h11.Connection(h11.CLIENT, max_incomplete_event_size=ANSWER_HEAD_BYTES_MAX)
    fields = {
        "Host": target.authority,
        "User-Agent": f"Baizebook/{__version__}",
        "Content-Type": "application/json",
        "Content-Length": str(len(body)),
        "Connection": "close",
        **headers,
    }
    request = h11.Request(method="POST", target=target.path, headers=list(fields.items()))
    sent: list[Any] = [request, h11.Data(data=body), h11.EndOfMessage()]
    await stream.send(b"".join(connection.send(event) or b"" for event in sent))
    while True:
        event = connection.next_event()
        if event is h11.NEED_DATA:
            try:
                connection.receive_data(await stream.receive(ANSWER_HEAD_BYTES_MAX))
            except anyio.EndOfStream:
                connection.receive_data(b"")
        elif isinstance(event, h11.Response):
            return _answered(event, now=now)
        elif not isinstance(event, h11.InformationalResponse):
            return Tried(status=None, says="The receiver does not answer by HTTP, or closed the connection.")


def _answered(response: h11.Response, *, now: datetime) -> Tried:
    status = response.status_code
    after = next((value for name, value in response.headers if name == b"retry-after"), None)
    says = f"Answered {status}."
    if 300 <= status < 400:
        says = f"Answered {status}: a redirect, which is not followed. Change the endpoint's address."
    return Tried(
        status=status,
        says=says,
        retry_after=read_retry_after(after.decode("ascii", "replace") if after else None, now=now),
    )


def _why(error: Exception) -> str:
    """Say why there was no connection, without the address."""
    error = error.__cause__ if isinstance(error.__cause__, OSError) else error
    if isinstance(error, TimeoutError):
        return "it took too long"
    if isinstance(error, OSError) and error.errno is not None:
        text = error.strerror if isinstance(error, gaierror) else os.strerror(error.errno)
        return str(text)[:1].lower() + str(text)[1:]
    return "the connection broke"
