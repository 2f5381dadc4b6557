"""``baizebook check``: every finding on the settings, guards and books of the database."""

from ...app import create_app
from ..check import check_books, examine
from ..command_database import existing_file
from ..terminal import show_findings


def check() -> int:
    """Print every finding; the status is 1 where one is bad."""
    engine = existing_file()
    findings = examine(create_app())
    if all(finding.what != "migrations" or finding.grade == "good" for finding in findings):
        findings += check_books(engine)
    show_findings(findings)
    return int(any(finding.grade == "bad" for finding in findings))
