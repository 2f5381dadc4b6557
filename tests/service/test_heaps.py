"""Threads share a few heaps: what one frees, another can use (mallopt(3), malloc_info(3))."""

import platform
import subprocess
import sys

import pytest
from baizebook.ops.serve import HEAPS_MAX

_COUNT = """
import ctypes, sys, threading
from baizebook.ops.serve import share_heaps

if sys.argv[1] == "shared":
    share_heaps()
together = threading.Barrier(8)

def take():
    taken = [bytes(5_000) for _ in range(200)]
    together.wait()
    return taken

threads = [threading.Thread(target=take) for _ in range(8)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
libc = ctypes.CDLL(None)
libc.malloc_info(0, ctypes.c_void_p.in_dll(libc, "stdout"))
libc.fflush(None)
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="other C libraries have no heaps of threads")
def test_eight_threads_take_memory_from_two_heaps() -> None:
    shared, own = (_heaps(how) for how in ("shared", "own"))
    assert shared <= HEAPS_MAX < own


def _heaps(how: str) -> int:
    said = subprocess.run([sys.executable, "-c", _COUNT, how], capture_output=True, text=True, check=True, timeout=60)
    return said.stdout.count("<heap")
