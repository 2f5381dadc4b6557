"""Compares two contracts and names what would break a client of the older one.

``python -m tests.compatibility [OLD [NEW]]`` prints the breaks, by default of ``openapi/released.json`` in
``openapi/openapi.json``, and ends with 1 if there is one.

- Of what a client sends, all that was taken before must still be taken. Of what it reads, nothing may come that was
  not announced: no other type, no null, no further value of an enum, no field less.
- An answer may gain fields, an operation parameters that may be absent, the service operations, codes of problems and
  statuses of refusals.
- A webhook is read like an answer.
- Names of operations, of parameters and of messages are part of the promise: generated clients are written with them.
- Patterns and formats are compared as text: a pattern that only looks different is named too. How long or how high a
  value of an answer may be is no part of the promise.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

OPENAPI = Path(__file__).parent.parent / "openapi"
RELEASED, CURRENT = OPENAPI / "released.json", OPENAPI / "openapi.json"
METHODS = ("get", "put", "post", "delete", "patch")
LOWER = ("minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties")
UPPER = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")
SAME = ("pattern", "format", "contentEncoding", "contentMediaType", "propertyNames", "prefixItems")
KINDS = ("string", "integer", "number", "boolean", "object", "array", "null")

Schema = dict[str, Any]
Way = tuple[str, Schema]
"""An alternative of a schema, of one type, and the name of the message or enum that it is (empty: none)."""


def breaks(old: dict[str, Any], new: dict[str, Any]) -> list[str]:
    """Return what of the new contract breaks a client of the old one, one line each, sorted."""
    return sorted(set(_Comparison(old, new).all()))


class _Comparison:
    def __init__(self, old: dict[str, Any], new: dict[str, Any]) -> None:
        self.old, self.new = old, new
        self.known: dict[tuple[str, str, bool], list[str]] = {}

    def all(self) -> Iterator[str]:
        urls = [[server["url"] for server in contract.get("servers", [])] for contract in (self.old, self.new)]
        for url in urls[0]:
            if url not in urls[1]:
                yield f"servers: {url} removed"
        for name in self.old["components"]["schemas"]:
            if name not in self.new["components"]["schemas"]:
                yield f"schema {name}: removed or renamed"
        for name, item in self.old.get("webhooks", {}).items():
            now = self.new.get("webhooks", {}).get(name)
            if now is None:
                yield f"webhook {name}: removed"
            else:
                yield from self.answer(f"webhook {name}", item["post"]["requestBody"], now["post"]["requestBody"])
        for address, item in self.old["paths"].items():
            for method in METHODS:
                if method in item:
                    now = self.new["paths"].get(address, {}).get(method)
                    place = f"{method.upper()} {address}"
                    yield from [f"{place}: removed"] if now is None else self.operation(place, item[method], now)

    def operation(self, place: str, old: Schema, new: Schema) -> Iterator[str]:
        if old["operationId"] != new["operationId"]:
            yield f"{place}: operation {old['operationId']} renamed {new['operationId']}"
        yield from self.security(place, old, new)
        yield from self.parameters(place, old.get("parameters", []), new.get("parameters", []))
        yield from self.body(f"{place} body", old.get("requestBody"), new.get("requestBody"))
        for status in new["responses"]:
            if status not in old["responses"] and not status.startswith(("4", "5")):
                yield f"{place}: status {status} is new"
        for status, said in old["responses"].items():
            if status not in new["responses"]:
                yield f"{place}: status {status} removed"
            else:
                yield from self.answer(f"{place} {status}", said, new["responses"][status])

    def security(self, place: str, old: Schema, new: Schema) -> Iterator[str]:
        schemes = [contract["components"].get("securitySchemes", {}) for contract in (self.old, self.new)]
        before, after = ((one.get("security") or [{}]) for one in (old, new))
        for way in before:
            named = " and ".join(way) or "no token"
            if way not in after and {} not in after:
                yield f"{place}: {named} is no longer enough"
            for name in way:
                if name in schemes[1] and _kind(schemes[0][name]) != _kind(schemes[1][name]):
                    yield f"security scheme {name}: changed"

    def parameters(self, place: str, old: list[Schema], new: list[Schema]) -> Iterator[str]:
        before, after = ({(one["in"], one["name"]): one for one in some} for some in (old, new))
        for key, now in after.items():
            name = f"{place} {key[0]} {key[1]}"
            if key not in before:
                if now.get("required"):
                    yield f"{name}: new and required"
                continue
            was = before[key]
            if now.get("required") and not was.get("required"):
                yield f"{name}: required now"
            if _writing(was) != _writing(now):
                yield f"{name}: written in another way"
            yield from self.schemas(name, was["schema"], now["schema"], sent=False)
        for key in before:
            if key not in after:
                yield f"{place} {key[0]} {key[1]}: removed"

    def body(self, place: str, old: Schema | None, new: Schema | None) -> Iterator[str]:
        if new is None:
            if old is not None:
                yield f"{place}: no longer taken"
            return
        if new.get("required") and not (old or {}).get("required"):
            yield f"{place}: required now"
        for kind, was in (old or {"content": {}})["content"].items():
            if kind not in new["content"]:
                yield f"{place}: {kind} no longer taken"
            else:
                yield from self.schemas(
                    place, was.get("schema", {}), new["content"][kind].get("schema", {}), sent=False
                )

    def answer(self, place: str, old: Schema, new: Schema) -> Iterator[str]:
        before, after = old.get("content", {}), new.get("content", {})
        for kind, was in before.items():
            if kind not in after:
                yield f"{place}: {kind} removed"
            else:
                yield from self.schemas(place, was.get("schema", {}), after[kind].get("schema", {}), sent=True)
        if before and after and next(iter(before)) in after and next(iter(before)) != next(iter(after)):
            yield f"{place}: {next(iter(after))} is listed before {next(iter(before))}"
        for name in old.get("headers", {}):
            if name not in new.get("headers", {}):
                yield f"{place}: header {name} removed"

    def schemas(self, place: str, old: Schema, new: Schema, *, sent: bool) -> Iterator[str]:
        """Compare what was and what is: ``sent`` by the service, or received by it."""
        if not sent and "default" in old and old["default"] != new.get("default"):
            yield f"{place}: absent, it is {_shown(new.get('default'))} in place of {_shown(old['default'])}"
        before, after = list(_ways(old, self.old)), list(_ways(new, self.new))
        for name, way in after if sent else before:
            found = []
            for other_name, other in before if sent else after:
                if _same_kind(way, other):
                    was, now = ((other_name, other), (name, way)) if sent else ((name, way), (other_name, other))
                    found.append(self.ways(place, was, now, sent=sent))
            if not found:
                yield f"{place}: {name or way['type']} {'may come now' if sent else 'no longer taken'}"
            elif all(found):
                yield from min(found, key=len)

    def ways(self, place: str, old: Way, new: Way, *, sent: bool) -> list[str]:
        """Compare two alternatives of one type; a message is compared once, and what is wrong with it is said of it."""
        if not old[0]:
            return list(self.values(place, old[1], new[1], sent=sent))
        key = (old[0], new[0], sent)
        if key not in self.known:
            self.known[key] = []  # nothing is wrong with a message because it holds others of its own kind
            self.known[key] = list(self.values(old[0], old[1], new[1], sent=sent))
        return self.known[key]

    def values(self, place: str, old: Schema, new: Schema, *, sent: bool) -> Iterator[str]:
        """Compare two schemas of one type."""
        narrow, wide = (new, old) if sent else (old, new)
        if old["type"] != new["type"] and wide["type"] == "integer":
            yield f"{place}: " + ("fractions may come now" if sent else "fractions are no longer taken")
        allowed, possible = _listed(wide), _listed(narrow)
        if allowed is not None and possible is None:
            yield f"{place}: " + ("any value may come now" if sent else "only listed values are taken now")
        for value in possible or []:
            if allowed is not None and value not in allowed:
                yield f"{place}: value {_shown(value)} " + ("may come now" if sent else "no longer taken")
        yield from self.bounds(place, narrow, wide, sent=sent)
        if "properties" in old or "properties" in new:
            yield from self.fields(place, old, new, sent=sent)
        for name, key in (("items", "[]"), ("additionalProperties", ".*")):
            was, now = old.get(name), new.get(name)
            if isinstance(was, dict) and isinstance(now, dict):
                yield from self.schemas(f"{place}{key}", was, now, sent=sent)
            elif isinstance(wide.get(name), dict) and narrow.get(name, True) is True:
                yield f"{place}{key}: " + ("anything may come now" if sent else "not everything is taken now")
        for key, was in old.get("patternProperties", {}).items():
            now = new.get("patternProperties", {}).get(key)
            if now is None:
                yield f"{place}: names of the form {key} removed"
            else:
                yield from self.schemas(f"{place}.*", was, now, sent=sent)

    def bounds(self, place: str, narrow: Schema, wide: Schema, *, sent: bool) -> Iterator[str]:
        before, after = (wide, narrow) if sent else (narrow, wide)
        for name in SAME:
            if name in wide and wide[name] != narrow.get(name):
                yield f"{place}: {name} changed from {_shown(before.get(name))} to {_shown(after.get(name))}"
        if sent:
            return
        for name in (*LOWER, *UPPER):
            was, now = before.get(name), after.get(name)
            if now is not None and (was is None or (now > was if name in LOWER else now < was)):
                yield f"{place}: {name} tightened from {_shown(was)} to {_shown(now)}"
        if "multipleOf" in after and before.get("multipleOf", 1) % after["multipleOf"] != 0:
            yield f"{place}: multipleOf {after['multipleOf']} is new"
        if after.get("uniqueItems") and not before.get("uniqueItems"):
            yield f"{place}: uniqueItems is new"

    def fields(self, place: str, old: Schema, new: Schema, *, sent: bool) -> Iterator[str]:
        before, after = old.get("properties", {}), new.get("properties", {})
        needed, needed_now = set(old.get("required", [])), set(new.get("required", []))
        for name in before:
            if name not in after:
                if sent or new.get("additionalProperties") is False:
                    yield f"{place}.{name}: removed"
            else:
                if sent and name in needed - needed_now:
                    yield f"{place}.{name}: may be absent now"
                yield from self.schemas(f"{place}.{name}", before[name], after[name], sent=sent)
        if not sent:
            for name in sorted(needed_now - needed):
                yield f"{place}.{name}: required now"
            if new.get("additionalProperties") is False and old.get("additionalProperties", True) is not False:
                yield f"{place}: fields that are not listed are no longer taken"


def _ways(schema: Schema, contract: dict[str, Any], name: str = "") -> Iterator[Way]:
    """Yield the alternatives of a schema, references followed."""
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        yield from _ways(contract["components"]["schemas"][name], contract, name)
        return
    for union in ("anyOf", "oneOf"):
        if union in schema:
            for one in schema[union]:
                yield from _ways(one, contract)
            return
    kinds = schema.get("type", ["string"] if "const" in schema or "enum" in schema else KINDS)
    for kind in [kinds] if isinstance(kinds, str) else kinds:
        yield name, {**schema, "type": kind}


def _same_kind(one: Schema, other: Schema) -> bool:
    """Tell whether two alternatives are of one type, and of one ``kind`` where messages are told apart by it."""
    if one["type"] != other["type"]:
        return {one["type"], other["type"]} == {"integer", "number"}
    marks = [
        {name: field["const"] for name, field in way.get("properties", {}).items() if "const" in field}
        for way in (one, other)
    ]
    return all(marks[0][name] == marks[1][name] for name in marks[0].keys() & marks[1].keys())


def _listed(schema: Schema) -> list[Any] | None:
    return [schema["const"]] if "const" in schema else schema.get("enum")


def _kind(scheme: Schema) -> dict[str, Any]:
    return {name: value for name, value in scheme.items() if name != "description"}


def _writing(parameter: Schema) -> tuple[Any, ...]:
    return tuple(parameter.get(name) for name in ("style", "explode", "allowReserved"))


def _shown(value: Any) -> str:
    return "nothing" if value is None else json.dumps(value)


def main() -> int:
    """Compare two files; print what breaks."""
    named = [*map(Path, sys.argv[1:]), *(RELEASED, CURRENT)[len(sys.argv) - 1 :]]
    found = breaks(*(json.loads(path.read_text()) for path in named[:2]))
    print("\n".join(found) or "nothing breaks")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
