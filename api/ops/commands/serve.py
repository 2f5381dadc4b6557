"""``baizebook serve``: update the database, check it, then serve."""

from ...app import create_app
from ...store import migrate
from ...store.db import get_engine
from .. import serve as server
from ..backup import serving
from ..check import examine
from ..terminal import complain, show_findings


def serve(*, host: str, port: int, workers: int) -> int:
    """Update the database, check it, and serve; refuse to start where a promise could not be kept."""
    migrate.upgrade(get_engine())
    findings = examine(create_app())
    get_engine().dispose()
    show_findings(finding for finding in findings if finding.grade != "good")
    if any(finding.grade == "bad" for finding in findings):
        complain("The service does not start like this.")
        return 1
    with serving(get_engine()):
        server.serve(host=host, port=port, workers=workers)
    return 0
