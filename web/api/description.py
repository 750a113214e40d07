"""The API described as OpenAPI 3.1, made of the routes and of the models that they check by."""

import re
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from inspect import getdoc
from typing import Any, Final

from flask import Blueprint, Flask, Response, current_app, json
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema
from werkzeug.routing import Rule

from web.api.jobs import PICTURES
from web.api.operation import KEY, KEY_HEADER, Operation, operation, operation_of
from web.api.place import is_api
from web.api.problems import MEDIA_TYPE
from web.api.told import Problem

bp = Blueprint("description", __name__)
# A model and whether it is asked or told, as pydantic names the two.
Model = tuple[type[BaseModel], Any]
_ASKS: Final = "validation"
_TELLS: Final = "serialization"
_REF: Final = "#/components/schemas/{model}"
# What every operation with a token may answer besides what it tells.
_ALWAYS: Final = (400, 401, 403, 429, 500, 503, 507)
_WITH_BODY: Final = (409, 413, 415, 422)
# Whole words of a rule between < and >.
_ARGUMENT: Final = re.compile(r"<(?:\w+:)?(\w+)>")
_PICTURE: Final[Mapping[str, Any]] = {"schema": {"type": "string", "format": "binary"}}
_ABOUT: Final = (
    "A shop's own memory of proven repairs. A token in the header Authorization lets a program in; "
    "an owner of the shop makes it on the page People. Errors are problems (RFC 9457). Every POST "
    f"takes the header {KEY_HEADER}: sent again with the same key and the same body, a write is "
    "done once and answered the same for 30 days; with another body it is refused. Money is in "
    "cents, days are ISO dates, times are UTC."
)


@bp.get("/openapi.json")
@operation(Operation(scope=None, gives={200: None}))
def openapi() -> Response:
    """Tell this description."""
    return Response(json.dumps(describe(current_app)), mimetype="application/json")


def describe(app: Flask) -> dict[str, Any]:
    """Return the description of the API of an application."""
    rows = list(_routes(app))
    models: set[Model] = {(Problem, _TELLS)}
    models |= {model for _, _, stated in rows for model in _models(stated)}
    ordered = sorted(models, key=lambda row: row[0].__name__)
    refs, known = models_json_schema(ordered, ref_template=_REF)
    paths: dict[str, dict[str, Any]] = {}
    for rule, method, stated in rows:
        doc = getdoc(app.view_functions[rule.endpoint]) or ""
        made = _described(rule, stated, refs) | _words(doc)
        paths.setdefault(_path(rule), {})[method.lower()] = made
    return {
        "openapi": "3.1.0",
        "info": {"title": "Baybook", "version": "1", "description": _ABOUT},
        "servers": [{"url": "/"}],
        "security": [{"token": []}],
        "paths": paths,
        "components": {
            "schemas": known.get("$defs", {}),
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
    }


def _routes(app: Flask) -> Iterator[tuple[Rule, str, Operation]]:
    rules = (rule for rule in app.url_map.iter_rules() if is_api(rule.endpoint))
    for rule in sorted(rules, key=str):
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"}):
            yield rule, method, operation_of(app, rule.endpoint)


def _models(stated: Operation) -> Iterator[Model]:
    if stated.body is not None:
        yield stated.body, _ASKS
    for model in stated.gives.values():
        if model is not None:
            yield model, _TELLS


def _path(rule: Rule) -> str:
    return _ARGUMENT.sub(r"{\1}", rule.rule)


def _described(rule: Rule, stated: Operation, refs: Mapping[Any, Any]) -> dict[str, Any]:
    made: dict[str, Any] = {
        "operationId": rule.endpoint.replace(".", "_"),
        "parameters": [*_of_path(rule), *_of_query(stated), *_of_key(stated)],
        "responses": dict(_responses(stated, refs)),
    }
    if stated.scope is None:
        made["security"] = []
    else:
        made["x-token-may"] = str(stated.scope)
    if stated.body is not None:
        content = {"application/json": {"schema": refs[stated.body, _ASKS]}}
        made["requestBody"] = {"required": True, "content": content}
    elif stated.keyed and stated.picture:
        made["requestBody"] = {"required": True, "content": dict.fromkeys(PICTURES, _PICTURE)}
    return made


def _words(doc: str) -> dict[str, str]:
    summary, _, rest = (" ".join(part.split()) for part in doc.partition("\n\n"))
    return {"summary": summary} | ({"description": rest} if rest else {})


def _of_path(rule: Rule) -> Iterator[dict[str, Any]]:
    for name in sorted(rule.arguments):
        schema = {"type": "string", "minLength": 1, "maxLength": 100}
        yield {"name": name, "in": "path", "required": True, "schema": schema}


def _of_query(stated: Operation) -> Iterator[dict[str, Any]]:
    if stated.query is None:
        return
    known = stated.query.model_json_schema()
    for name, row in known.get("properties", {}).items():
        schema = {key: value for key, value in row.items() if key != "title"}
        # A name is left out, never sent as null.
        kinds = [kind for kind in schema.pop("anyOf", []) if kind != {"type": "null"}]
        schema |= kinds[0] if kinds else {}
        if schema.get("default", "") is None:
            del schema["default"]
        required = name in known.get("required", ())
        yield {"name": name, "in": "query", "required": required, "schema": schema}


def _of_key(stated: Operation) -> Iterator[dict[str, Any]]:
    if stated.keyed:
        schema = {"type": "string", "pattern": f"^{KEY.pattern}$"}
        yield {"name": KEY_HEADER, "in": "header", "required": True, "schema": schema}


def _responses(stated: Operation, refs: Mapping[Any, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for status, model in stated.gives.items():
        content: dict[str, Any] = {"application/json": {}}
        if model is not None:
            content = {"application/json": {"schema": refs[model, _TELLS]}}
        elif stated.picture:
            content = {"image/jpeg": _PICTURE}
        yield str(status), {"description": HTTPStatus(status).phrase, "content": content}
    errors = (*_ALWAYS, 404, 410, *(_WITH_BODY if stated.keyed else (422,)))
    content = {MEDIA_TYPE: {"schema": refs[Problem, _TELLS]}}
    for status in sorted(errors):
        yield str(status), {"description": HTTPStatus(status).phrase, "content": content}
