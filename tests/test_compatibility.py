"""The promise of the contract: each break that is planted is named, what may be added passes, and today's breaks nothing."""

import json
from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest

from tests.compatibility import CURRENT, RELEASED, breaks

Contract = dict[str, Any]

CONTRACT: Contract = {
    "servers": [{"url": "/"}],
    "paths": {
        "/v1/boxes/{box_id}": {
            "get": {
                "operationId": "get_box",
                "security": [{"HTTPBearer": []}, {"HTTPBasic": []}],
                "parameters": [
                    {"in": "path", "name": "box_id", "required": True, "schema": {"type": "string", "format": "uuid"}},
                    {"in": "query", "name": "limit", "schema": {"type": "integer", "minimum": 1, "maximum": 500, "default": 50}},
                    {"in": "query", "name": "kind", "schema": {"$ref": "#/components/schemas/BoxKind"}},
                ],
                "responses": {
                    "200": {
                        "headers": {"ETag": {"schema": {"type": "string"}}},
                        "content": {
                            "application/json": {"schema": {"$ref": "#/components/schemas/BoxOut"}},
                            "text/csv": {"schema": {"type": "string"}},
                        },
                    },
                    "404": {"content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/ProblemOut"}}}},
                },
            },
            "put": {
                "operationId": "put_box",
                "security": [{"HTTPBearer": []}],
                "requestBody": {
                    "required": False,
                    "content": {
                        "application/json": {"schema": {"$ref": "#/components/schemas/BoxIn"}},
                        "application/octet-stream": {"schema": {"type": "string", "format": "binary"}},
                    },
                },
                "responses": {"204": {}, "422": {}},
            },
        },
        "/healthz": {"get": {"operationId": "get_alive", "security": [], "responses": {"200": {}}}},
    },
    "webhooks": {
        "box.emptied": {"post": {"requestBody": {"content": {"application/json": {"schema": {"$ref": "#/components/schemas/EventOut"}}}}}},
    },
    "components": {
        "securitySchemes": {"HTTPBearer": {"type": "http", "scheme": "bearer"}, "HTTPBasic": {"type": "http", "scheme": "basic"}},
        "schemas": {
            "BoxKind": {"type": "string", "enum": ["coins", "notes"]},
            "BoxIn": {
                "type": "object",
                "additionalProperties": False,
                "required": ["name"],
                "properties": {
                    "name": {"type": "string", "minLength": 1, "maxLength": 40, "pattern": "^[a-z]+$"},
                    "share": {"type": "number", "exclusiveMaximum": 1},
                    "coins": {"type": "array", "items": {"type": "integer", "multipleOf": 2}, "minItems": 0, "maxItems": 9},
                    "venue": {"anyOf": [{"type": "string"}, {"type": "null"}]},
                    "by": {"type": "object", "additionalProperties": {"type": "integer"}},
                },
            },
            "BoxOut": {
                "type": "object",
                "required": ["id", "kind", "count", "inside", "emptied_on", "state"],
                "properties": {
                    "id": {"type": "string", "format": "uuid"},
                    "kind": {"$ref": "#/components/schemas/BoxKind"},
                    "count": {"type": "integer", "maximum": 100},
                    "inside": {"type": "array", "items": {"$ref": "#/components/schemas/BoxOut"}},
                    "emptied_on": {"anyOf": [{"type": "string", "format": "date"}, {"type": "null"}]},
                    "state": {"oneOf": [{"$ref": "#/components/schemas/FullOut"}, {"$ref": "#/components/schemas/EmptyOut"}]},
                },
            },
            "FullOut": {"type": "object", "required": ["kind"], "properties": {"kind": {"const": "full"}}},
            "EmptyOut": {"type": "object", "required": ["kind"], "properties": {"kind": {"const": "empty"}}},
            "EventOut": {"type": "object", "required": ["type"], "properties": {"type": {"type": "string"}}},
            "ProblemOut": {"type": "object", "required": ["code"], "properties": {"code": {"type": "string"}}},
        },
    },
}  # fmt: skip


def at(contract: Contract, *place: Any) -> Any:
    """Return what is at a place of a contract."""
    for name in place:
        contract = contract[name]
    return contract


PATHS, SCHEMAS = ("paths",), ("components", "schemas")
GET, PUT = (*PATHS, "/v1/boxes/{box_id}", "get"), (*PATHS, "/v1/boxes/{box_id}", "put")
IN, OUT = (*SCHEMAS, "BoxIn", "properties"), (*SCHEMAS, "BoxOut", "properties")


def put(*place: Any, to: Any) -> Callable[[Contract], None]:
    def change(contract: Contract) -> None:
        at(contract, *place[:-1])[place[-1]] = to

    return change


def add(*place: Any, what: Any) -> Callable[[Contract], None]:
    return lambda contract: at(contract, *place).append(what)


def drop(*place: Any) -> Callable[[Contract], None]:
    def change(contract: Contract) -> None:
        del at(contract, *place[:-1])[place[-1]]

    return change


