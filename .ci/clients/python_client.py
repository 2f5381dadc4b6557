"""What the generated Python client makes of the contract's own examples: ``python python_client.py CONTRACT SERVICE TOKEN``.

- Every message that is sent or read goes through the client's types and comes out the same.
- Every operation that reads is called, for what is there and for what is not: pages, pictures, calendars, CSV and JSON,
  and the refusal of each, must come back as values of the types that the client knows; nothing may raise. Not asked here
  is CSV of an operation that answers JSON first: this client reads an answer as the first kind, whatever comes.
"""

import json
import sys
from datetime import date, datetime
from enum import Enum
from importlib import import_module
from typing import Any, get_args, get_type_hints
from uuid import UUID

from baizebook_client import AuthenticatedClient, models

NOBODY = UUID("00000000-0000-4000-8000-000000000000")


def value_of(value: Any, hint: Any) -> Any:
    """Return an example as the client takes it."""
    kinds = get_args(hint) or (hint,)
    if UUID in kinds:
        return UUID(value)
    if date in kinds:
        return date.fromisoformat(value)
    return next((kind(value) for kind in kinds if isinstance(kind, type) and issubclass(kind, Enum)), value)


def examples_come_back(contract: dict[str, Any]) -> list[str]:
    """Return the examples that are not the same after the client has read and written them."""
    wrong, told = [], 0
    for item in contract["paths"].values():
        for operation in item.values():
            for message in (operation.get("requestBody", {}), *operation["responses"].values()):
                of = message.get("content", {}).get("application/json", {})
                if "example" not in of:
                    continue
                kind = getattr(models, of["schema"]["$ref"].rpartition("/")[2])
                if same_instants(kind.from_dict(of["example"]).to_dict()) != same_instants(of["example"]):
                    wrong.append(f"{operation['operationId']}: {kind.__name__} comes back otherwise")
                told += 1
    return wrong if told > 150 else [*wrong, f"only {told} examples"]


def same_instants(value: Any) -> Any:
    """Return a message with its instants written in one way: Z, or an offset of nothing."""
    if isinstance(value, dict):
        return {name: same_instants(below) for name, below in value.items()}
    if isinstance(value, list):
        return [same_instants(below) for below in value]
    if isinstance(value, str) and value[10:11] == "T" and value[:4].isdigit():
        return datetime.fromisoformat(value).isoformat()
    return value


def every_get(contract: dict[str, Any], service: str, token: str) -> list[str]:
    """Return what went wrong when everything was asked for."""
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
        contract = json.load(file)
    found = [*examples_come_back(contract), *every_get(contract, *sys.argv[2:])]
    print("\n".join(found) or "every example read and written, and every operation that reads called, from Python")
    sys.exit(1 if found else 0)
