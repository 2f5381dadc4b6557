"""The benchmarks: ``python -m tests.benchmarks [NAME …] [--rounds N] [--json FILE]``; no name means all.

Each benchmark is a module of this folder with a ``run(rounds)`` that yields figures, or a ``run()`` that prints its own; its
docstring says what it compares and why that is the limit. Nothing here is a test: figures depend on the machine, ratios less.
"""

import argparse
import json
import platform
from importlib import import_module
from inspect import signature
from pathlib import Path

from tests.benchmarks.figure import Figure, as_json

NAMES = sorted(
    path.stem for path in Path(__file__).parent.glob("*.py") if path.stem != "figure" and not path.stem.startswith("_")
)


def main() -> None:
    """Run benchmarks, print their figures as they come, and write them to a file if asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(NAMES))
    parser.add_argument("--rounds", type=int, default=5, help="alternating rounds (default 5)")
    parser.add_argument("--json", type=Path, help="a file for the figures")
    asked = parser.parse_args()
    if unknown := set(asked.names) - set(NAMES):
        parser.error(f"no benchmark {', '.join(sorted(unknown))}; expected some of {', '.join(NAMES)}")
    print(f"{platform.python_implementation()} {platform.python_version()}, {platform.machine()}")
    figures: list[Figure] = []
    for name in asked.names or NAMES:
        benchmark = import_module(f"tests.benchmarks.{name}")
        print(f"\n{name}: {(benchmark.__doc__ or '').splitlines()[0]}", flush=True)
        takes_rounds = "rounds" in signature(benchmark.run).parameters
        for figure in (benchmark.run(rounds=asked.rounds) if takes_rounds else benchmark.run()) or ():
            figures.append(figure)
            print(figure.line, flush=True)
    if asked.json:
        asked.json.write_text(json.dumps(as_json(figures), indent=2) + "\n")


if __name__ == "__main__":
    main()