def first(*place: Any, kind: str) -> Callable[[Contract], None]:
    def change(contract: Contract) -> None:
        kinds = at(contract, *place)
        kinds[kind] = kinds.pop(kind)
        for other in [name for name in kinds if name != kind]:
            kinds[other] = kinds.pop(other)

    return change


def renamed(old: str, new: str) -> Callable[[Contract], None]:
    def change(contract: Contract) -> None:
        text = json.dumps(contract).replace(f'"{old}"', f'"{new}"').replace(f"/schemas/{old}", f"/schemas/{new}")
        contract.clear()
        contract.update(json.loads(text))

    return change


BREAKS = [
    (drop(*PATHS, "/healthz"), "GET /healthz: removed"),
    (drop(*PUT), "PUT /v1/boxes/{box_id}: removed"),
    (renamed("/healthz", "/health"), "GET /healthz: removed"),
    (put("servers", 0, "url", to="/api"), "servers: / removed"),
    (put(*GET, "operationId", to="read_box"), "GET /v1/boxes/{box_id}: operation get_box renamed read_box"),
    (renamed("FullOut", "FilledOut"), "schema FullOut: removed or renamed"),
    # who may
    (drop(*GET, "security", 1), "GET /v1/boxes/{box_id}: HTTPBasic is no longer enough"),
    (put(*PATHS, "/healthz", "get", "security", to=[{"HTTPBearer": []}]), "GET /healthz: no token is no longer enough"),
    (put("components", "securitySchemes", "HTTPBasic", "scheme", to="digest"), "security scheme HTTPBasic: changed"),
    # parameters
    (drop(*GET, "parameters", 2), "GET /v1/boxes/{box_id} query kind: removed"),
    (put(*GET, "parameters", 2, "required", to=True), "GET /v1/boxes/{box_id} query kind: required now"),
    (add(*GET, "parameters", what={"in": "query", "name": "of", "required": True, "schema": {}}), "GET /v1/boxes/{box_id} query of: new and required"),
    (put(*GET, "parameters", 1, "schema", "maximum", to=100), "GET /v1/boxes/{box_id} query limit: maximum tightened from 500 to 100"),
    (put(*GET, "parameters", 1, "schema", "default", to=10), "GET /v1/boxes/{box_id} query limit: absent, it is 10 in place of 50"),
    (put(*GET, "parameters", 2, "explode", to=False), "GET /v1/boxes/{box_id} query kind: written in another way"),
    # what is sent to the service
    (drop(*PUT, "requestBody"), "PUT /v1/boxes/{box_id} body: no longer taken"),
    (put(*PUT, "requestBody", "required", to=True), "PUT /v1/boxes/{box_id} body: required now"),
    (drop(*PUT, "requestBody", "content", "application/octet-stream"), "PUT /v1/boxes/{box_id} body: application/octet-stream no longer taken"),
    (add(*SCHEMAS, "BoxIn", "required", what="share"), "BoxIn.share: required now"),
    (drop(*IN, "share"), "BoxIn.share: removed"),
    (put(*IN, "share", "type", to="integer"), "BoxIn.share: fractions are no longer taken"),
    (put(*IN, "share", "exclusiveMaximum", to=0.5), "BoxIn.share: exclusiveMaximum tightened from 1 to 0.5"),
    (put(*IN, "name", "minLength", to=2), "BoxIn.name: minLength tightened from 1 to 2"),
    (put(*IN, "name", "pattern", to="^[a-y]+$"), 'BoxIn.name: pattern changed from "^[a-z]+$" to "^[a-y]+$"'),
    (put(*IN, "name", "format", to="email"), 'BoxIn.name: format changed from nothing to "email"'),
    (put(*IN, "name", "enum", to=["a"]), "BoxIn.name: only listed values are taken now"),
    (put(*IN, "name", "type", to="integer"), "BoxIn.name: string no longer taken"),
    (put(*IN, "coins", "items", "type", to="string"), "BoxIn.coins[]: integer no longer taken"),
    (put(*IN, "coins", "items", "multipleOf", to=3), "BoxIn.coins[]: multipleOf 3 is new"),
    (put(*IN, "coins", "uniqueItems", to=True), "BoxIn.coins: uniqueItems is new"),
    (put(*IN, "venue", to={"type": "string"}), "BoxIn.venue: null no longer taken"),
    (put(*IN, "by", "additionalProperties", "minimum", to=1), "BoxIn.by.*: minimum tightened from nothing to 1"),
    (drop(*SCHEMAS, "BoxKind", "enum", 1), 'BoxKind: value "notes" no longer taken'),
    # what is read from it
    (put(*GET, "responses", to={"203": {}}), "GET /v1/boxes/{box_id}: status 203 is new"),
    (drop(*GET, "responses", "404"), "GET /v1/boxes/{box_id}: status 404 removed"),
    (drop(*GET, "responses", "200", "headers", "ETag"), "GET /v1/boxes/{box_id} 200: header ETag removed"),
    (drop(*GET, "responses", "200", "content", "text/csv"), "GET /v1/boxes/{box_id} 200: text/csv removed"),
    (first(*GET, "responses", "200", "content", kind="text/csv"), "GET /v1/boxes/{box_id} 200: text/csv is listed before application/json"),
    (drop(*OUT, "count"), "BoxOut.count: removed"),
    (renamed("count", "counted"), "BoxOut.count: removed"),
    (drop(*SCHEMAS, "BoxOut", "required", 2), "BoxOut.count: may be absent now"),
    (put(*OUT, "count", "type", to="number"), "BoxOut.count: fractions may come now"),
    (put(*OUT, "count", "type", to=["integer", "null"]), "BoxOut.count: null may come now"),
    (put(*OUT, "inside", "items", to={"type": "string"}), "BoxOut.inside[]: string may come now"),
    (put(*OUT, "emptied_on", "anyOf", 0, "format", to="date-time"), 'BoxOut.emptied_on: format changed from "date" to "date-time"'),
    (add(*SCHEMAS, "BoxKind", "enum", what="tokens"), 'BoxKind: value "tokens" may come now'),
    (drop(*SCHEMAS, "BoxKind", "enum"), "BoxKind: any value may come now"),
    (drop("webhooks", "box.emptied"), "webhook box.emptied: removed"),
    (drop(*SCHEMAS, "EventOut", "properties", "type"), "EventOut.type: removed"),
    (put(*SCHEMAS, "EmptyOut", "properties", "kind", "const", to="void"), "BoxOut.state: EmptyOut may come now"),
]  # fmt: skip

