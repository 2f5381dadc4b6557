"""Processes that benchmarks start, and the processor time that they take: it is the same beside other work."""

import os
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from tests.serving import SERVE, free_port, start


@contextmanager
def server(database_url: str, *, command: Sequence[str] = SERVE, ready: str = "/readyz") -> Iterator[tuple[str, int]]:
    """Yield the address and the process id of a server of one worker, once it answers ``ready``."""
    port = free_port()
    process = start(database_url, port=port, command=command, ready=ready)
    try:
        yield f"http://127.0.0.1:{port}", process.pid
    finally:
        process.terminate()
        process.wait(20)


def processor_s(process_id: int) -> float:
    """Return the processor time that a process has taken (Linux, proc_pid_stat(5): fields 14 and 15)."""
    fields = Path(f"/proc/{process_id}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_bytes(process_id: int) -> int:
    """Return the memory that a process has of its own: resident, without what it shares (Linux, proc_pid_smaps(5))."""
    fields = (line.split() for line in Path(f"/proc/{process_id}/smaps_rollup").read_text().splitlines()[1:])
    return 1024 * sum(int(size) for name, size, *_ in fields if name.startswith("Private_"))


def command_s(command: Sequence[str], **environment: str) -> float:
    """Return the processor time that a command takes from its start to its end; it must succeed."""
    variables: Mapping[str, str] = {**os.environ, **environment}
    process = subprocess.Popen(command, env=variables, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise SystemExit(f"{' '.join(command)} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime
