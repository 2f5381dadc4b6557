"""``baizebook demo``: load the invented route, answer one question, then serve."""

import os

from ...demo.load import hand_out, is_loaded, load, owner_token
from ...demo.printed_example import answered_question, requests_to_paste
from ...store import clock, migrate
from ...store.db import get_engine, reading, writing
from ...worklist.service import catch_up
from ..command_database import tell_of_a_new_file
from ..startup_message import address, must_be_free
from ..terminal import say
from .serve import serve_at


def demo(*, host: str, port: int, no_serve: bool) -> int:
    """Load the demo where it is not loaded yet, answer one question, show requests to paste, and serve."""
    if not no_serve:
        must_be_free(host, port)
    is_new = tell_of_a_new_file()
    migrate.upgrade(get_engine())
    now = clock.now()
    with writing(get_engine()) as session:
        was_loaded = is_loaded(session)
        if not was_loaded:
            load(session, now=now)
        token = owner_token(session, now=now)
    catch_up(get_engine(), now=now)
    if not was_loaded:
        with writing(get_engine()) as session:
            hand_out(session, now=now)
    base_url = address(host, port) or "http://127.0.0.1:8000"
    with reading(get_engine()) as session:
        say(answered_question(session, now=now) + "\n")
        requests = requests_to_paste(session, base_url=base_url, token=token, now=now, windows=os.name == "nt")
        say(requests + "\n")
    if no_serve:
        return 0
    return serve_at(host=host, port=port, workers=1, is_new=is_new)
