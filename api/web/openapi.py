"""How operations are described: the problems each may answer with, its examples, and the whole contract.

The contract is generated (``baizebook contract``), compared by a test with ``openapi/openapi.json``, never edited.
"""

from copy import deepcopy
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.routing import iter_route_contexts

from .csv_answer import CSV_PARAMETERS, answers_csv
from .enum_names import name_enums, name_unions
from .errors import READ_AS_TEXT, ProblemOut
from .examples import ANSWERS, ASKED, BODIES, EVENTS, PARAMETER_EXAMPLES
from .field_descriptions import describe_fields, describe_parameter
from .problems import PROBLEMS
from .summaries import summary_of

_ALWAYS = (400, 401, 403, 404, 413, 422, 500, 503)

_TITLES = {
    400: "Unreadable message.",
    401: "Token missing or invalid.",
    403: "Not allowed for the role of this token.",
    404: "Not found, or not visible to this token.",
    409: "Conflicts with stored data.",
    408: "Body too slow.",
    412: "Changed since the ETag was read.",
    413: "Message too large.",
    422: "Invalid value.",
    428: "If-Match required.",
    500: "Mistake in the service, logged under the request id; nothing was stored.",
    503: "Service unavailable; nothing was stored.",
}
_KEY_PARAMETER = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": False,
    "description": "Repeat a request with its key within 48 hours to get its answer again; the same key with another "
    "payload is refused (422).",
    "schema": {"type": "string", "minLength": 1, "maxLength": 200, "pattern": "^[ -~]+$"},
}


_MAKES = {
    "create_venue": "venue_id",
    "create_table": "table_id",
    "publish_tariff": "tariff_id",
    "record_collection": "collection_id",
    "create_token": "token_id",
    "report_job": "job_id",
    "create_webhook_endpoint": "webhook_endpoint_id",
}
"""What makes a thing, and the name of its id in addresses."""
DESCRIPTION = """\
What an amount buys at a place and time; prices, tables, cash and books of coin-operated pool tables.

Money is a decimal string in the currency's own unit, never a JSON number. Instants are RFC 3339 with an offset or Z;
days and dates of schedules and questions are trading days. Refusals are `application/problem+json` (RFC 9457) and say
what was found, what was expected and where. Taxes and shares are arithmetic by the rates and agreements you enter:
this service gives no tax or legal advice. Later versions may add fields to answers: ignore those that you do not know.

The [guide](/guide) has a page for each reader, from an owner's first day on.
"""


def problems(*more: int) -> dict[int | str, dict[str, Any]]:
    """Return the ``responses`` of an operation: the problems that any may answer with, and these."""
    return {status: _described(status) for status in sorted({*_ALWAYS, *more})}


def _described(status: int) -> dict[str, Any]:
    return {
        "description": _TITLES[status],
        "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/ProblemOut"}}},
    }


