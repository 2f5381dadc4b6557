"""The contract: what is served is what is committed, and it is fit for generated clients."""

import json
import re
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any

from baizebook.ops.commands.contract import contract_text
from baizebook.web.csv_answer import CSV_OPTIONS
from baizebook.web.enum_names import ENUM_NAMES, enums_below
from baizebook.web.examples import BODIES
from baizebook.web.field_descriptions import FIELD_DESCRIPTIONS, PARAMETER_DESCRIPTIONS
from baizebook.web.summaries import SUMMARIES
from jsonschema import Draft202012Validator
from openapi_spec_validator import validate

API = Path(__file__).parent.parent / "api"
COMMITTED = Path(__file__).parent.parent / "openapi" / "openapi.json"
METHODS = {"get", "post", "put", "patch", "delete"}


def operations(contract: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, item in contract["paths"].items():
        for method, operation in item.items():
            if method in METHODS:
                yield f"{method.upper()} {path}", operation


def test_the_served_contract_is_the_committed_one(contract: dict[str, Any]) -> None:
    assert contract_text(contract) == COMMITTED.read_text(), "run: baizebook contract > openapi/openapi.json"


def test_the_contract_is_valid_openapi(contract: dict[str, Any]) -> None:
    validate(contract)


def test_operation_ids_are_function_names_and_unique(contract: dict[str, Any]) -> None:
    ids = [operation["operationId"] for _, operation in operations(contract)]
    assert len(ids) == len(set(ids))
    assert all(name.isidentifier() and name == name.lower() for name in ids)


def test_every_operation_has_tag_description_and_security(contract: dict[str, Any]) -> None:
    known = {tag["name"] for tag in contract["tags"]}
    for name, operation in operations(contract):
        assert set(operation["tags"]) <= known, name
        assert operation["description"].endswith("."), name
        if name.split(" ")[1].startswith("/v1/"):
            assert operation["security"], name


def received(contract: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the schemas of all that is received, by name."""
    schemas, found = contract["components"]["schemas"], dict[str, dict[str, Any]]()

    def look(below: Any) -> None:
        for name, value in below.items() if isinstance(below, dict) else ():
            if name == "$ref" and (named := value.rpartition("/")[2]) not in found:
                found[named] = schemas[named]
                look(schemas[named])
            look(value)
        for value in below if isinstance(below, list) else ():
            look(value)

    for _, operation in operations(contract):
        look(operation.get("requestBody", {}))
    return found


def test_every_received_field_and_every_parameter_is_described(contract: dict[str, Any]) -> None:
    fields = {
        f"{name}.{field}": schema
        for name, found in received(contract).items()
        for field, schema in found.get("properties", {}).items()
    }
    parameters = {
        f"{name} {parameter['name']}": parameter
        for name, operation in operations(contract)
        for parameter in operation.get("parameters", ())
    }
    assert len(fields) > 350
    assert len(parameters) > 250
    bare = [
        name for name, described in {**fields, **parameters}.items() if not described.get("description", "").strip()
    ]
    assert bare == []


def test_each_line_of_the_descriptions_describes_something(contract: dict[str, Any]) -> None:
    schemas = contract["components"]["schemas"]
    wrong = [
        f"{name}.{field}"
        for name, texts in FIELD_DESCRIPTIONS.items()
        for field, text in texts.items()
        if schemas[name]["properties"][field].get("description") != text
    ]
    assert wrong == [], "described at the field itself, or gone"
    said = [parameter for _, operation in operations(contract) for parameter in operation.get("parameters", ())]
    used = {
        parameter["name"]
        for parameter in said
        if parameter.get("description") == PARAMETER_DESCRIPTIONS.get(parameter["name"])
    }
    assert set(PARAMETER_DESCRIPTIONS) - used == set()


def test_schemas_have_names_of_their_own_and_speak_to_clients(contract: dict[str, Any]) -> None:
    for name, schema in contract["components"]["schemas"].items():
        assert "__" not in name, f"{name}: two messages have one name"
        assert not re.search(r"\([A-Z]\d*(, [A-Z]\d+)*\)", schema.get("description", "")), f"{name}: a rule's number"


def test_an_enum_that_occurs_twice_has_a_name(contract: dict[str, Any]) -> None:
    named = contract["components"]["schemas"]
    places: dict[frozenset[str], list[str]] = {}
    for name, schema in named.items():
        if "enum" not in schema:
            for enum in enums_below(schema):
                places.setdefault(frozenset(enum["enum"]), []).append(name)
    for name, operation in operations(contract):
        for enum in enums_below(operation):
            places.setdefault(frozenset(enum["enum"]), []).append(name)
    assert {enum: where for enum, where in places.items() if len(where) > 1} == {}, "name it in web/enum_names.py"
    referred = json.dumps(contract)
    assert [name for name in ENUM_NAMES if f'"#/components/schemas/{name}"' not in referred] == []


def without_name(part: Any, place: str) -> Iterator[str]:
    """Yield the places for which a generated client makes up a type's name, such as ``OutType0`` or ``OutItem``."""
    if isinstance(part, dict):
        for way in ("anyOf", "oneOf", "allOf", "items"):
            below = part.get(way, [])
            for one in [below] if isinstance(below, dict) else below:
                if one.keys() & {"enum", "properties", "oneOf", "anyOf", "const"}:
                    yield f"{place}.{way}"
        for name, below in part.items():
            if name not in ("example", "examples"):
                yield from without_name(below, f"{place}.{name}")
    elif isinstance(part, list):
        for number, below in enumerate(part):
            yield from without_name(below, f"{place}.{number}")


def test_what_is_in_a_list_or_may_be_null_has_a_name(contract: dict[str, Any]) -> None:
    assert list(without_name(contract["components"]["schemas"], "")) == []
    assert list(without_name(contract["paths"], "")) == []
    planted = {
        "kinds": {"type": "array", "items": {"enum": ["a"]}},
        "why": {"anyOf": [{"enum": ["b"]}, {"type": "null"}]},
    }
    assert list(without_name(planted, "")) == [".kinds.items", ".why.anyOf"]


def test_values_of_enums_can_be_names_in_a_program(contract: dict[str, Any]) -> None:
    values = {str(value) for enum in enums_below(contract) for value in enum["enum"]}
    assert len(values) > 200
    assert [value for value in values if not re.match("[a-z]", value)] == []


def test_every_refusal_is_a_problem(contract: dict[str, Any]) -> None:
    for name, operation in operations(contract):
        answers = {
            kind
            for status, answer in operation["responses"].items()
            if status < "400"
            for kind in answer.get("content", ())
        }
        # A cell of a spreadsheet gets its refusal as one line of text. Clients that read only the first kind must be able to.
        expected = ["application/problem+json"]
        if name.endswith((".html", ".svg", ".ics")):
            expected = ["text/plain"]
        elif "text/csv" in answers:
            expected = [*expected, "text/plain"] if "application/json" in answers else ["text/plain", *expected]
        for status, response in operation["responses"].items():
            if int(status) >= 400:
                assert list(response["content"]) == expected, f"{name} {status}"


def schemas(contract: dict[str, Any], ending: str) -> Iterator[tuple[str, dict[str, Any]]]:
    for name, schema in contract["components"]["schemas"].items():
        if name.endswith(ending) and "properties" in schema:
            yield name, schema


NULLS_OF_THE_CONTRACT = {
    ("DatesPublicationIn", "tariff"),
    ("FoundWindowIn", "games"),
    ("FoundWindowIn", "minutes"),
    ("MoveIn", "venue_id"),
    ("ScheduleIn", "base"),
    ("TableChangeIn", "cash_box"),
    ("TableChangeIn", "controller"),
    ("TableChangeIn", "frame_number"),
    ("TableChangeIn", "licence"),
    ("TableChangeIn", "power"),
    ("TableScheduleIn", "base"),
    ("VenueChangeIn", "latitude"),
    ("VenueChangeIn", "longitude"),
    ("VenueChangeIn", "tax_area"),
    *((entry, "tariff") for entry in ("WeeklyIn", "RecurringIn", "OnDateIn")),
    ("WebhookEndpointChangeIn", "venue_ids"),
}
"""Where null means something in what is received: no venue, closed, or take it out."""


def test_received_messages_refuse_unknown_fields_and_have_no_unions_but_the_stated_nulls(
    contract: dict[str, Any],
) -> None:
    unions = set()
    for name, schema in schemas(contract, "In"):
        assert schema["additionalProperties"] is False, name
        unions |= {(name, field) for field, of in schema["properties"].items() if "anyOf" in of or "oneOf" in of}
    assert unions == NULLS_OF_THE_CONTRACT


def test_sent_messages_always_carry_every_field_and_may_gain_more(contract: dict[str, Any]) -> None:
    for name, schema in schemas(contract, "Out"):
        assert schema.get("additionalProperties", True) is not False, name
        assert set(schema["required"]) == set(schema["properties"]), name


def test_what_is_said_of_a_field_stands_in_the_contract() -> None:
    contract = COMMITTED.read_text()
    sources = [path.read_text() for path in API.glob("*/schemas.py")]
    said = [text for source in sources for text in re.findall(r'description="([^"]+)"', source)]
    assert len(said) > 20
    assert [text for text in said if text not in contract] == []


def test_kinds_and_codes_of_work_are_closed_lists(contract: dict[str, Any]) -> None:
    named = contract["components"]["schemas"]
    assert len(named["WorkKind"]["enum"]) == 8
    assert {"no_reading", "replace_suspected", "licence_expires"} < set(named["WorkCode"]["enum"])


def test_money_is_never_a_number(contract: dict[str, Any]) -> None:
    """Only places and the distances between them are numbers; money, volts, percents and weights are text."""
    numbers = {
        name
        for schema in contract["components"]["schemas"].values()
        for name, field in schema.get("properties", {}).items()
        if '"type": "number"' in json.dumps(field)
    }
    assert numbers == {"latitude", "longitude", "leg_km", "round_km"}
    assert '"type": "number"' not in json.dumps(contract["paths"])


def test_every_schema_is_named_for_its_direction(contract: dict[str, Any]) -> None:
    names = contract["components"]["schemas"].keys() - ENUM_NAMES
    assert [name for name in names if not name.endswith(("In", "Out")) and not name.endswith("Page")] == []


def test_every_operation_that_is_sent_something_has_an_example(contract: dict[str, Any]) -> None:
    sent = {operation["operationId"] for _, operation in operations(contract) if "requestBody" in operation}
    assert set(BODIES) == sent
    for name, operation in operations(contract):
        for parameter in operation.get("parameters", []):
            if parameter["in"] == "path":
                assert "example" in parameter, f"{name}: {parameter['name']}"


def test_every_operation_has_an_answer_that_fits_its_schema(contract: dict[str, Any]) -> None:
    again = "run: python -m tests.demo.examples_on_the_demo"
    components = deepcopy(contract["components"])
    for schema in components["schemas"].values():
        if "properties" in schema:
            schema["additionalProperties"] = False  # today's answers have no field that today's contract does not name
    for name, operation in operations(contract):
        status, success = next(iter(sorted(operation["responses"].items())))
        if status == "204":
            continue
        shown = {kind: of for kind, of in success["content"].items() if "example" in of}
        assert len(shown) == 1, f"{name} has no example of an answer; {again}"
        for of in shown.values():
            validator = Draft202012Validator({**of["schema"], "components": components})
            assert [error.message for error in validator.iter_errors(of["example"])] == [], f"{name}; {again}"


def test_what_must_be_in_an_address_has_an_example_and_no_more_than_the_question_needs(
    contract: dict[str, Any],
) -> None:
    for name, operation in operations(contract):
        given = {parameter["name"] for parameter in operation.get("parameters", []) if "example" in parameter}
        needed = {parameter["name"] for parameter in operation.get("parameters", []) if parameter.get("required")}
        assert needed <= given, name
        assert not {"venue_id", "table_id"} <= given or "table_id" in needed, name


def test_every_operation_has_a_summary_of_its_own_that_is_a_noun_phrase(contract: dict[str, Any]) -> None:
    operations = {
        operation["operationId"]: operation["summary"]
        for item in (*contract["paths"].values(), *contract["webhooks"].values())
        for operation in item.values()
    }
    assert set(SUMMARIES) - set(operations) == set(), "no such operation"
    assert set(operations) - set(SUMMARIES) == set(), "add them to api/web/summaries.py"
    assert len(set(operations.values())) == len(operations)
    assert all(summary[0].isupper() and summary[-1] != "." and len(summary) < 60 for summary in operations.values())


def test_no_option_of_csv_states_a_default_that_a_client_would_send_with_json(contract: dict[str, Any]) -> None:
    for name, operation in operations(contract):
        for parameter in operation.get("parameters", []):
            if parameter["name"] in CSV_OPTIONS:
                assert "default" not in parameter["schema"], name


def test_the_published_contract_has_no_marks_of_our_own(contract: dict[str, Any]) -> None:
    assert '"x-' not in json.dumps(contract)
    with_key = {
        path["post"]["operationId"]
        for path in contract["paths"].values()
        if any(parameter["name"] == "Idempotency-Key" for parameter in path.get("post", {}).get("parameters", []))
    }
    assert "record_readings" in with_key
    assert not {"post_quotes", "check_tariff", "preview_collection"} & with_key
