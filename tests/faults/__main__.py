"""``python -m tests.faults [NAME …] [--seed N] [--rounds N] [--long]``: what the service keeps when things go wrong.

Without names all faults are tried, each in its short form. A seed repeats a run; it is printed when something broke.
"""

import argparse
import importlib
import sys
import time
from pathlib import Path
from random import Random, SystemRandom

from tests.faults.fault import Broken, Fault, NotReady


def faults() -> dict[str, Fault]:
    """Return every fault that stands beside this file, by name."""
    found = [
        importlib.import_module(f"tests.faults.{path.stem}").FAULT for path in Path(__file__).parent.glob("f[0-9]*.py")
    ]
    return {fault.name: fault for fault in sorted(found, key=lambda fault: int(fault.name[1:]))}


def main() -> int:
    """Try the faults that are named; return how many did not hold."""
    known = faults()
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument(
        "names", nargs="*", metavar="NAME", help=" · ".join(f"{f.name} {f.says}" for f in known.values())
    )
    parser.add_argument("--seed", type=int, default=SystemRandom().randrange(1 << 32))
    parser.add_argument("--rounds", type=int, help="instead of each fault's own number")
    parser.add_argument("--long", action="store_true", help="the numbers that the figures are given for")
    options = parser.parse_args()
    if unknown := set(options.names) - set(known):
        parser.error(f"unknown: {', '.join(sorted(unknown))}; there are {', '.join(known)}")
    chosen = [known[name] for name in options.names or known]
    return sum(not holds(fault, options) for fault in chosen)


def holds(fault: Fault, options: argparse.Namespace) -> bool:
    """Try one fault, its control first; print how it went."""
    rounds = options.rounds or (fault.long if options.long else fault.short)
    began = time.monotonic()
    try:
        print(f"{fault.name} control: {_found_by_control(fault, options.seed)}", flush=True)
        reached = fault.run(Random(options.seed), rounds)
    except Broken as broken:
        print(f"{fault.name} BROKEN: {broken}")
        print(f"    again: python -m tests.faults {fault.name} --seed {options.seed} --rounds {rounds}", flush=True)
        return False
    print(f"{fault.name} holds ({time.monotonic() - began:.0f} s): {reached}", flush=True)
    return True


def _found_by_control(fault: Fault, seed: int) -> str:
    """Return what the test finds under the known-bad setting; raise where it finds nothing."""
    try:
        fault.control(Random(seed))
    except NotReady as not_ready:
        raise Broken(f"its control proves nothing: {not_ready}") from None
    except Broken as broken:
        return str(broken)
    raise Broken("its control held: the test finds nothing")


if __name__ == "__main__":
    sys.exit(main())