ADDITIONS = {
    "a webhook": put("webhooks", "box.filled", to=CONTRACT["webhooks"]["box.emptied"]),
    "a path": put(*PATHS, "/v1/bags", to=CONTRACT["paths"]["/v1/boxes/{box_id}"]),
    "an operation": put(*PATHS, "/healthz", "post", to={"operationId": "wake", "responses": {"200": {}}}),
    "a message": put(*SCHEMAS, "BagOut", to={"type": "object"}),
    "a parameter that may be absent": add(*GET, "parameters", what={"in": "query", "name": "of", "schema": {"type": "string"}}),
    "a field of what is sent to it": put(*IN, "note", to={"type": "string"}),
    "a field of an answer": put(*OUT, "weight", to={"type": "string"}),
    "a required field of an answer": add(*SCHEMAS, "BoxOut", "required", what="weight"),
    "a wider bound of what is sent to it": put(*IN, "name", "maxLength", to=80),
    "a higher value in an answer": put(*OUT, "count", "maximum", to=1000),
    "no bound": drop(*IN, "name", "pattern"),
    "null where it was refused": put(*IN, "share", to={"anyOf": [{"type": "number"}, {"type": "null"}]}),
    "less that is required": drop(*SCHEMAS, "BoxIn", "required", 0),
    "another way to ask": add(*PUT, "security", what={"HTTPBasic": []}),
    "another refusal": put(*PUT, "responses", "409", to={}),
    "another kind of body": put(*PUT, "requestBody", "content", "text/csv", to={}),
    "another kind of answer": put(*GET, "responses", "200", "content", "image/svg+xml", to={}),
    "null that no longer comes": put(*OUT, "emptied_on", to={"type": "string", "format": "date"}),
    "a description": put(*OUT, "count", "description", to="How many."),
}  # fmt: skip


@pytest.mark.parametrize(("change", "named"), BREAKS, ids=[named for _, named in BREAKS])
def test_a_break_is_named(change: Callable[[Contract], None], named: str) -> None:
    changed = deepcopy(CONTRACT)
    change(changed)
    assert named in breaks(CONTRACT, changed)


@pytest.mark.parametrize("name", ADDITIONS)
def test_what_may_be_added_passes(name: str) -> None:
    changed = deepcopy(CONTRACT)
    ADDITIONS[name](changed)
    assert changed != CONTRACT
    assert breaks(CONTRACT, changed) == []


def test_a_break_is_said_of_its_message_once_wherever_it_is_sent() -> None:
    changed = deepcopy(CONTRACT)
    drop(*OUT, "id")(changed)
    assert breaks(CONTRACT, changed) == ["BoxOut.id: removed"]


def test_breaks_planted_in_the_contract_itself_are_named() -> None:
    contract = json.loads(CURRENT.read_text())
    changed = deepcopy(contract)
    drop("paths", "/v1/price-grid", "get")(changed)
    drop(*SCHEMAS, "OfferOut", "oneOf", 0)(changed)
    add(*SCHEMAS, "WorkKind", "enum", what="polish")(changed)
    put(*SCHEMAS, "ReadingIn", "properties", "note", "maxLength", to=3)(changed)
    assert [line for line in breaks(contract, changed) if not line.startswith("ReadingIn.note: maxLength")] == [
        "GET /v1/price-grid: removed",
        'WorkKind: value "polish" may come now',
    ]
    assert len(breaks(contract, changed)) == 3


def test_what_is_promised_holds() -> None:
    found = breaks(json.loads(RELEASED.read_text()), json.loads(CURRENT.read_text()))
    assert found == [], "a break; until the first release: cp openapi/openapi.json openapi/released.json"
