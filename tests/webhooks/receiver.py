"""A receiver of webhooks for tests: a small HTTP server that keeps what it gets and answers as it is told."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

Answer = Callable[[BaseHTTPRequestHandler], None]


def status(code: int, **headers: str) -> Answer:
    """Answer with a status."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(code)
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    return answer


def endless_body(handler: BaseHTTPRequestHandler) -> None:
    """Answer 200 and never stop sending."""
    handler.send_response(200)
    handler.end_headers()
    try:
        while True:
            handler.wfile.write(b"x" * 65536)
    except OSError:
        return


def endless_head(handler: BaseHTTPRequestHandler) -> None:
    """Begin to answer and send headers for ever."""
    handler.wfile.write(b"HTTP/1.1 200 OK\r\n")
    try:
        while True:
            handler.wfile.write(b"X-More: " + b"x" * 4000 + b"\r\n")
    except OSError:
        return


def no_http(handler: BaseHTTPRequestHandler) -> None:
    """Answer with something else than HTTP."""
    handler.wfile.write(b"220 mail.example ESMTP\r\n")
    handler.connection.shutdown(socket.SHUT_RDWR)


def hang_up(handler: BaseHTTPRequestHandler) -> None:
    """Close the connection without an answer."""
    handler.connection.shutdown(socket.SHUT_RDWR)


@dataclass
class Got:
    """One message as it arrived."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """What a receiver got, and how it answers: by each of ``answers`` in turn, the last again and again."""

    url: str = ""
    got: list[Got] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=lambda: [status(204)])

    def ids(self) -> list[str]:
        """Return the ids of the messages that arrived, in order."""
        return [one.headers["webhook-id"] for one in self.got]


@contextmanager
def receiving(*answers: Answer) -> Iterator[Receiver]:
    """Yield a receiver that listens on this machine."""
    receiver = Receiver()
    if answers:
        receiver.answers = list(answers)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("content-length", "0")))
            receiver.got.append(Got(self.path, {name.lower(): value for name, value in self.headers.items()}, body))
            answer = receiver.answers.pop(0) if len(receiver.answers) > 1 else receiver.answers[0]
            answer(self)

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    receiver.url = f"http://127.0.0.1:{server.server_port}/hooks?of=ours"
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
