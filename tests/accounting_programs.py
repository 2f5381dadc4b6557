"""The open-source accounting programs that read the plain-text exports, and what each of them adds up.

``beancount`` is a test dependency; tests with ``ledger`` or ``hledger`` are skipped where the program is not installed,
and pytest's summary names each of them.
"""

import csv
import io
import shutil
import subprocess
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from beancount import loader
from beancount.core import realization

Sums = dict[tuple[str, str], Decimal]
"""Balances that are not zero, by account name and currency."""

TOOLS = [
    pytest.param(
        tool,
        marks=pytest.mark.skipif(
            shutil.which(tool) is None, reason=f"{tool} IS NOT INSTALLED: it read none of our exports"
        ),
    )
    for tool in ("ledger", "hledger")
]
PROGRAMS = ["beancount", *TOOLS]


def program_balances(program: str, *texts: str) -> Sums:
    """Return what a program adds up from files that a main file includes in this order; any complaint fails."""
    return beancount_balances(*texts) if program == "beancount" else tool_balances(program, *texts)


def beancount_errors(*texts: str) -> list[object]:
    """Return what beancount complains about."""
    return _beancount(texts)[1]


def beancount_balances(*texts: str) -> Sums:
    entries, errors = _beancount(texts)
    assert errors == []
    return {
        (account.account, position.units.currency): position.units.number
        for account in realization.iter_children(realization.realize(entries))
        for position in account.balance
    }


def run(tool: str, *arguments: str, texts: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """Run ledger or hledger on files that a main file includes."""
    with TemporaryDirectory() as folder:
        main = _main_file(Path(folder), texts, "include {}")
        return subprocess.run([tool, "-f", main, *arguments], capture_output=True, text=True, check=False)


def tool_balances(tool: str, *texts: str) -> Sums:
    """Read strictly: undeclared accounts and currencies are errors."""
    if tool == "ledger":
        line = "%(quoted(account)),%(quoted(commodity)),%(quoted(quantity(amount)))\n"
        ran = run("ledger", "--pedantic", "register", "--register-format", line, texts=texts)
        rows = csv.reader(io.StringIO(ran.stdout))
    else:
        ran = run("hledger", "print", "--strict", "-O", "csv", texts=texts)
        rows = ([r["account"], r["commodity"], r["amount"]] for r in csv.DictReader(io.StringIO(ran.stdout)))
    assert (ran.returncode, ran.stderr) == (0, "")
    sums: Sums = {}
    for account, currency, amount in rows:
        sums[account, currency] = sums.get((account, currency), Decimal(0)) + Decimal(amount or 0)
    return {key: amount for key, amount in sums.items() if amount}


def _beancount(texts: Sequence[str]) -> tuple[list[object], list[object]]:
    if len(texts) == 1:
        entries, errors, _ = loader.load_string(texts[0])
    else:
        with TemporaryDirectory() as folder:
            entries, errors, _ = loader.load_file(_main_file(Path(folder), texts, 'include "{}"'))
    return entries, errors


def _main_file(folder: Path, texts: Sequence[str], include: str) -> str:
    for place, text in enumerate(texts):
        (folder / f"{place}.journal").write_text(text)
    main = folder / "main.journal"
    main.write_text("".join(include.format(f"{place}.journal") + "\n" for place in range(len(texts))))
    return str(main)
