"""The OpenAPI 3.1 document, made of the operations and schemas as they are."""

from typing import Any

from apps.api.operations import BASE, JSON, KEY_HEADER, NUMBER, OPERATIONS, UUID, Operation, Parameter
from apps.api.schemas import SCHEMAS

ERRORS = {
    401: ("Unauthorized", "No token, or one that does not hold."),
    403: ("Forbidden", "The person of this token has not the right."),
    404: ("NotFound", "It is not there, or not for this person."),
    409: ("Conflict", "This key was sent before with something else."),
    413: ("TooLarge", "The body is too large."),
    415: ("UnsupportedMediaType", "The body is not application/json."),
    422: ("Unprocessable", "Something asked or sent cannot stand; the sentence says what, the field where."),
    429: ("TooManyRequests", "This token asked too often; Retry-After says when to come back."),
}
HEADERS = {401: "WWW-Authenticate", 429: "Retry-After"}
ABOUT = (
    "For customers' systems and measuring devices. A token of a person (made on the page Tokens for programs) goes "
    "into the header Authorization; it may what its person may. Figures are strings, moments carry their zone."
)


def document(server: str) -> dict[str, Any]:
    paths: dict[str, dict[str, Any]] = {}
    for operation in OPERATIONS.values():
        paths.setdefault(operation.path, {})[operation.method.lower()] = _operation(operation)
    return {
        "openapi": "3.1.0",
        "info": {"title": "Fulling Room", "version": "1", "description": ABOUT},
        "servers": [{"url": f"{server}{BASE}"}],
        "security": [{"token": []}],
        "paths": paths,
        "components": {
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
            "schemas": SCHEMAS,
            "responses": {name: _error(status, about) for status, (name, about) in ERRORS.items()},
        },
    }


def _error(status: int, about: str) -> dict[str, Any]:
    told = {"description": about, "content": {JSON: {"schema": {"$ref": "#/components/schemas/Error"}}}}
    if status in HEADERS:
        told["headers"] = {HEADERS[status]: {"required": True, "schema": {"type": "string"}}}
    return told


def _operation(operation: Operation) -> dict[str, Any]:
    errors = errors_of(operation)
    told = {
        "operationId": operation.name,
        "summary": operation.about,
        "description": f"For: {operation.who}.",
        "parameters": _parameters(operation),
        "responses": {
            **_good(operation),
            **{str(status): {"$ref": f"#/components/responses/{ERRORS[status][0]}"} for status in errors},
        },
    }
    if operation.body:
        body = {"schema": {"$ref": f"#/components/schemas/{operation.body}"}}
        told["requestBody"] = {"required": True, "content": {JSON: body}}
    return told


def errors_of(operation: Operation) -> list[int]:
    found = {401, 403, 422, 429}
    found |= {404} if operation.path_parameters else set()
    found |= {409, 413, 415} if operation.body else set()
    return sorted(found)


def _good(operation: Operation) -> dict[str, Any]:
    media, schema = JSON, {"$ref": f"#/components/schemas/{operation.answer}"}
    if "/" in operation.answer:
        media, schema = operation.answer, {"type": "string"}
    content = {media: {"schema": schema}}
    if operation.method == "POST":
        return {
            "200": {"description": "This key was sent before; what it did then.", "content": content},
            "201": {"description": "Kept.", "content": content},
        }
    return {"200": {"description": "As asked.", "content": content}}


def _parameters(operation: Operation) -> list[dict[str, Any]]:
    told = [
        {"name": name, "in": "path", "required": True, "description": about, "schema": NUMBER}
        for name, about in operation.path_parameters.items()
    ]
    told += [_query(parameter) for parameter in operation.parameters]
    if operation.body:
        about = "A UUID of its own for each send, so that a send repeated does nothing twice."
        schema = {"type": "string", "format": "uuid", "pattern": UUID}
        told.append({"name": KEY_HEADER, "in": "header", "required": True, "description": about, "schema": schema})
    return told


def _query(parameter: Parameter) -> dict[str, Any]:
    return {"name": parameter.name, "in": "query", "description": parameter.about, "schema": parameter.schema}
