"""What each command does. Answers go to the output, refusals to the error stream; a function returns its status."""

import json
import sys
from collections.abc import Callable, Iterable
from datetime import time
from pathlib import Path
from typing import Any
from uuid import UUID

from rich.console import Console
from rich.text import Text
from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError

from ..app import create_app
from ..demo.load import hand_out, is_loaded, load, owner_token
from ..demo.show import answered_question, requests_to_paste
from ..earnings.service import reckon
from ..imports.cells import CellRules, Dates, Decimals, read_cell
from ..imports.columns import Of, stated_columns
from ..imports.csv_file import Encoding
from ..imports.schemas import Mode
from ..pool_tables.service import get_table
from ..pricing import DomainError
from ..reports.queries import verify_books
from ..store import clock
from ..store import migrate as migrations
from ..store.db import get_engine, reading, writing
from ..store.settings import get_settings
from ..tokens.service import make_token
from ..venues.service import get_venue
from ..web.errors import Problem, problem_out
from ..web.rows import Role
from ..worklist.service import catch_up, sweep
from . import backup as backups
from . import serve as server
from .check import Finding, check_books, examine
from .earned_on_terminal import as_table, earned_in, lines_of, waiting_in_words
from .import_on_terminal import FileToImport, import_on_terminal
from .quote_on_terminal import answer_on_terminal

_STYLES = {"good": "green", "warning": "yellow", "bad": "bold red"}


def run(command: Callable[..., int | None], **options: Any) -> int:
    """Run a command; return its status: 1, after saying why on the error stream, where something was refused."""
    try:
        return command(**options) or 0
    except (Problem, DomainError) as error:
        problem = problem_out(error)
        _complain(f"{problem.title.rstrip('.')}.")
        mistakes = [f"{item.where}: found {item.found}, expected {item.expected}" for item in problem.errors]
        if problem.detail not in (problem.title, "; ".join(mistakes)):
            _complain(f"  {problem.detail}")
        for mistake in mistakes:
            _complain(f"  {mistake}")
    except OperationalError as error:
        _complain(f"The database does not answer: {str(error.orig).strip()}")
    except OSError as error:
        _complain(f"{error.filename or 'The system'}: {error.strerror or error}.")
    except ValueError as error:
        _complain(str(error))
    return 1


def serve(*, host: str, port: int, workers: int) -> int:
    """Update the database, check it, and serve; refuse to start where a promise could not be kept."""
    migrations.upgrade(get_engine())
    findings = examine(create_app())
    get_engine().dispose()
    _show(finding for finding in findings if finding.grade != "good")
    if any(finding.grade == "bad" for finding in findings):
        _complain("The service does not start like this.")
        return 1
    with backups.serving(get_engine()):
        server.serve(host=host, port=port, workers=workers)
    return 0


def demo(*, host: str, port: int, no_serve: bool) -> int:
    """Load the demo where it is not loaded yet, answer one question, show requests to paste, and serve."""
    migrations.upgrade(get_engine())
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
    base_url = f"http://{host}:{port}"
    with reading(get_engine()) as session:
        _say(answered_question(session, now=now) + "\n")
        _say(requests_to_paste(session, base_url=base_url, token=token, now=now) + "\n")
    if no_serve:
        return 0
    _say(f"Try it in a browser: {base_url}/docs")
    return serve(host=host, port=port, workers=1)


def migrate() -> None:
    """Bring the database to the newest revision."""
    migrations.upgrade(get_engine())
    _say(f"The database is at revision {migrations.newest_revision()}.")


def check() -> int:
    """Print every finding; the status is 1 where one is bad."""
    findings = examine(create_app())
    if all(finding.what != "migrations" or finding.grade == "good" for finding in findings):
        findings += check_books(get_engine())
    _show(findings)
    return int(any(finding.grade == "bad" for finding in findings))


def backup(*, file: Path) -> None:
    """Write a backup and say what is in it."""
    _say(f"{file}: {backups.back_up(get_settings(), get_engine(), file)}.")


def restore_backup(*, file: Path, force: bool) -> None:
    """Restore a backup and say what is in it."""
    said = backups.restore(get_settings(), get_engine(), file, force=force)
    _say(f"The database is that of {file}: {said}.")


def create_token(*, role: Role, name: str, venue: UUID | None, table: UUID | None) -> None:
    """Make a token for a venue, a table or neither, and print it."""
    migrations.upgrade(get_engine())
    with writing(get_engine()) as session:
        if venue is not None:
            get_venue(session, venue)
        if table is not None:
            get_table(session, table)
        _, made = make_token(
            session, name=name, role=role, venue_id=venue, table_id=table, expires_at=None, now=clock.now()
        )
    _say(made)


def quote(*, venue: str | None, table: str | None, asked: dict[str, Any], as_json: bool) -> None:
    """Answer one question in words, or as the API's JSON."""
    with reading(_existing_database()) as session:
        answer = answer_on_terminal(session, venue=venue, table=table, asked=asked, as_json=as_json, now=clock.now())
    _say(answer)


