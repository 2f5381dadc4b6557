"""Calls every operation that reads by the generated Python client, with the contract's own examples.

``python every_get.py CONTRACT SERVICE TOKEN`` asks for what is there and for what is not: pages, pictures, calendars, CSV
and JSON, and the refusal of each, must come back as values of the types that the client knows; nothing may raise. Not
asked here is CSV of an operation that answers JSON first: this client reads an answer as the first kind, whatever comes.
"""

import json
import sys
from datetime import date
from enum import Enum
from importlib import import_module
from typing import Any, get_args, get_type_hints
from uuid import UUID

from baizebook_client import AuthenticatedClient

NOBODY = UUID("00000000-0000-4000-8000-000000000000")


def value_of(value: Any, hint: Any) -> Any:
    """Return an example as the client takes it."""
    kinds = get_args(hint) or (hint,)
    if UUID in kinds:
        return UUID(value)
    if date in kinds:
        return date.fromisoformat(value)
    return next((kind(value) for kind in kinds if isinstance(kind, type) and issubclass(kind, Enum)), value)


def main(contract: dict[str, Any], service: str, token: str) -> list[str]:
    """Return what went wrong."""
    client = AuthenticatedClient(base_url=service, token=token, raise_on_unexpected_status=True)
    wrong, called = [], 0
    for item in contract["paths"].values():
        operation = item.get("get")
        if operation is None:
            continue
        name = operation["operationId"]
        module = import_module(f"baizebook_client.api.{operation['tags'][0]}.{name}")
        shown = [one for one in operation.get("parameters", []) if "example" in one and one["in"] != "header"]
        hints = get_type_hints(module.sync_detailed)
        named = {one["name"] if one["name"] in hints else f"{one['name']}_": one["example"] for one in shown}
        own = {key: value_of(value, hints[key]) for key, value in named.items()}
        ids = {one["name"]: NOBODY for one in shown if one["in"] == "path" and one["name"].endswith("_id")}
        for values, refused in [(own, False)] + ([({**own, **ids}, True)] if ids else []):
            try:
                answer = module.sync_detailed(client=client, **values)
                if (answer.status_code >= 400) is not refused or answer.parsed in (None, ""):
                    wrong.append(f"{name}: {answer.status_code} {answer.content[:200]!r}")
            except Exception as error:
                wrong.append(f"{name}{' of nobody' * refused}: {error!r}")
            called += 1
    return wrong if called > 80 else [*wrong, f"only {called} calls"]


if __name__ == "__main__":
    with open(sys.argv[1]) as file:
        found = main(json.load(file), *sys.argv[2:])
    print("\n".join(found) or "every operation that reads was called from Python")
    sys.exit(1 if found else 0)
