"""Answers to callers that are not known: the first at once, then at an even pace.

- Whoever brings no valid token is answered at once 100 times, and then 50 times a second; what comes faster waits its
  turn for at most a second. Requests of those who are known, and of what asks whether the service is alive, never wait.
- At most 400 answers wait at once, half the connections of a process; beyond them nobody waits, for the other half is
  for those who are known.
"""

import time

import anyio

CALLERS_AT_ONCE = 100
EVERY_S = 1 / 50
WAIT_S_MAX = 1.0
CALLERS_WAITING_MAX = 400


class UnknownCallers:
    """When the next answer to an unknown caller is due; used in the event loop only."""

    def __init__(self) -> None:
        self._due_at_s = 0.0
        self._waiting = 0

    async def wait(self) -> None:
        """Return when this answer is due."""
        now_s = time.monotonic()
        earliest_s = now_s - (CALLERS_AT_ONCE - 1) * EVERY_S
        due_at_s = max(self._due_at_s, earliest_s)
        self._due_at_s = min(due_at_s + EVERY_S, now_s + WAIT_S_MAX)
        if due_at_s <= now_s or self._waiting >= CALLERS_WAITING_MAX:
            return
        self._waiting += 1
        try:
            await anyio.sleep(due_at_s - now_s)
        finally:
            self._waiting -= 1