def earned(*, by: str, month: str, as_json: bool) -> None:
    """Show what was earned in a month: a table, tab-separated lines where piped, or the API's JSON."""
    with reading(_existing_database()) as session:
        found = earned_in(session, by=by, month=month, now=clock.now())
    if as_json:
        _say(found.model_dump_json(indent=2, by_alias=True))
        return
    lines = list(lines_of(found))
    if sys.stdout.isatty():
        Console().print(as_table(lines, names=len(found.by), title=f"Earned in {month}"))
        _say(waiting_in_words(found) or "All boxes of this time are collected.")
        return
    sys.stdout.writelines("\t".join(line) + "\n" for line in lines)


def assess() -> None:
    """Work out earnings, then assess all tables, some at a time: nobody else waits for long."""
    engine = _existing_database()
    while reckon(engine):
        pass
    now, after, more = clock.now(), None, True
    while more:
        after = sweep(engine, after=after, now=now)
        more = after is not None
    _say("The worklist is up to date for all tables.")


def import_file(
    *,
    file: Path,
    of: Of,
    mode: Mode,
    preview: bool,
    mapping: str,
    dates: Dates | None,
    decimals: Decimals | None,
    time_of_day: str | None,
    encoding: Encoding | None,
    sheet: str | None,
) -> int:
    """Import a file, or preview it; the status is 1 where a line is refused, 130 where somebody stops it."""
    engine = _existing_database()
    wall = read_cell(time_of_day, "time", CellRules(), where="--time-of-day")
    asked = FileToImport(
        path=file,
        of=of,
        columns=stated_columns(mapping),
        rules=CellRules(dates, decimals, None if wall is None else time.fromisoformat(wall)),
        encoding=encoding,
        sheet=sheet,
    )
    try:
        outcome = import_on_terminal(engine, asked, mode=mode, preview=preview, now=clock.now())
    except KeyboardInterrupt:
        _complain("Stopped. What was stored stays; run the same command again to store the rest.")
        return 130
    if preview:
        for rule in outcome.rules:
            _say(rule)
    *refusals, counts = outcome.tally.in_words()
    for refusal in refusals:
        _complain(refusal)
    _say(f"{counts} {'Stored.' if outcome.stored else 'Nothing was stored.'}")
    return int(outcome.tally.counts["refused"] > 0)


def verify_ledger() -> int:
    """Follow the chain of entries; the status is 1 where one does not fit."""
    with reading(_existing_database()) as session:
        found = verify_books(session)
    if found.ok:
        last = f" The last hash is {found.last_hash}." if found.last_hash else ""
        _say(f"{found.entries} entries, and every one fits.{last}")
        return 0
    if found.altered_entries:
        _complain(f"Entry {found.altered_entries[0]} books facts that were changed since. Restore a backup.")
    if found.altered_collections:
        _complain(
            f"Collection {found.altered_collections[0]} was changed since it was recorded, or follows one that is gone."
        )
    bad = found.first_bad
    if bad is not None:
        _complain(f"Entry {bad.place} does not fit (number {bad.number}, id {bad.id}): {bad.why}.")
    return 1


def contract() -> None:
    """Print the contract as it is committed."""
    sys.stdout.write(contract_text())


def contract_text() -> str:
    """Return the contract as it is committed: JSON, two spaces, one line end at the end."""
    return json.dumps(create_app().openapi(), indent=2, ensure_ascii=False) + "\n"


def _existing_database() -> Engine:
    """Return the engine of a database that is there and up to date; ValueError says what to do where it is not."""
    settings, engine = get_settings(), get_engine()
    if settings.on_sqlite and not Path(str(engine.url.database)).is_file():
        raise ValueError(
            f"There is no database {engine.url.database} in {Path.cwd()}. Go to the folder that holds it, name it in "
            "BAIZEBOOK_DATABASE_URL, or make one: baizebook demo, or baizebook migrate."
        )
    with engine.connect() as connection:
        found, newest = migrations.current_revision(connection), migrations.newest_revision()
    if found != newest:
        raise ValueError(f"The database is at revision {found}, this program at {newest}: run baizebook migrate.")
    return engine


def _show(findings: Iterable[Finding]) -> None:
    for finding in findings:
        line = Text.assemble((f"{finding.grade:7}", _STYLES[finding.grade]), f"  {finding.what}: {finding.says}")
        _print(line, error=finding.grade != "good")


def _say(text: str) -> None:
    _print(Text(text))


def _complain(text: str) -> None:
    _print(Text(text), error=True)


def _print(text: Text, *, error: bool = False) -> None:
    """Print on a terminal with its colours, else plain and unwrapped; at once, for a server may follow."""
    console = Console(stderr=error)
    console.print(text, soft_wrap=True)
    console.file.flush()
