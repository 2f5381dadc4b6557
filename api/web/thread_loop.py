"""An event loop for each thread that answers requests: made once, for making one takes longer than many an answer."""

import asyncio
import threading


class _ThreadLoop:
    """A loop that is closed when its thread has ended and nothing refers to it any more."""

    def __init__(self) -> None:
        self.loop = asyncio.new_event_loop()

    def __del__(self) -> None:
        if not self.loop.is_running():
            self.loop.close()


_threads = threading.local()


def loop_of_this_thread() -> asyncio.AbstractEventLoop:
    """Return the loop of the calling thread, which must not be one that already runs a loop."""
    held: _ThreadLoop | None = getattr(_threads, "held", None)
    if held is None:
        held = _threads.held = _ThreadLoop()
    return held.loop
