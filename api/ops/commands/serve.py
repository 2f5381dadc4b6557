"""``baizebook serve``: update the database, check it, say where everything is, then serve."""

from sqlmodel import Session, col, func, or_, select

from ... import __version__
from ...app import create_app
from ...store import clock, migrate
from ...store.db import get_engine, reading
from ...store.settings import get_settings
from ...venues.rows import VenueRow
from ...web.rows import TokenRow
from .. import serve as server
from ..backup import serving
from ..check import examine
from ..command_database import database_in_words, tell_of_a_new_file
from ..startup_message import FirstMinute, first_words, must_be_free
from ..terminal import complain, say, show_findings


def serve(*, host: str, port: int, workers: int) -> int:
    """Update the database, check it, and serve; refuse to start where a promise could not be kept."""
    must_be_free(host, port)
    return serve_at(host=host, port=port, workers=workers, is_new=tell_of_a_new_file())


def serve_at(*, host: str, port: int, workers: int, is_new: bool) -> int:
    """Serve at an address that is known to be free; ``is_new``: the database is made just now."""
    migrate.upgrade(get_engine())
    app = create_app()
    findings = examine(app)
    with reading(get_engine()) as session:
        found = _first_minute(session, is_new=is_new)
    get_engine().dispose()
    show_findings(finding for finding in findings if finding.grade != "good")
    if any(finding.grade == "bad" for finding in findings):
        complain("The service does not start like this.")
        return 1
    for line in first_words(found, host=host, port=port, version=__version__):
        say(line)
    with serving(get_engine()):
        server.serve(app, host=host, port=port, workers=workers)
    return 0


def _first_minute(session: Session, *, is_new: bool) -> FirstMinute:
    valid = or_(col(TokenRow.expires_at).is_(None), col(TokenRow.expires_at) > clock.now())
    owners = select(func.count()).where(TokenRow.role == "owner", col(TokenRow.revoked_at).is_(None), valid)
    return FirstMinute(
        database=database_in_words(),
        is_new=is_new,
        owner_tokens=session.exec(owners).one(),
        token_in_environment=get_settings().owner_token is not None,
        venues=session.exec(select(func.count()).select_from(VenueRow)).one(),
    )