def build_contract(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of the application."""
    contract = get_openapi(
        title=app.title,
        version=app.version,
        summary="The service that runs a route of coin-operated pool tables.",
        description=DESCRIPTION,
        routes=app.routes,
        webhooks=app.webhooks.routes,
        servers=[{"url": "/", "description": "the service that serves this contract"}],
        license_info={"name": "MIT", "identifier": "MIT"},
        contact={"name": "The Baizebook developers", "url": "https://baizebook.example/"},
        tags=[{"name": name, "description": text} for name, text in TAGS.items()],
    )
    schemas = contract["components"]["schemas"]
    schemas.update(ProblemOut.model_json_schema(ref_template="#/components/schemas/{model}").pop("$defs"))
    schemas["ProblemOut"] = ProblemOut.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas["ProblemOut"].pop("$defs", None)
    schemas["ProblemOut"]["properties"]["code"]["examples"] = sorted(PROBLEMS)
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    computing = {
        context.name
        for context in iter_route_contexts(app.routes)
        if getattr(context.endpoint, "stores_nothing", False)
    }
    for path in contract["webhooks"].values():
        for operation in path.values():
            operation["summary"] = summary_of(operation["operationId"])
            operation["security"] = []
            operation["responses"].pop("422", None)
            operation["requestBody"]["content"]["application/json"]["example"] = EVENTS[operation["operationId"]]
    for address, path in contract["paths"].items():
        for operation in path.values():
            operation["summary"] = summary_of(operation["operationId"])
            if "requestBody" in operation:
                operation["responses"].setdefault("408", _described(408))
            _offer_csv_options(operation)
            _say_who_may_ask(operation)
            if address.endswith(READ_AS_TEXT):
                _refuse_in_text_alone(operation)
            for parameter in operation.get("parameters", []):
                _without_null(parameter)
                describe_parameter(parameter)
                asked = ASKED.get(operation["operationId"], {})
                if parameter["name"] in asked:
                    parameter["example"] = asked[parameter["name"]]
                elif parameter["name"] in PARAMETER_EXAMPLES and (
                    parameter.get("required") or parameter["in"] == "header"
                ):
                    parameter["example"] = PARAMETER_EXAMPLES[parameter["name"]]
            if "requestBody" in operation:
                content = operation["requestBody"]["content"]
                shown = next(iter(content))  # of a file that may be CSV or a workbook, the CSV
                content[shown]["example"] = BODIES[operation["operationId"]]
            _show_answer(operation)
        _link(path, contract)
        _document_previews(path)
        if "post" in path and path["post"]["operationId"] not in computing:
            path["post"].setdefault("parameters", []).append(_KEY_PARAMETER)
            path["post"]["responses"].setdefault("409", _described(409))
    _open_answers(schemas)
    describe_fields(schemas)
    name_enums(contract)
    name_unions(contract)
    contract["components"]["schemas"] = dict(sorted(schemas.items()))
    return contract


def _offer_csv_options(operation: dict[str, Any]) -> None:
    """Add the options of CSV where an operation has it, and the line of text that a refusal is then."""
    if not answers_csv({int(status): said for status, said in operation["responses"].items()}):
        return
    operation.setdefault("parameters", []).extend(deepcopy(CSV_PARAMETERS))
    _offer_refusals_as_text(operation)


def _offer_refusals_as_text(operation: dict[str, Any]) -> None:
    """Add the line of text that a refusal is to who asked for CSV.

    Many generated clients read an answer as the first kind that is listed: where no answer is JSON, that is text.
    """
    has_json = any("application/json" in said.get("content", {}) for said in operation["responses"].values())
    for status, said in operation["responses"].items():
        if status >= "400":
            text = {"text/plain": {"schema": {"type": "string"}}}
            said["content"] = {**said["content"], **text} if has_json else {**text, **said["content"]}


def _refuse_in_text_alone(operation: dict[str, Any]) -> None:
    """Say that every refusal of a page, a picture or a calendar is a line of text."""
    for status, said in operation["responses"].items():
        if status >= "400":
            said["content"] = {"text/plain": {"schema": {"type": "string"}}}


def _open_answers(schemas: dict[str, Any]) -> None:
    """Leave what is sent open: a later version may add fields to an answer, and a client passes over them."""
    for name, schema in schemas.items():
        if not name.endswith("In") and schema.get("additionalProperties") is False:
            del schema["additionalProperties"]


def _say_who_may_ask(operation: dict[str, Any]) -> None:
    """Name the ways to send a token, and say of an operation that needs none that it does not.

    Bearer is last: a generated client that was given a token may write the header once for each way.
    """
    ways = operation.setdefault("security", [])
    ways.sort(key=lambda way: "HTTPBearer" in way)


def _show_answer(operation: dict[str, Any]) -> None:
    """Give an operation's success its example: JSON where it is an object, else the first kind of text."""
    answer = ANSWERS.get(operation["operationId"])
    content = next(response for status, response in operation["responses"].items() if status < "300").get("content", {})
    is_text = isinstance(answer, str)
    kinds = [kind for kind in content if kind.startswith("text/") == is_text]
    if answer is not None and kinds:
        content[kinds[0]]["example"] = answer


def _link(path: dict[str, Any], contract: dict[str, Any]) -> None:
    """Say of what was made where its id can be used: every operation that has it in its address."""
    maker = path.get("post", {})
    parameter = _MAKES.get(maker.get("operationId", ""))
    if parameter is None:
        return
    users = [
        operation["operationId"]
        for address, item in contract["paths"].items()
        for operation in item.values()
        if f"{{{parameter}}}" in address
    ]
    maker["responses"]["201"]["links"] = {
        user: {"operationId": user, "parameters": {f"path.{parameter}": "$response.body#/id"}} for user in users
    }


def _document_previews(path: dict[str, Any]) -> None:
    """Say that what takes ``preview`` answers a preview with 200: the same, but nothing is stored."""
    maker = path.get("post", {})
    if any(parameter["name"] == "preview" for parameter in maker.get("parameters", [])):
        stored = maker["responses"]["201"]
        maker["responses"]["200"] = {"description": "A preview: nothing is stored.", "content": stored["content"]}


def _without_null(parameter: dict[str, Any]) -> None:
    """Say of an optional parameter what it is when it is there: an address cannot hold null."""
    schema = parameter["schema"]
    kinds = [kind for kind in schema.pop("anyOf", []) if kind != {"type": "null"}]
    if len(kinds) == 1:
        parameter["schema"] = {**schema, **kinds[0]}
    parameter["schema"].pop("default", None) if parameter["schema"].get("default", 0) is None else None


TAGS = {
    "questions": "What an amount buys at a place and time.",
    "venues": "Venues, their tables, and where each table has been.",
    "tariffs": "Published prices: never changed, only replaced.",
    "schedules": "Which tariff a venue or table applies, from which trading date.",
    "readings": "Readings of the tables: sent in batches, never changed.",
    "sheets": "What a table's controller must hold, and the shortest way to key it.",
    "health": "The condition of a table: battery, clock, meters and settings.",
    "jobs": "Faults: reported at the table, assigned to somebody, closed with what was found.",
    "imports": "Spreadsheets in: previewed, then stored, line by line.",
    "worklist": "What needs doing, what to bring, and by when it matters.",
    "cash": "From the box to the books: agreements, collections, settlements, disputes, differences.",
    "reports": "Earnings of each table and venue, and money not collected yet.",
    "ledger": "The books: entries, balances, statements, exports, and a check for changed records.",
    "pages": "Pages made to be printed, and links that open one without a token.",
    "tokens": "Who may do what.",
    "webhooks": "Events posted to addresses of yours, by the Standard Webhooks scheme.",
    "service": "Liveness, readiness, and the meaning of problems.",
}
