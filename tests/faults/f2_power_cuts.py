"""F2: the power goes at any moment: what was answered is there, and the file is sound.

A writer posts to the ledger through the service's own transactions; strace records what it tells the system to write, to
sync, to cut and to remove, and when it would have answered. Then the power is cut at moments of chance: what was synced
stands; of the rest each write stands, is gone, or is torn in sectors of 512 bytes. What is left is opened cold.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from random import Random

import baizebook.migrations.all_rows  # noqa: F401 (rows know each other by then)
from baizebook.ledger.entry_kinds import owner_postings
from baizebook.ledger.service import post_entry
from baizebook.store.db import make_engine, writing
from sqlalchemy import make_url

from tests.databases import settings_for, sqlite_database
from tests.faults.books import look
from tests.faults.careless import WAYS
from tests.faults.fault import Broken, Fault, check

SECTOR = 512
POSTINGS = 250
TRACED = "pwrite64,write,pwritev,fdatasync,fsync,ftruncate,unlink"
_CALL = re.compile(r"(\w+)\((.*)\)\s+= (-?\d+)")
_FD = re.compile(r"\d+<([^>]*)>")


@dataclass(frozen=True, slots=True)
class Step:
    """What the writer did: to which file (``ack``: it answered), at which place, with which bytes."""

    what: str
    file: str = ""
    at: int = 0
    data: bytes = b""


@dataclass(slots=True)
class File:
    """A file as it stands on the disk, and what was written since it was last synced."""

    durable: bytearray
    there: bool = True
    pending: list[Step] = field(default_factory=list)

    def sync(self) -> None:
        """Make all that was written stand."""
        for step in self.pending:
            _apply(self.durable, step)
        self.pending.clear()
        self.there = True

    def after_a_cut(self, chance: Random) -> bytes | None:
        """Return what is left when the power goes now; None where there is no such file."""
        gone = not self.there or (self.pending and self.pending[-1].what == "unlink")
        if gone and chance.random() < 0.5:
            return None
        left, kept = bytearray(self.durable), chance.choice((0.0, 0.5, 1.0))
        for step in self.pending:
            if chance.random() < kept:
                _apply(left, step)
            elif step.what == "write" and chance.random() < 0.5:
                _tear(left, step, chance)
        return bytes(left)


def _apply(content: bytearray, step: Step) -> None:
    if step.what == "cut":
        del content[step.at :]
        content.extend(bytes(step.at - len(content)))
    elif step.what == "write":
        content.extend(bytes(max(0, step.at - len(content))))
        content[step.at : step.at + len(step.data)] = step.data


def _tear(content: bytearray, step: Step, chance: Random) -> None:
    """Let some sectors of a write through."""
    for begin in range(0, len(step.data), SECTOR):
        if chance.random() < 0.5:
            _apply(content, Step("write", step.file, step.at + begin, step.data[begin : begin + SECTOR]))


def run(chance: Random, rounds: int) -> str:
    """Cut the power so many times, on the settings that the service has."""
    if not shutil.which("strace"):
        return "NOT TRIED: there is no strace here"
    answered = _cut_often(chance, rounds=rounds)
    return f"{rounds} cuts under {answered} answered postings: 0 lost, 0 damaged"


def control(chance: Random) -> None:
    """With ``synchronous=NORMAL`` a commit is not synced, and what was answered is lost."""
    if not shutil.which("strace"):
        raise Broken("not tried: there is no strace here")
    _cut_often(chance, rounds=40, way="sync_less")


def _cut_often(chance: Random, *, rounds: int, way: str = "") -> int:
    with sqlite_database() as url, tempfile.TemporaryDirectory() as folder:
        path = Path(str(make_url(url).database))
        files = {str(path): File(bytearray(path.read_bytes()))}
        steps = list(_record(url, Path(folder) / "trace", way))
        check(steps.count(Step("ack")) == POSTINGS, "the writer did not write all")
        answered, cuts = 0, sorted(chance.choices(range(len(steps)), k=rounds))
        for number, step in enumerate(steps):
            for _ in range(cuts.count(number)):
                _look_after_a_cut(files, Path(folder), path, answered, chance)
            answered += step.what == "ack"
            _follow(files, step)
    return answered


def _follow(files: dict[str, File], step: Step) -> None:
    """Take a step on the disk that is simulated."""
    if step.what == "ack":
        return
    file = files.setdefault(step.file, File(bytearray(), there=False))
    if step.what == "sync":
        file.sync()
    else:
        file.pending.append(step)


def _look_after_a_cut(files: dict[str, File], folder: Path, path: Path, answered: int, chance: Random) -> None:
    for name, file in files.items():
        target = folder / name.replace(str(path), "left.db")
        left = file.after_a_cut(chance)
        target.unlink(missing_ok=True)
        if left is not None:
            target.write_bytes(left)
    (folder / "left.db-shm").unlink(missing_ok=True)
    entries = look(f"sqlite:///{folder / 'left.db'}").entries
    check(entries >= answered, f"{answered} were answered, {entries} are there")


def _record(url: str, trace: Path, way: str) -> Iterator[Step]:
    """Let a writer write under strace; return its steps on the database's files."""
    command = [sys.executable, "-m", "tests.faults.f2_power_cuts", url, way]
    subprocess.run(["strace", "-f", "-y", "-xx", "-s", "100000", "-e", f"trace={TRACED}", "-o", trace, *command],
                   check=True, stdout=subprocess.DEVNULL)  # fmt: skip
    path = str(make_url(url).database)
    with trace.open() as lines:
        for line in lines:
            if found := _CALL.search(line):
                yield from _steps(found[1], found[2], path)


def _steps(call: str, arguments: str, path: str) -> Iterator[Step]:
    descriptor = _FD.match(arguments)
    name = _unescape(descriptor[1]).decode(errors="replace") if descriptor else ""
    if call == "unlink":
        name = _unescape(arguments.strip('"')).decode(errors="replace")
    if call == "write" and arguments.startswith("1<"):
        yield Step("ack")
    if not name.startswith(path) or name.endswith("-shm"):
        return
    if call in ("fdatasync", "fsync"):
        yield Step("sync", name)
    elif call == "unlink":
        yield Step("unlink", name)
    elif call == "ftruncate":
        yield Step("cut", name, int(arguments.rpartition(", ")[2]))
    elif call == "pwrite64":
        _, data, _, at = arguments.rsplit(", ", 3)
        yield Step("write", name, int(at), _unescape(data.strip('"')))
    else:
        raise Broken(f"the writer did what is not understood here: {call}({arguments[:80]}")


def _unescape(text: str) -> bytes:
    return bytes.fromhex(text.replace("\\x", "")) if text.startswith("\\x") else text.encode()


def write(url: str, way: str) -> None:
    """Post to the ledger, and tell after each commit."""
    if way:
        WAYS[way]()
    engine = make_engine(settings_for(url))
    for number in range(1, POSTINGS + 1):
        with writing(engine) as session:
            post_entry(
                session,
                kind="opening",
                on=date(2026, 1, 1),
                currency="USD",
                postings=owner_postings(kind="opening", amount_minor=number),
                reference="x" * 200,
                source_id=None,
                now=datetime(2026, 11, 25, 17, tzinfo=UTC),
            )
        os.write(1, b"answered\n")
    engine.dispose()


FAULT = Fault(name="F2", says="power cuts", run=run, control=control, short=100, long=2000)

if __name__ == "__main__":
    write(*sys.argv[1:])
